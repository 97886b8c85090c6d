"""Orders of a person at the guard to take a sensor or a row out of service, and to put it back."""

from __future__ import annotations

from dataclasses import replace

from rules import alarms
from rules.memory import Memory, OutMemory, RowMemory
from rules.plan import Plan
from rules.service import is_out, lost_words, unguarded
from rules.signals import AlarmState, Command, Event, EventKind, Observation, Order, Origin

ORDERS = (Order.OUT_OF_SERVICE, Order.IN_SERVICE)


def obey(
    plan: Plan, memory: Memory, rows: tuple[RowMemory, ...], observation: Observation
) -> tuple[tuple[OutMemory, ...], tuple[RowMemory, ...], tuple[Event, ...]]:
    """Carry out the orders of one tick about service; each is answered by one order-* event."""
    out, events, t_s = memory.out, list[Event](), observation.t_s
    for command in observation.commands:
        if command.order not in ORDERS:
            continue
        before = replace(memory, out=out)
        if why := _refusal(plan, before, command):
            events.append(Event(EventKind.ORDER_REFUSED, t_s, command.code, why))
            continue
        thing = command.code
        if command.order is Order.IN_SERVICE:
            out = tuple(one for one in out if one.id != thing)
            text = f"{plan.site.label(thing)} is in service again"
            events.append(Event(EventKind.ORDER_OBEYED, t_s, thing, text))
            continue
        out = (*out, OutMemory(thing, t_s))
        text = f"{plan.site.label(thing)} is out of service. {lost_words(plan, (thing,))}"
        events.append(Event(EventKind.ORDER_OBEYED, t_s, thing, text))
        rows, ended = _released(plan, rows, out, t_s)
        events.extend(ended)
    return out, rows, tuple(events)


def _refusal(plan: Plan, memory: Memory, command: Command) -> str:
    """Why an order is refused; empty if it is obeyed."""
    if command.origin is not Origin.LOCAL:
        return "it takes protection away: it is ordered at the guard, not from afar"
    if not memory.contacts:
        return "the guard has only just started and has seen nothing yet; ask again"
    thing, out = command.code, {one.id for one in memory.out}
    if command.order is Order.IN_SERVICE:
        return "" if thing in out else f"{thing} is not out of service"
    if thing in out:
        return f"{thing} is out of service already"
    if thing not in plan.sensors and thing not in {row.id for row in plan.rows}:
        return f'"{thing}" is neither a sensor of this site nor a row of its matrix'
    return unguarded(plan, out, thing)


def _released(
    plan: Plan, rows: tuple[RowMemory, ...], out: tuple[OutMemory, ...], t_s: float
) -> tuple[tuple[RowMemory, ...], tuple[Event, ...]]:
    """Rows that are out now: whatever they held or told is over."""
    after, events = list(rows), list[Event]()
    for place, (row, state) in enumerate(zip(plan.rows, rows, strict=True)):
        if not is_out(plan.site, row, out) or state == RowMemory(occurrence=state.occurrence):
            continue
        after[place] = RowMemory(occurrence=state.occurrence)
        if state.state is not AlarmState.NORMAL and state.saying is not None:
            alarm = alarms.as_told(row, replace(state, state=AlarmState.NORMAL))
            text = f"Out of service: {alarm.saying.what}"
            events.append(Event(EventKind.ALARM_ENDED, t_s, row.subject, text, alarm))
    return tuple(after), tuple(events)
