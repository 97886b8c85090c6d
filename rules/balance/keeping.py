"""Keeping the books: one tick on, or over the looks that a simulated night leaves out."""

from __future__ import annotations

from collections.abc import Iterator

from rules.balance import fresh
from rules.balance.books import Books
from rules.estimate import View
from rules.memory import Memory
from rules.plan import Plan


def later(plan: Plan, memory: Memory, t_s: float) -> Books:
    """The books at `t_s` [s] if nothing but time has passed."""
    lasted_s = max(0.0, t_s - memory.t_s)  # water ran meanwhile, however late this tick
    return Books(fresh.later(plan.fresh, memory.books.fresh, lasted_s))


def step(
    plan: Plan, view: View, since_s: float | None, permitted: bool, *, pause_ended: bool
) -> Books:
    """The books after a tick.

    `since_s` is since when the top-off is open after it, `permitted` whether it may be;
    `pause_ended`: a planned pause ended in it.
    """
    memory, t_s = view.memory, view.t_s
    its = later(plan, memory, t_s).fresh
    if plan.fresh is None or plan.top_off is None:
        return Books(its)
    if pause_ended:
        its = fresh.paused(its, t_s)
    opened_s = memory.top_off_since_s
    if opened_s is not None and since_s is None and view.contacts[plan.top_off.switch.index].wet:
        its = fresh.closed(plan.fresh, its, t_s - opened_s, t_s)
    return Books(fresh.waiting(its, t_s, is_open=since_s is not None, permitted=permitted))


def timers_s(plan: Plan, memory: Memory) -> Iterator[float]:
    """When some of it falls due by time alone [s]."""
    for after_s in fresh.timers_s(plan.fresh, memory.books.fresh):
        yield memory.t_s + after_s
