"""One cause is one alarm: what only follows from it is told in it, and not apart.

A drain blocks and the pump is cut: that the same drain has lost capacity, or that no flow is seen,
is no news then. Such a consequence acts as always; but while the row that it follows from is in
force it raises no alarm of its own and is listed in that row's. It is told apart after all when it
outlives its cause, when it grows worse, and when its priority is higher to begin with (the
consequential alarms of ISA-18.2 and IEC 62682).

That a pump has been off for an hour follows from its cut too, and is never folded: it tells that
nobody has come.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rules import alarms
from rules.matrix import Clear, Row
from rules.memory import RowMemory
from rules.plan import Plan
from rules.signals import Alarm, AlarmState, Event, EventKind

FOLLOWS: dict[str, frozenset[str]] = {
    "spill-edge": frozenset({"flow-lost", "drain-loss", "drain-fouling"}),
    "drain-capacity": frozenset({"flow-lost", "drain-loss", "drain-fouling"}),
    "chamber-high": frozenset({"flow-lost"}),
    "dry-run": frozenset({"flow-lost"}),
    "leak": frozenset({"flow-lost", "water-lost"}),
    "mains": frozenset({"flow-lost", "lease-lost"}),
    "flow-lost": frozenset({"flow-weak", "own"}),
    "flow-weak": frozenset({"own"}),
}
"""Which hazards are but consequences of one that is in force, for the same pumps."""


def into(plan: Plan, states: Sequence[RowMemory], index: int) -> str:
    """The id of the row in force that a row follows from, if its alarm is no lesser one; else "".

    Only what ends by itself, and is not told already, is folded.
    """
    row = plan.rows[index]
    if row.clear is not Clear.WHEN_CLEAR or states[index].state is not AlarmState.NORMAL:
        return ""
    for other, state in zip(plan.rows, states, strict=True):
        if not (state.standing or state.held) or state.folded:
            continue
        if _follows(plan, row, other, state) and _priority(other, state) >= row.priority:
            return other.id
    return ""


def _follows(plan: Plan, row: Row, cause: Row, state: RowMemory) -> bool:
    if row.hazard == "signal":  # its worst case has cut already, and that alarm names the signal
        return state.unread and cause.subject == row.subject
    return row.hazard in FOLLOWS.get(cause.hazard, ()) and bool(
        _pumps(plan, row) & _pumps(plan, cause)
    )


def _pumps(plan: Plan, row: Row) -> set[str]:
    """The pumps that a row is about."""
    if row.pumps:
        return set(row.pumps)
    of = plan.site.rows[row.subject].of if row.hazard == "own" else row.subject
    if of in plan.site.pumps:
        return {of}
    if of in plan.sensors:
        return {pump.id for pump in plan.pumps if pump.meter == plan.sensors[of]}
    for drain in plan.drains:
        if drain.chamber == of:
            return {plan.pumps[place].id for place, _ in drain.feeds}
    return set(plan.site.pumps) if row.hazard == "water-lost" else set()


def _priority(row: Row, state: RowMemory) -> int:
    return state.priority or row.priority


def is_over(plan: Plan, states: Sequence[RowMemory], state: RowMemory, present: bool) -> bool:
    """True for a folded row that has gone, or that is still there when its cause is not.

    `present` tells whether it is there now: what has only not been gone for long enough yet does
    not outlive its cause.
    """
    if not state.folded or not state.standing:
        return bool(state.folded)
    return present and not any(
        row.id == state.folded and (other.standing or other.held)
        for row, other in zip(plan.rows, states, strict=True)
    )


def told(row: Row, state: RowMemory, t_s: float) -> Event:
    """What is said, and alerts nobody, when a row is folded into the alarm of its cause."""
    alarm = alarms.as_told(row, state)
    text = f"It follows from {state.folded}, and is told in it: {alarm.saying.what}"
    return Event(EventKind.ALARM_FOLDED, t_s, row.subject, text, alarm, causes=(state.folded,))


def with_consequences(alarm: Alarm, states: Sequence[RowMemory]) -> Alarm:
    """An alarm with what follows from it."""
    found = tuple(
        state.saying.what
        for state in states
        if state.folded == alarm.row and state.standing and state.saying is not None
    )
    return replace(alarm, consequences=found) if found else alarm
