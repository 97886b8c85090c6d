"""How long nothing but time would change: for whoever plays a night faster than it passes.

The guard itself looks ten times a second, always. A simulated night of ten hours may leave out the
looks of which this tells that they would change nothing. What the observer gathers from look to
look is no change: it takes one look for all that are left out, and only while it suspects a loss or
a day ends it wants to see its next sample in time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import inf

from rules import service, voting
from rules.balance import keeping
from rules.balance.books import Books
from rules.engine import DAY_S, SETTLED_S, top_off_used_s
from rules.hazards import pump_off
from rules.judging import past
from rules.memory import Memory, PumpMemory
from rules.plan import Plan, PumpPlan
from rules.pumping import FORGET_S, SETTLE_S, SHOW_S, STAGGER_S
from rules.resting import RUNS_FORGET_S
from rules.signals import Phase
from rules.stops import COUNT_S


def idle_until_s(plan: Plan, before: Memory, after: Memory) -> float:
    """Until when another look at the same readings would change nothing [s, the guard's time].

    `before` and `after` are the memory round the last step. Where that step changed anything but
    the time, the next one may too, and this is the time of the last step itself.
    """
    books = keeping.alike(plan, before, after)
    untouched = replace(_later(before, after.t_s, after.top_off_used_s, books), sights=after.sights)
    if untouched != after:
        return after.t_s
    timers = [
        timer_s
        for pump, state in zip(plan.pumps, after.pumps, strict=True)
        if not _held_off(state, after.t_s)
        for timer_s in _timers_s(pump, state)
    ]
    timers += _off_timers_s(after)
    timers += [p.stopped_s + COUNT_S for p in after.pumps if p.stopped_s is not None]
    timers += _top_off_timers_s(plan, after)
    timers += keeping.timers_s(plan, after)
    timers += past.timers_s(after.judged)
    timers += voting.timers_s(plan.votes, after.judged.turned_s)
    timers += [row.lingers_until_s for row in after.rows if row.lingers_until_s is not None]
    timers += [sight.next_s for sight in after.sights if sight.pressing]
    timers += [row.shelved_until_s for row in after.rows if row.shelved_until_s is not None]
    timers += [service.next_s(one, after.t_s) for one in after.out]
    if after.pause is not None:
        timers.append(after.pause.until_s)
    return min((timer_s for timer_s in timers if timer_s > after.t_s), default=inf)


def passed(plan: Plan, memory: Memory, t_s: float) -> Memory:
    """The memory after looks up to `t_s` [s], none of which would change anything but the time."""
    used_s = top_off_used_s(plan, memory, t_s)
    return _later(memory, t_s, used_s, keeping.later(plan, memory, t_s))


def _later(memory: Memory, t_s: float, used_s: float, books: Books) -> Memory:
    pumps = tuple(
        replace(state, since_s=t_s) if _held_off(state, memory.t_s) else state
        for state in memory.pumps
    )
    return replace(memory, t_s=t_s, top_off_used_s=used_s, pumps=pumps, books=books)


def _held_off(state: PumpMemory, now_s: float) -> bool:
    """True for a pump whose rest has not begun, because the cause of its cut still stands."""
    return state.phase is Phase.WAITING and state.since_s == now_s


def _off_timers_s(memory: Memory) -> Iterator[float]:
    """When it is next told that a pump has been off for long [s]."""
    for state in memory.pumps:
        if state.off_since_s is not None:
            yield state.off_since_s + pump_off.next_s(memory.t_s - state.off_since_s)


def _top_off_timers_s(plan: Plan, memory: Memory) -> Iterator[float]:
    """When the top-off has been open for too long, or used up, or may be used again [s]."""
    top_off, used_s = plan.top_off, memory.top_off_used_s
    if top_off is None:
        return
    emptied = top_off.daily_s / DAY_S
    if memory.top_off_since_s is not None:
        yield memory.top_off_since_s + top_off.longest_s
        if used_s < top_off.daily_s and emptied < 1.0:
            yield memory.t_s + (top_off.daily_s - used_s) / (1.0 - emptied)
    elif used_s >= top_off.daily_s:
        yield memory.t_s + (used_s - top_off.daily_s) / emptied


def _timers_s(pump: PumpPlan, state: PumpMemory) -> Iterator[float]:
    """When something falls due for a pump by time alone [s]."""
    match state.phase:
        case Phase.STARTING:
            yield state.since_s + SETTLE_S
        case Phase.PROVING:
            yield state.since_s + STAGGER_S  # then the next pump may start
            yield state.since_s + pump.prime_s
            yield state.since_s + pump.prime_s + SHOW_S
        case Phase.WAITING:
            yield state.since_s + state.rest_s
        case Phase.RUNNING:
            yield state.since_s + SETTLED_S
            yield state.since_s + FORGET_S
            yield state.since_s + RUNS_FORGET_S
        case Phase.LATCHED | Phase.PAUSED:
            return
