"""The cause-and-effect matrix (IEC 62881): rows of named causes, and what each one does."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

from rules.signals import Priority


class Effect(IntEnum):
    """What a row does while it is in force; the order is the precedence, the last one wins."""

    ALARM_ONLY = 0
    INHIBIT_TOP_OFF = 1
    CUT_PUMP = 2


class Clear(StrEnum):
    """What ends a row once its cause has gone."""

    WHEN_CLEAR = "when clear"
    ON_ACKNOWLEDGE = "on acknowledge"
    ON_RESET = "on reset"


@dataclass(frozen=True, slots=True)
class Row:
    """One row: a cause at one place, how long it must stand, how it ends, and its effects.

    `delay_s` is net time: time with the cause counts up, time without it counts down. A row whose
    effect is CUT_PUMP cuts the pumps in `pumps`, and inhibits the top-off as well. `stricter` names
    what the site file has made stricter: "delay", "clear", "effect".
    """

    hazard: str
    subject: str
    cause: str
    delay_s: float
    clear: Clear
    effect: Effect
    priority: Priority
    pumps: tuple[str, ...] = ()
    stricter: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """The hazard and the thing it is seen at; unique in a site."""
        return f"{self.hazard}.{self.subject}"
