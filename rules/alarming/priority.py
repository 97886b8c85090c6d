"""How soon a person must respond, derived from what comes of it if nobody does, and when.

ISA-18.2 and IEC 62682 want the priority of an alarm from the severity of its consequence and the
time there is to respond, by one table for the whole site, and not from how it feels to whoever
writes it. Consequences here are those that remain after the guard has done what it can.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from rules.signals import Priority


class Consequence(IntEnum):
    """What comes of it if nobody responds."""

    UPKEEP = 0  # something is to be cleaned or looked at; nothing is lost
    HARM = 1  # animals suffer, a pump is worn, or one of several protections is gone
    LOSS = 2  # water on the floor, or animals dead


class Within(IntEnum):
    """How soon a response still helps."""

    DAYS = 0
    HOURS = 1
    MINUTES = 2


TABLE: dict[Consequence, dict[Within, Priority]] = {
    Consequence.LOSS: {
        Within.MINUTES: Priority.HIGH,
        Within.HOURS: Priority.HIGH,
        Within.DAYS: Priority.MEDIUM,
    },
    Consequence.HARM: {
        Within.MINUTES: Priority.HIGH,
        Within.HOURS: Priority.MEDIUM,
        Within.DAYS: Priority.LOW,
    },
    Consequence.UPKEEP: {
        Within.MINUTES: Priority.MEDIUM,
        Within.HOURS: Priority.LOW,
        Within.DAYS: Priority.LOW,
    },
}
"""The priority by consequence and time; graver or sooner is never lower."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an alarm has its priority."""

    consequence: Consequence
    within: Within
    why: str

    @property
    def priority(self) -> Priority:
        """What follows from it."""
        return TABLE[self.consequence][self.within]


_LOSS, _HARM, _UPKEEP = Consequence.LOSS, Consequence.HARM, Consequence.UPKEEP

REASONS: dict[str, Reason] = {
    "spill-edge": Reason(_LOSS, Within.MINUTES, "the last level before the rim is reached"),
    "drain-capacity": Reason(_LOSS, Within.MINUTES, "one drain is left, and untried"),
    "chamber-high": Reason(_LOSS, Within.MINUTES, "the last level before the rim is reached"),
    "dry-run": Reason(_LOSS, Within.MINUTES, "the water has gone somewhere"),
    "draws-air": Reason(_LOSS, Within.MINUTES, "the water has gone somewhere, and a float hangs"),
    "leak": Reason(_LOSS, Within.MINUTES, "water is on the floor already"),
    "cut-unanswered": Reason(_LOSS, Within.MINUTES, "nothing but a hand at the plug stops it"),
    "drain-fouling": Reason(_LOSS, Within.DAYS, "it goes on closing, and ends in a trip"),
    "drain-growth": Reason(_UPKEEP, Within.DAYS, "a cleaning is due, and the drains carry all"),
    "water-lost": Reason(_LOSS, Within.DAYS, "water goes where no pad is"),
    "drain-loss": Reason(_HARM, Within.DAYS, "the other drains carry all, with room to spare"),
    "drain-loss-no-reserve": Reason(_LOSS, Within.DAYS, "the next drain that closes is the last"),
    "siphon-break": Reason(_LOSS, Within.DAYS, "a power cut sends down more than it should"),
    "siphon-break-floods": Reason(_LOSS, Within.HOURS, "a power cut would spill, past all help"),
    "flow-lost": Reason(_HARM, Within.HOURS, "animals bear hours without flow, not a day"),
    "pump-off": Reason(_HARM, Within.HOURS, "an hour without flow does no harm, several do"),
    "pump-off-long": Reason(_LOSS, Within.HOURS, "oxygen runs short within hours"),
    "mains": Reason(_HARM, Within.HOURS, "animals bear hours without flow, not a day"),
    "lease-lost": Reason(_HARM, Within.HOURS, "a guard that hangs again may hang when needed"),
    "top-off-long": Reason(_HARM, Within.HOURS, "the salinity falls, or the pump runs low"),
    "top-off-unused": Reason(_HARM, Within.HOURS, "a float that hangs wet lets the pump run low"),
    "reservoir-low": Reason(_UPKEEP, Within.DAYS, "what evaporates is no longer replaced soon"),
    "flow-weak": Reason(_HARM, Within.DAYS, "animals get less flow week by week"),
    "screen-clogging": Reason(_UPKEEP, Within.DAYS, "a rinse is due, and nothing is lost yet"),
    "splashed": Reason(_UPKEEP, Within.DAYS, "there was no water, and the pump comes back"),
    "signal": Reason(_HARM, Within.HOURS, "what it watches is watched by others, or by nobody"),
    "out-of-service": Reason(_HARM, Within.DAYS, "it was taken out knowingly, and others guard"),
    "own-cut-pumps": Reason(_LOSS, Within.MINUTES, "who cuts a pump for it takes it for as grave"),
    "own-shut-top-off": Reason(_HARM, Within.HOURS, "evaporation is not replaced meanwhile"),
    "own-alarm": Reason(_UPKEEP, Within.DAYS, "nothing is switched for it"),
}
"""Every hazard with its reason; where an alarm has two stages, both."""


def of(name: str) -> Priority:
    """The priority of a hazard's alarms, or of one of their stages."""
    return REASONS[name].priority


def because(hazard: str) -> str | None:
    """Why a hazard's alarms have their priority; None for a row of a site's own, which sets it."""
    return REASONS[hazard].why if hazard in REASONS else None
