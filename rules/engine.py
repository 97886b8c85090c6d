"""One step of the guard: from what was observed to what is done and said. A pure function.

The order of a step: orders of people, filters and estimates, rows of the matrix and their alarms,
pumps, then every other output. Same plan, memory and observation, same result, to the bit.
"""

from __future__ import annotations

from dataclasses import replace
from math import floor, inf

from rules import alarms, charging, estimate, orders, pausing, pumping, service, stops
from rules.alarming import chatter, folding, rate, sayings, shelving, taking_out
from rules.alarms import Stimulus
from rules.balance import keeping
from rules.charging import RETURN_S
from rules.estimate import View
from rules.figures import compute
from rules.hazards import cut_unanswered
from rules.hazards.table import HAZARDS, rows
from rules.judging import past, release, status
from rules.levels import level_figures
from rules.matrix import Clear, Effect, Row
from rules.memory import Memory, PumpMemory, RowMemory
from rules.plan import Plan, derive
from rules.pumping import STAGGER_S, Cutting, Now
from rules.signals import (
    AlarmState,
    Decision,
    Event,
    EventKind,
    Observation,
    Phase,
    Priority,
    PumpFigures,
    Quality,
)
from rules.site.model import Site

SETTLED_S = 60.0
"""A pump must have run for this long before the top-off may open [s]; longer is stricter."""

DAY_S = 86400.0

HEARTBEAT_S = 0.5
"""The heartbeat output changes this often [s]."""


def plan_for(site: Site, without: frozenset[str] = frozenset()) -> Plan:
    """The plan of a site; `without` takes hazards out, to prove that they are needed."""
    figures = compute(site)
    return derive(site, figures, rows(site, figures, without))


def step(plan: Plan, memory: Memory, observation: Observation) -> tuple[Memory, Decision]:
    """One tick: returns what to remember and what to do."""
    t_s, events = observation.t_s, list[Event]()
    row_states, answers = orders.obey(plan, memory, observation)
    pause, said = pausing.obey(plan, memory, row_states, observation)
    out, row_states, served = taking_out.obey(plan, memory, row_states, observation)
    events.extend((*answers, *said, *served))
    before = replace(memory, rows=row_states, pause=pause, out=out)
    if orders.forgets(answers):
        before = replace(before, sights=())
    if out:
        observation = service.masked(plan, out, observation)
    view = estimate.look(plan, before, observation)
    row_states = _step_rows(plan, view, row_states, events)
    pumps, row_states = _step_pumps(plan, before, row_states, t_s, events)
    pumps, row_states = cut_unanswered.watch(plan, view, row_states, pumps)
    pumps, row_states = release.pumps_of_splashes(plan, memory.judged, row_states, pumps, t_s)
    pause, ended = pausing.overtaken(plan, pause, row_states, pumps, t_s)
    permitted = _may_top_off(plan, view, row_states, pumps)
    since_s, happened = _top_off(plan, view, permitted)
    events.extend((*ended, *happened))
    raised = sum(event.kind is EventKind.ALARM_RAISED for event in events)
    after = Memory(
        boot=memory.boot,
        t_s=t_s,
        contacts=view.contacts,
        rows=row_states,
        pumps=stops.watch(view, pumps),
        top_off_since_s=since_s,
        top_off_used_s=top_off_used_s(plan, memory, t_s),
        levels=view.level_states,
        pause=pause,
        judged=past.step(plan, memory, view, pumps),
        raised=rate.add(memory.raised, raised, t_s),
        books=keeping.step(
            plan,
            view,
            pumps,
            since_s,
            permitted=permitted,
            ended=memory.pause if pause is None else None,
        ),
        sights=view.sights,
        out=out,
    )
    return after, _decide(plan, view, after, tuple(events))


def _step_rows(
    plan: Plan, view: View, before: tuple[RowMemory, ...], events: list[Event]
) -> tuple[RowMemory, ...]:
    states = list(before)
    first, pause = not view.memory.contacts, view.memory.pause
    for i, row in enumerate(plan.rows):
        state = states[i]
        if view.memory.out and service.is_out(plan.site, row, view.memory.out):
            continue
        present = HAZARDS[row.hazard].present(row, view)
        if shelving.over(state, view.t_s) or folding.is_over(plan, states, state, present):
            state = states[i] = _told_anew(view, row, state, states, events)
        mute = state.folded or state.shelved_until_s is not None
        told = list[Event]() if mute else events
        if present and pause is not None and not state.standing:
            present = not pausing.suppressed(pause, row)
        if not present and chatter.over(state, view.t_s):
            state = states[i] = _clear(row, state, view.t_s, told)
        held_over = first and state.held
        if not present and not held_over and not state.standing and state.charge_s == 0.0:
            continue
        charge, standing = charging.step(row, state, present, view.dt_s)
        if held_over:
            # latched before the guard restarted: say it again, with a code of this boot
            charge = (row.delay_s or RETURN_S) * present
            before_restart = replace(state, charge_s=charge, standing=present)
            states[i] = _raise(view, row, before_restart, states, told)
        elif standing and not state.standing:
            into = folding.into(plan, states, i)
            raised = replace(state, charge_s=charge, standing=True, folded=into)
            states[i] = _come(view, row, raised, states, list[Event]() if into else told)
            if into:
                events.append(folding.told(row, states[i], view.t_s))
        elif present and standing and _worse(row, view, state):
            grown = replace(state, charge_s=charge, shelved_until_s=None, folded="")
            states[i] = _raise(view, row, grown, states, events, stimulus=Stimulus.WORSE)
        elif state.standing and not standing:
            cleared = replace(state, charge_s=charge, standing=False)
            states[i] = _go(row, cleared, view.t_s, told)
        elif charge != state.charge_s:
            states[i] = replace(state, charge_s=charge)
    return tuple(states)


def _told_anew(
    view: View, row: Row, state: RowMemory, states: list[RowMemory], events: list[Event]
) -> RowMemory:
    """A row is shelved or folded no longer: what still stands is told now."""
    back = shelving.taken_back(replace(state, folded=""))
    if back.standing:
        return _raise(view, row, back, states, events, stimulus=Stimulus.WORSE)
    if back.state is AlarmState.NORMAL and not state.folded:
        alarm = alarms.as_told(row, back)
        text = f"No longer shelved, and gone: {alarm.saying.what}"
        events.append(Event(EventKind.ALARM_ENDED, view.t_s, row.subject, text, alarm))
    return back


def _come(
    view: View, row: Row, state: RowMemory, states: list[RowMemory], events: list[Event]
) -> RowMemory:
    """The cause has come: an alarm, unless it comes and goes and belongs to the last one."""
    before, comings = state.comings, chatter.lately(state, view.t_s)
    unread = row.clear is Clear.ON_RESET and sayings.unread_signal(row, view)
    on = tuple(pump.on for pump in view.memory.pumps)
    counts = chatter.counts(view.plan, row, on, unread)
    state = replace(state, comings=chatter.with_one(comings, view.t_s) if counts else comings)
    if counts and chatter.same(row, state, unread):
        return replace(state, lingers_until_s=None)
    if state.lingers_until_s is not None:  # what stood until now has returned
        returned = alarms.after(state.state, Stimulus.CLEAR, _latching(row, state))
        state = replace(state, state=returned, lingers_until_s=None)
    raised = _raise(view, row, state, states, events)
    if chatter.often(raised.comings) and not chatter.often(before):
        alarm = alarms.as_told(row, raised)
        text = chatter.begins(row, raised)
        events.append(Event(EventKind.ALARM_CHATTERS, view.t_s, row.subject, text, alarm))
    return raised


def _go(row: Row, state: RowMemory, t_s: float, events: list[Event]) -> RowMemory:
    """The cause has gone: the alarm returns, at once or only when it has been gone for longer."""
    waited_s = row.delay_s or RETURN_S
    lingers_s = chatter.off_delay_s(state) - waited_s
    if lingers_s <= 0.0:
        return _clear(row, state, t_s, events)
    return replace(state, lingers_until_s=t_s + lingers_s)


def _latching(row: Row, state: RowMemory) -> bool:
    return state.held and (row.clear is Clear.ON_RESET or state.latching)


def _raise(
    view: View,
    row: Row,
    state: RowMemory,
    states: list[RowMemory],
    events: list[Event],
    *,
    stimulus: Stimulus = Stimulus.ALARM,
) -> RowMemory:
    t_s = view.t_s
    taken = {other.code for other in states if other.code}
    occurrence = state.occurrence + 1
    code = alarms.code(view.memory.boot, row.id, occurrence, taken)
    hazard = HAZARDS[row.hazard]
    unread = state.standing and row.clear is Clear.ON_RESET and sayings.unread_signal(row, view)
    stage, priority = hazard.stage(row, view) if hazard.stage and state.standing else (0, None)
    raised = replace(
        state,
        held=state.held or (row.clear is not Clear.WHEN_CLEAR and not unread),
        state=alarms.after(state.state, stimulus, True) if state.standing else state.state,
        occurrence=occurrence,
        code=code,
        since_s=t_s,
        saying=sayings.of(row, view, state, unread),
        spill_s=hazard.clock(row, view) if state.standing else inf,
        unread=unread,
        stage=stage,
        priority=priority,
    )
    alarm = alarms.as_told(row, raised)
    saying = alarm.saying
    text = f"{saying.what.rstrip('.')}. {saying.done} {saying.do_now}"
    events.append(Event(EventKind.ALARM_RAISED, t_s, row.subject, text, alarm))
    return raised


def _worse(row: Row, view: View, state: RowMemory) -> bool:
    """True when an alarm that stands has become more than it was.

    A signal that could not be read now tells of the thing itself, or the hazard's next stage has
    come. What is told of such an alarm anew, it has to be answered anew.
    """
    if state.unread:
        contact = view.plan.contacts[row.subject]
        reading = view.readings[contact.index]
        return reading.quality is not Quality.BAD and (reading.value >= 0.5) is contact.worst
    stage = HAZARDS[row.hazard].stage
    return stage is not None and stage(row, view)[0] > state.stage


def _clear(row: Row, state: RowMemory, t_s: float, events: list[Event]) -> RowMemory:
    after = alarms.after(state.state, Stimulus.CLEAR, _latching(row, state))
    cleared = replace(state, state=after, unread=False, stage=0, lingers_until_s=None)
    ended = cleared.state is AlarmState.NORMAL
    kind = EventKind.ALARM_ENDED if ended else EventKind.ALARM_RETURNED
    alarm = alarms.as_told(row, cleared)
    text = f"No longer so: {alarm.saying.what}."
    events.append(Event(kind, t_s, row.subject, text, alarm))
    return cleared


def in_force(states: tuple[RowMemory, ...], index: int) -> bool:
    """True while a row's effect holds: its cause stands, or waits for a person."""
    return states[index].standing or states[index].held


def _step_pumps(
    plan: Plan,
    memory: Memory,
    states: tuple[RowMemory, ...],
    t_s: float,
    events: list[Event],
) -> tuple[tuple[PumpMemory, ...], tuple[RowMemory, ...]]:
    after, rows_after = list[PumpMemory](), list(states)
    first, paused = not memory.contacts, memory.pause.pumps if memory.pause is not None else ()
    for place, (pump, before) in enumerate(zip(plan.pumps, memory.pumps, strict=True)):
        # the first start waits from the first look, however long the guard took to get there
        state = pumping.begun(before, t_s) if first else before
        indexes = [
            i
            for i, row in enumerate(plan.rows)
            if row.effect is Effect.CUT_PUMP and pump.id in row.pumps and in_force(states, i)
        ]
        cutting = Cutting(
            tuple(plan.rows[i] for i in indexes), any(states[i].held for i in indexes)
        )
        turn = not any(
            other.phase is Phase.PROVING and t_s - other.since_s < STAGGER_S - 1e-9
            for other in (*after, *memory.pumps[place + 1 :])
        )
        now = Now(t_s, cutting, pump.id in paused, turn, first)
        stepped, happened = pumping.step(pump, plan.site.label(pump.id), state, now)
        if stepped.phase is Phase.LATCHED and state.phase is not Phase.LATCHED:
            for i in indexes:  # restarts are used up, or a person is needed: hold the causes
                rows_after[i] = replace(rows_after[i], held=True, latching=True)
        after.append(stepped)
        events.extend(happened)
    return tuple(after), tuple(rows_after)


def _may_top_off(
    plan: Plan, view: View, states: tuple[RowMemory, ...], pumps: tuple[PumpMemory, ...]
) -> bool:
    """Whether the top-off may be open: all that could forbid it permits it."""
    return (
        plan.top_off is not None
        and view.memory.pause is None
        and all(
            pumps[i].phase is Phase.RUNNING and view.t_s - pumps[i].since_s >= SETTLED_S
            for i in plan.top_off.pumps
        )
        and not any(
            row.effect >= Effect.INHIBIT_TOP_OFF and in_force(states, i)
            for i, row in enumerate(plan.rows)
        )
    )


def _top_off(plan: Plan, view: View, permitted: bool) -> tuple[float | None, tuple[Event, ...]]:
    """Since when the top-off is open [s], or None: it must be wanted, and permitted by all."""
    top_off, t_s, since_s = plan.top_off, view.t_s, view.memory.top_off_since_s
    if top_off is None:
        return None, ()
    now = permitted and not view.contacts[top_off.switch.index].wet
    if now == (since_s is not None):
        return since_s, ()
    key = list(plan.outputs)[top_off.output]
    if now:
        return t_s, (Event(EventKind.TOP_OFF_OPENED, t_s, key, "Top-off opened"),)
    why = "level is back" if permitted else "not permitted"
    return None, (Event(EventKind.TOP_OFF_CLOSED, t_s, key, f"Top-off closed: {why}"),)


def top_off_used_s(plan: Plan, memory: Memory, t_s: float) -> float:
    """How much of a day's opening is used up at `t_s` [s]: filled while open, less over a day."""
    top_off, used_s = plan.top_off, memory.top_off_used_s
    if top_off is None:
        return 0.0
    lasted_s = max(0.0, t_s - memory.t_s)  # water ran meanwhile, however late this tick
    if memory.top_off_since_s is not None:
        within = used_s < top_off.daily_s
        used_s += lasted_s
        if within and used_s >= top_off.daily_s:
            # room for one whole opening must be free again before the next: no chatter at the edge
            used_s = top_off.daily_s + top_off.longest_s
    return max(0.0, used_s - lasted_s * top_off.daily_s / DAY_S)


def _decide(plan: Plan, view: View, after: Memory, events: tuple[Event, ...]) -> Decision:
    outputs = [False] * len(plan.outputs)
    for pump, state in zip(plan.pumps, after.pumps, strict=True):
        if pump.output is not None:
            outputs[pump.output] = state.on
    if plan.top_off is not None:
        outputs[plan.top_off.output] = after.top_off_since_s is not None
    for spare in plan.spares:
        idle = not any(after.pumps[i].on for i in spare.pumps)
        high = any(view.asks(contact.id) for contact in spare.high)
        leak = any(after.rows[i].standing for i in spare.leaks)
        outputs[spare.output] = idle and not high and not leak and pausing.stirs(after.pause)
    standing = tuple(
        folding.with_consequences(alarms.as_told(row, state), after.rows)
        for row, state in zip(plan.rows, after.rows, strict=True)
        if (state.state is not AlarmState.NORMAL or state.shelved_until_s is not None)
        and not state.folded
    )
    sounding = any(
        alarm.priority is Priority.HIGH and alarm.state in orders.ACKNOWLEDGEABLE
        for alarm in standing
    )
    for index in plan.sounders:
        outputs[index] = sounding
    for index in plan.heartbeats:
        outputs[index] = floor(after.t_s / HEARTBEAT_S + 1e-9) % 2 == 0
    figures = tuple(
        PumpFigures(pump.id, state.phase, view.flows[i], view.dry_s[i])
        for i, (pump, state) in enumerate(zip(plan.pumps, after.pumps, strict=True))
    )
    return Decision(
        outputs=tuple(outputs),
        events=events,
        alarms=standing,
        drains=view.drains,
        pumps=figures,
        levels=level_figures(plan, view.readings),
        pause=pausing.figures(after.pause, after.t_s),
        rates=rate.rates(after.raised, after.t_s),
        out=service.figures(plan, after.out, after.t_s) if after.out else (),
        signals=status.figures(plan, view, after.rows),
    )
