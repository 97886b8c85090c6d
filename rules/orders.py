"""What a person asks of the guard, and whether it is done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rules import alarms
from rules.alarming import shelving
from rules.alarms import Stimulus
from rules.matrix import Clear
from rules.memory import Memory, RowMemory
from rules.plan import Plan
from rules.signals import AlarmState, Command, Event, EventKind, Observation, Order, Origin

EVERYTHING = "all"
"""In place of a code: a reset of all that is latched."""

BASELINE = "baseline"
"""In place of a code: what was learned of the drains is forgotten, and learned anew."""

OF_ALARMS = (Order.ACKNOWLEDGE, Order.RESET, *shelving.ORDERS)

ACKNOWLEDGEABLE = (AlarmState.UNACK_ALARM, AlarmState.RTN_UNACK, AlarmState.LATCH_UNACK)


def obey(
    plan: Plan, memory: Memory, observation: Observation
) -> tuple[tuple[RowMemory, ...], tuple[Event, ...]]:
    """Carry out the commands of one tick that are about alarms; `rules.pausing` and
    `rules.alarming.taking_out` take the others.

    Each is answered by exactly one order-* event, followed by one for every alarm that it
    acknowledged or ended.
    """
    states, events = memory.rows, list[Event]()
    for command in observation.commands:
        if command.order not in OF_ALARMS:
            continue
        if not memory.contacts:
            text = "the guard has only just started and has seen nothing yet; ask again"
            refusal = Event(EventKind.ORDER_REFUSED, observation.t_s, command.code, text)
            events.append(refusal)
            continue
        if command.order in shelving.ORDERS:
            states, told = shelving.obey(plan, states, command, observation.t_s)
            events.extend(told)
            continue
        if command.order is Order.ACKNOWLEDGE:
            after, answer = _acknowledge(plan, states, command, observation.t_s)
        else:
            after, answer = _reset(plan, states, command, observation.t_s)
        events.extend((answer, *_moved(plan, states, after, answer)))
        states = after
    return states, tuple(events)


def _moved(
    plan: Plan, before: tuple[RowMemory, ...], after: tuple[RowMemory, ...], answer: Event
) -> Iterator[Event]:
    """Tell which alarms an order acknowledged or ended."""
    for row, old, new in zip(plan.rows, before, after, strict=True):
        if new.state is old.state or new.state in ACKNOWLEDGEABLE:
            continue
        ended = new.state is AlarmState.NORMAL
        kind = EventKind.ALARM_ENDED if ended else EventKind.ALARM_ACKNOWLEDGED
        yield Event(kind, answer.t_s, row.subject, answer.text, alarms.as_told(row, new))


def _acknowledge(
    plan: Plan, states: tuple[RowMemory, ...], command: Command, t_s: float
) -> tuple[tuple[RowMemory, ...], Event]:
    for i, (row, state) in enumerate(zip(plan.rows, states, strict=True)):
        if state.code != command.code or not state.code or state.saying is None:
            continue
        if state.state not in ACKNOWLEDGEABLE:
            text = f"{command.code} is acknowledged already: {state.saying.what}"
            return states, Event(EventKind.ORDER_REFUSED, t_s, command.code, text)
        holds = state.held and row.clear is not Clear.ON_ACKNOWLEDGE
        after = replace(
            state,
            state=alarms.after(state.state, Stimulus.ACKNOWLEDGE, holds),
            held=holds,
        )
        person = plan.site.people.get(command.person)
        by = f" by {person.name}" if person else ""
        text = f"Acknowledged{by}: {state.saying.what}"
        changed = (*states[:i], after, *states[i + 1 :])
        return changed, Event(EventKind.ORDER_OBEYED, t_s, command.code, text, causes=(row.id,))
    text = f"{command.code} is not the code of any alarm that stands: nothing was acknowledged"
    return states, Event(EventKind.ORDER_REFUSED, t_s, command.code, text)


def _reset(
    plan: Plan, states: tuple[RowMemory, ...], command: Command, t_s: float
) -> tuple[tuple[RowMemory, ...], Event]:
    def refuse(text: str) -> tuple[tuple[RowMemory, ...], Event]:
        return states, Event(EventKind.ORDER_REFUSED, t_s, command.code, text)

    if command.origin is not Origin.LOCAL:
        return refuse("a reset starts a pump: it is done at the guard, not from afar")
    if command.code == BASELINE:
        text = "What was learned of the drains is forgotten; it is learned anew over two days"
        return states, Event(EventKind.ORDER_OBEYED, t_s, command.code, text)
    held = [i for i, state in enumerate(states) if state.held]
    if not held:
        return refuse("nothing is latched")
    if command.code != EVERYTHING:
        held = [i for i in held if states[i].code == command.code]
        if not held:
            return refuse(f"{command.code} is not the code of anything that is latched")
    standing = [i for i in held if states[i].standing]
    if standing:
        causes = "; ".join(plan.rows[i].cause for i in standing)
        return refuse(f"the cause still stands: {causes}. Remove it, then reset")
    after = list(states)
    for i in held:
        before = states[i].state
        if states[i].lingers_until_s is not None:  # it has been seen to: what comes now is new
            before = alarms.after(before, Stimulus.CLEAR, True)
        after[i] = replace(
            states[i],
            held=False,
            latching=False,
            state=alarms.after(before, Stimulus.RESET, True),
            comings=(),
            lingers_until_s=None,
        )
    rows = tuple(plan.rows[i].id for i in held)
    text = "Reset: " + "; ".join(plan.rows[i].cause for i in held)
    return tuple(after), Event(EventKind.ORDER_OBEYED, t_s, command.code, text, causes=rows)


def forgets(answers: tuple[Event, ...]) -> bool:
    """True when one of these answers says that what was learned of the drains is forgotten."""
    return any(
        event.kind is EventKind.ORDER_OBEYED and event.subject == BASELINE for event in answers
    )
