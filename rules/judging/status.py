"""The status of each signal, in the classes of NAMUR NE 107."""

from __future__ import annotations

from enum import StrEnum

from rules.alarming import chatter
from rules.estimate import View
from rules.judging import doubts
from rules.judging.doubts import Doubt
from rules.memory import RowMemory
from rules.plan import Plan
from rules.signals import SignalFigures


class Status(StrEnum):
    """Classes of NAMUR NE 107 (from memory), from the least grave on: maintenance required = valid
    yet, and not for long; out of specification = in doubt; function check = invalid for a while,
    because somebody works on it; failure = invalid."""

    MAINTENANCE = "maintenance required"
    OUT_OF_SPECIFICATION = "out of specification"
    FUNCTION_CHECK = "function check"
    FAILURE = "failure"


STATUS = {
    Doubt.UNREAD: Status.FAILURE,
    Doubt.UNCERTAIN: Status.OUT_OF_SPECIFICATION,
    Doubt.OVER_A_DRY_ONE: Status.OUT_OF_SPECIFICATION,
    Doubt.AGAINST_A_FLOAT: Status.OUT_OF_SPECIFICATION,
    Doubt.WET_AFTER_A_STOP: Status.OUT_OF_SPECIFICATION,
    Doubt.DISAGREES: Status.OUT_OF_SPECIFICATION,
    Doubt.STANDS_STILL: Status.FAILURE,
    Doubt.COUNTS_AT_REST: Status.FAILURE,
    Doubt.COUNTS_TOO_MUCH: Status.OUT_OF_SPECIFICATION,
    Doubt.SHOWS_NOTHING: Status.FAILURE,
}


def figures(plan: Plan, view: View, states: tuple[RowMemory, ...]) -> tuple[SignalFigures, ...]:
    """Every signal of which there is something to say, with its gravest class and why."""
    found: dict[str, SignalFigures] = {}
    for one in view.memory.out:
        if one.id in plan.sensors:
            found[one.id] = _figures(one.id, Status.FUNCTION_CHECK, "it is out of service")
    for row, state in zip(plan.rows, states, strict=True):
        if row.subject in found or row.subject not in plan.sensors:
            continue
        if row.hazard == "signal" and state.standing:
            doubt = doubts.find(row.subject, view)
            if doubt is not None:
                found[row.subject] = _figures(row.subject, STATUS[doubt], doubt.value)
        elif row.hazard == "draws-air" and (state.standing or state.held):
            found[row.subject] = _figures(row.subject, Status.FAILURE, "it hung wet over the water")
        elif row.hazard == "splashed" and state.standing:
            why = "it was wet where no water stood"
            found[row.subject] = _figures(row.subject, Status.MAINTENANCE, why)
        elif state.lingers_until_s is not None and chatter.often(state.comings):
            found[row.subject] = _figures(row.subject, Status.MAINTENANCE, "it comes and goes")
    return tuple(found.values())


def _figures(sensor: str, status: Status, why: str) -> SignalFigures:
    return SignalFigures(sensor, status.value, why)
