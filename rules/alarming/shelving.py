"""Shelving: a person puts an alarm aside for a while, and it comes back by itself.

What is shelved (ISA-18.2, IEC 62682) raises nothing, sounds nothing and is not counted, and stays
in the status as SHELVED. What its row does is untouched: a top-off that it keeps shut stays shut.
It comes back when its time is over, when a person wants it back, and at once when its cause grows
worse. What cuts a pump is never shelved: it is answered by seeing to its cause. A restart of the
guard forgets what was shelved, and the alarm is raised again.
"""

from __future__ import annotations

from dataclasses import replace

from rules import alarms
from rules.matrix import Effect
from rules.memory import RowMemory
from rules.plan import Plan
from rules.signals import (
    AlarmState,
    AskedShelf,
    Command,
    Event,
    EventKind,
    Order,
    Origin,
    Priority,
)
from rules.site import show

ORDERS = (Order.SHELVE, Order.UNSHELVE)

USUAL_S = 3600.0
"""How long an alarm is shelved if nobody says otherwise [s]."""

LEAST_S, LONGEST_S = 60.0, 8 * 3600.0
"""The shortest and the longest [s]: no longer than one watch of the people who know of it."""

LONGEST_HIGH_S = 900.0
"""The longest for an alarm of high priority [s]: no longer than it may go without an answer."""

Heard = tuple[tuple[RowMemory, ...], tuple[Event, ...]]


def over(state: RowMemory, t_s: float) -> bool:
    """True when the time of a shelved row is over."""
    return state.shelved_until_s is not None and t_s >= state.shelved_until_s - 1e-9


def taken_back(state: RowMemory) -> RowMemory:
    """A row that is no longer shelved: in the state that its cause calls for."""
    back = replace(state, shelved_until_s=None)
    if state.standing or state.held or state.lingers_until_s is not None:
        return back
    return replace(back, state=AlarmState.NORMAL)  # gone, and a person knew of it


def obey(plan: Plan, states: tuple[RowMemory, ...], command: Command, t_s: float) -> Heard:
    """Carry out one order; answered by exactly one order-* event."""
    found = _heard(plan, states, command, t_s)
    if isinstance(found, str):
        return states, (Event(EventKind.ORDER_REFUSED, t_s, command.code, found),)
    place, state = found
    row = plan.rows[place]
    assert state.saying is not None
    shelved = command.order is Order.SHELVE
    text = f"No longer shelved: {state.saying.what}"
    if shelved and state.shelved_until_s is not None:
        lasts = show.duration(state.shelved_until_s - t_s)
        text = f"Shelved for {lasts}, then it comes back by itself: {state.saying.what}"
    kind = EventKind.ALARM_SHELVED if shelved else EventKind.ALARM_UNSHELVED
    shown = state if shelved else replace(state, shelved_until_s=None)
    told = Event(kind, t_s, row.subject, text, alarms.as_told(row, shown))
    answer = Event(EventKind.ORDER_OBEYED, t_s, command.code, text, causes=(row.id,))
    return (*states[:place], state, *states[place + 1 :]), (answer, told)


def _heard(
    plan: Plan, states: tuple[RowMemory, ...], command: Command, t_s: float
) -> tuple[int, RowMemory] | str:
    """Which row an order is about and how it is after it, or why it is refused."""
    person = plan.site.people.get(command.person)
    if command.origin is not Origin.LOCAL and (person is None or "shelve" not in person.may):
        return "over the broker only somebody whom the site file lets shelve may do that"
    try:
        asked = AskedShelf.read(command.code)
    except ValueError as error:
        return str(error)
    coded = [i for i, state in enumerate(states) if asked.code and state.code == asked.code]
    if not coded or not _shown(states[coded[0]]):
        return f"{asked.code} is not the code of any alarm that stands: nothing was changed"
    place, state = coded[0], states[coded[0]]
    if command.order is Order.UNSHELVE:
        if state.shelved_until_s is None:
            return f"{asked.code} is not shelved"
        return place, replace(state, shelved_until_s=t_s)  # over at once: the step takes it back
    row, priority = plan.rows[place], state.priority or plan.rows[place].priority
    if row.effect is Effect.CUT_PUMP:
        return f"what cuts a pump is never shelved: see to its cause ({row.cause})"
    if state.shelved_until_s is not None:
        left = show.duration(state.shelved_until_s - t_s)
        return f"{asked.code} is shelved already, for another {left}"
    longest_s = LONGEST_HIGH_S if priority is Priority.HIGH else LONGEST_S
    lasts_s = min(USUAL_S, longest_s) if asked.lasts_s is None else asked.lasts_s
    if not LEAST_S <= lasts_s <= longest_s:
        of = "an alarm of high priority" if priority is Priority.HIGH else "an alarm"
        least, most = show.duration(LEAST_S), show.duration(longest_s)
        return f"{of} is shelved for {least} to {most}"
    return place, replace(state, shelved_until_s=t_s + lasts_s)


def _shown(state: RowMemory) -> bool:
    return state.state is not AlarmState.NORMAL or state.shelved_until_s is not None
