"""Fresh water that was added, held against what evaporates: too much of it, or none.

The top-off holds the return chamber, and so hides whatever leaves the circuit. What it takes to do
so is the one figure that tells. Each sum here is of the time for which the valve was open, and is
emptied at a rate of so many days' evaporation a day: what evaporates passes through it, what goes
elsewhere fills it. A quick sum sees a large leak within the hour, a slow one a small leak in days.
Only openings at whose end the level was back count: an empty reservoir brings no water.

Evaporation follows the weather: a dry winter with fans on takes three times what a damp summer
does, so the quick sum lets eight days' evaporation a day pass, and the slow one two. A leak below
that is not told from dry air by any sum.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import floor

from rules.figures import LEVEL_TOLERANCE_M, Figures
from rules.site.model import Site

DAY_S = 86400.0

QUICK_DAYS, QUICK_ROOM_DAYS = 8.0, 0.5
"""The quick sum lets so many days' evaporation a day pass, and has room for so many more; less of
either is stricter. Somebody who takes a litre out for a test must not fill it."""

SLOW_DAYS, SLOW_ROOM_DAYS = 2.0, 4.0
"""The same of the slow sum: a week at three times the usual fills it, a day or two does not."""

TOP_OFF_DAYS = 3.0
"""Fresh water of a day over this many days' evaporation is no evaporation; less is stricter."""

LEAST_OPENINGS = 2.0
"""Every sum has room for so many openings, each of as much as the tolerance of a level [-]."""

STANDS = 1.75
"""A sum that is full is taken for so much more than full: it speaks once, not at every opening."""

DAMP_SHARE = 0.5
"""At least this share of what evaporates as a rule evaporates in a damp season; more is
stricter."""

MADE_UP_S = 3600.0
"""For so long after a planned pause what is added makes up for what hands took out [s], and after
the top-off was forbidden for so long, for what evaporated meanwhile."""

RESERVE_DAYS, RESERVE_SHARE = 1.0, 0.3
"""The reservoir is nearly empty with so many days' evaporation left in it, or this share of what it
holds, whichever is less; more is stricter."""

KEPT_SUM_S, KEPT_WAIT_S = 30.0, 3600.0
"""Sums, and the wait for an opening, are kept in such steps, rounded down [s]: a card wears out by
writing."""


@dataclass(frozen=True, slots=True)
class Sum:
    """A sum of open time: how much of it passes in each second of time [-], and its room [s]."""

    passes: float
    room_s: float


@dataclass(frozen=True, slots=True)
class FreshPlan:
    """What a site's evaporation makes of the top-off.

    `day_s` is how long the valve is open for a day's evaporation [s]; with the float in order no
    more than `wait_s` passes from one opening to the next [s]. The reservoir is nearly empty under
    `low_m` above its bottom [m], or `drawn_s` of open time after it was full [s].
    """

    day_s: float
    quick: Sum
    slow: Sum
    wait_s: float
    low_m: float
    drawn_s: float


@dataclass(frozen=True, slots=True)
class Fresh:
    """The sums as they stand [s].

    `waited_s` is how long the top-off could have opened and was not asked to, `waits` whether it
    can now; `barred_since_s` is since when it may not, None while it may; until `made_up_s` what is
    added makes up for what was missed. `drawn_s` is the open time since the reservoir was full.
    """

    quick_s: float = 0.0
    slow_s: float = 0.0
    waited_s: float = 0.0
    waits: bool = False
    barred_since_s: float | None = None
    made_up_s: float = 0.0
    drawn_s: float = 0.0


NEW = Fresh()


def derive(site: Site, figures: Figures) -> FreshPlan | None:
    """The plan of a site; None where nothing evaporates, or no top-off says how much it brings."""
    top_off = site.top_off
    evaporates_m3 = figures.volume_m3 * site.water.evaporation
    if top_off is None or evaporates_m3 <= 0.0 or top_off.rate <= 0.0:
        return None
    chamber = site.chambers[top_off.to]
    level_m = figures.running.levels_m[top_off.to] - chamber.bottom
    opening_m3 = chamber.plan_m2(level_m) * LEVEL_TOLERANCE_M
    day_s, opening_s = evaporates_m3 / top_off.rate, opening_m3 / top_off.rate

    def summed(days: float, room_days: float) -> Sum:
        return Sum(days * day_s / DAY_S, max(room_days * day_s, LEAST_OPENINGS * opening_s))

    wait_s = DAY_S * (1.0 + opening_m3 / (DAMP_SHARE * evaporates_m3))
    quick, slow = summed(QUICK_DAYS, QUICK_ROOM_DAYS), summed(SLOW_DAYS, SLOW_ROOM_DAYS)
    reservoir = site.chambers[top_off.reservoir]
    reserve_m3 = min(RESERVE_DAYS * evaporates_m3, RESERVE_SHARE * figures.reservoir_m3)
    return FreshPlan(
        day_s,
        quick,
        slow,
        wait_s,
        low_m=reservoir.level_m(reserve_m3),
        drawn_s=(figures.reservoir_m3 - reserve_m3) / top_off.rate,
    )


def most_in_a_day_s(site: Site, figures: Figures) -> float:
    """How long the top-off may be open in a day [s]: for three times what evaporates."""
    assert site.top_off is not None
    wanted = TOP_OFF_DAYS * figures.volume_m3 * site.water.evaporation
    needed = wanted / site.top_off.rate if site.top_off.rate > 0 else 0.0
    return max(2.0 * site.top_off.longest, needed)


def later(plan: FreshPlan | None, fresh: Fresh, lasted_s: float) -> Fresh:
    """The sums after so long in which nothing was opened or closed [s]."""
    if plan is None or lasted_s <= 0.0:
        return fresh
    return Fresh(  # at every tick, and `replace` would take three times as long
        max(0.0, fresh.quick_s - lasted_s * plan.quick.passes),
        max(0.0, fresh.slow_s - lasted_s * plan.slow.passes),
        fresh.waited_s + lasted_s if fresh.waits else fresh.waited_s,
        fresh.waits,
        fresh.barred_since_s,
        fresh.made_up_s,
        fresh.drawn_s,
    )


def closed(plan: FreshPlan | None, fresh: Fresh, open_s: float, t_s: float) -> Fresh:
    """The sums after an opening of so long [s] at whose end, at `t_s`, the level was back."""
    if plan is None:
        return fresh
    fresh = replace(fresh, drawn_s=fresh.drawn_s + open_s)
    if t_s < fresh.made_up_s:
        return fresh
    quick_s = _filled(plan.quick, fresh.quick_s, open_s)
    return replace(fresh, quick_s=quick_s, slow_s=_filled(plan.slow, fresh.slow_s, open_s))


def _filled(its: Sum, held_s: float, open_s: float) -> float:
    after_s = held_s + open_s
    return STANDS * its.room_s if after_s >= its.room_s else after_s


def filled_up(fresh: Fresh) -> Fresh:
    """The reservoir has been filled."""
    return replace(fresh, drawn_s=0.0)


def waiting(fresh: Fresh, t_s: float, *, is_open: bool, permitted: bool) -> Fresh:
    """Whether the top-off waits to be asked from now on; an opening ends the wait."""
    if permitted and fresh.barred_since_s is not None:
        missed = t_s - fresh.barred_since_s >= MADE_UP_S
        made_up_s = t_s + MADE_UP_S if missed else fresh.made_up_s
        fresh = replace(fresh, barred_since_s=None, made_up_s=made_up_s)
    elif not permitted and fresh.barred_since_s is None:
        fresh = replace(fresh, barred_since_s=t_s)
    if is_open and (fresh.waits or fresh.waited_s > 0.0):
        return replace(fresh, waited_s=0.0, waits=False)
    waits = permitted and not is_open
    return fresh if fresh.waits == waits else replace(fresh, waits=waits)


def paused(fresh: Fresh, t_s: float) -> Fresh:
    """A planned pause has ended."""
    return replace(fresh, made_up_s=t_s + MADE_UP_S)


def lost(plan: FreshPlan, fresh: Fresh) -> Sum | None:
    """The sum that tells of more than evaporates, the quick one first."""
    if fresh.quick_s >= plan.quick.room_s:
        return plan.quick
    return plan.slow if fresh.slow_s >= plan.slow.room_s else None


def timers_s(plan: FreshPlan | None, fresh: Fresh) -> Iterator[float]:
    """After how long some of it falls due by time alone [s]."""
    if plan is None:
        return
    for its, held_s in ((plan.quick, fresh.quick_s), (plan.slow, fresh.slow_s)):
        if held_s >= its.room_s:
            yield (held_s - its.room_s) / its.passes
    if fresh.waits and fresh.waited_s < plan.wait_s:
        yield plan.wait_s - fresh.waited_s


def kept(fresh: Fresh) -> dict[str, float]:
    """What outlives a restart of the daemon."""
    found = {
        "quick": KEPT_SUM_S * floor(fresh.quick_s / KEPT_SUM_S),
        "slow": KEPT_SUM_S * floor(fresh.slow_s / KEPT_SUM_S),
        "drawn": KEPT_SUM_S * floor(fresh.drawn_s / KEPT_SUM_S),
        "waited": KEPT_WAIT_S * floor(fresh.waited_s / KEPT_WAIT_S),
    }
    return {key: held_s for key, held_s in found.items() if held_s > 0.0}


def begun(kept_s: Mapping[str, float]) -> Fresh:
    """The sums of a guard that begins with what an earlier run left behind."""
    return Fresh(
        kept_s.get("quick", 0.0),
        kept_s.get("slow", 0.0),
        kept_s.get("waited", 0.0),
        drawn_s=kept_s.get("drawn", 0.0),
    )
