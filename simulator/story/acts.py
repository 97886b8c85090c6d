"""How things come about in a drill: at once, little by little, for a while."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Act = Callable[[float], None]
"""Does something as far as it has come: from 0, where it begins, to 1, where it is complete."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something done from `after_s` after a happening begins, over `lasts_s` [s]."""

    act: Act
    lasts_s: float = 0.0
    after_s: float = 0.0


def at_once(do: Callable[[], object]) -> Part:
    """Do it once."""

    def act(_share: float) -> None:
        do()

    return Part(act)


def for_a_while(
    lasts_s: float | None, begin: Callable[[], object], end: Callable[[], object]
) -> list[Part]:
    """Do one thing, and another after so long; never, if it does not end by itself."""
    begun = at_once(begin)
    if lasts_s is None:
        return [begun]
    return [begun, Part(at_once(end).act, after_s=lasts_s)]


def set_to(thing: object, field: str, value: object) -> Part:
    """Give a field another value at once."""
    return at_once(lambda: setattr(thing, field, value))


def ramp(
    read: Callable[[], float], write: Callable[[float], None], goal: float, over_s: float
) -> Part:
    """Move a value in a straight line to `goal` from where it stands when this begins."""
    begun: list[float] = []

    def act(share: float) -> None:
        if not begun:
            begun.append(read())
        write(goal if share >= 1.0 else begun[0] + (goal - begun[0]) * share)

    return Part(act, over_s)


def ramp_field(thing: object, field: str, goal: float, over_s: float) -> Part:
    """See `ramp`; for a field."""
    return ramp(
        lambda: getattr(thing, field), lambda value: setattr(thing, field, value), goal, over_s
    )


def ramp_entry(table: dict[str, float], key: str, goal: float, over_s: float) -> Part:
    """See `ramp`; for an entry of a table, nought where there is none yet."""
    return ramp(
        lambda: table.get(key, 0.0), lambda value: table.__setitem__(key, value), goal, over_s
    )
