"""Keeping the books: one tick on, or over the looks that a simulated night leaves out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rules.balance import fresh, tracks
from rules.balance.books import Books
from rules.balance.fresh import Fresh
from rules.balance.tracks import NEW, Track
from rules.estimate import View
from rules.matrix import Clear
from rules.memory import Memory, PauseMemory, PumpMemory
from rules.plan import Plan
from rules.signals import AlarmState, Phase, Quality


def later(plan: Plan, memory: Memory, t_s: float) -> Books:
    """The books at `t_s` [s] if nothing but time has passed; a track waits for its next sample."""
    return Books(_later(plan, memory, t_s), memory.books.tracks)


def alike(plan: Plan, before: Memory, after: Memory) -> Books:
    """The books after a tick, if nothing happened to them in it but time and samples."""
    return Books(_later(plan, before, after.t_s), after.books.tracks)


def _later(plan: Plan, memory: Memory, t_s: float) -> Fresh:
    lasted_s = max(0.0, t_s - memory.t_s)  # water ran meanwhile, however late this tick
    return fresh.later(plan.fresh, memory.books.fresh, lasted_s)


def step(
    plan: Plan,
    view: View,
    pumps: Sequence[PumpMemory],
    since_s: float | None,
    *,
    permitted: bool,
    ended: PauseMemory | None,
) -> Books:
    """The books after a tick.

    `pumps` are as they are after it, `since_s` is since when the top-off is then open, `permitted`
    whether it may be; `ended` is a planned pause that ended in it.
    """
    return Books(
        _fresh(plan, view, since_s, permitted=permitted, ended=ended is not None),
        _tracks(plan, view, pumps, ended),
    )


def _fresh(plan: Plan, view: View, since_s: float | None, *, permitted: bool, ended: bool) -> Fresh:
    memory, t_s = view.memory, view.t_s
    its = _later(plan, memory, t_s)
    if plan.fresh is None or plan.top_off is None:
        return its
    if ended:
        its = fresh.paused(its, t_s)
    opened_s = memory.top_off_since_s
    if opened_s is not None and since_s is None and view.contacts[plan.top_off.switch.index].wet:
        its = fresh.closed(plan.fresh, its, t_s - opened_s, t_s)
    if its.drawn_s >= plan.fresh.drawn_s and _told_filled(plan, memory):
        its = fresh.filled_up(its)
    return fresh.waiting(its, t_s, is_open=since_s is not None, permitted=permitted)


def _told_filled(plan: Plan, memory: Memory) -> bool:
    """Somebody has acknowledged that the reservoir was nearly empty by the count, or nobody is
    asked."""
    return not any(
        row.hazard == "reservoir-low"
        and row.clear is Clear.ON_ACKNOWLEDGE
        and state.state is not AlarmState.ACK_ALARM
        for row, state in zip(plan.rows, memory.rows, strict=True)
    )


def _tracks(
    plan: Plan, view: View, pumps: Sequence[PumpMemory], ended: PauseMemory | None
) -> tuple[Track, ...]:
    before = view.memory.books.tracks
    cleaned = () if ended is None or ended.kind != "cleaning" else ended.pumps
    after = []
    for its, track in zip(plan.tracks, before or [NEW] * len(plan.tracks), strict=True):
        running = all(
            pumps[i].phase is Phase.RUNNING and view.t_s - pumps[i].since_s >= tracks.SETTLE_S
            for i in its.pumps
        )
        # what a pump gives once it has been cleaned is its normal
        anew = not its.rises and any(plan.pumps[i].id in cleaned for i in its.pumps)
        reading = view.readings[its.index]
        value = None if reading.quality is Quality.BAD else reading.value
        old = NEW if anew else track
        after.append(tracks.step(its, old, value, view.t_s, running=running))
    return tuple(after)


def timers_s(plan: Plan, memory: Memory) -> Iterator[float]:
    """When some of it falls due by time alone [s]."""
    for after_s in fresh.timers_s(plan.fresh, memory.books.fresh):
        yield memory.t_s + after_s
