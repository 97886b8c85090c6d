"""What the assessment says of a site, as the plain table that campaigns hold nights against."""

from __future__ import annotations

from rules import engine
from rules.assessment.assess import Assessment, assess
from rules.assessment.failures import SPILL_M3, Result, Sort
from rules.hydraulics.errors import HydraulicsError
from rules.plan import Plan
from rules.site.model import Site
from rules.verdict import Weight, judge
from simulator.campaign.promises import Promise, Promises


def promises(site: Site) -> Promises:
    """Assess a site; raises HydraulicsError where that cannot be done."""
    plan = engine.plan_for(site)
    return _of(plan, assess(plan))


def promises_if_safe(site: Site) -> Promises | None:
    """The same, or None for a site that `check` would not call safe to leave, or cannot compute."""
    try:
        plan = engine.plan_for(site)
        assessment = assess(plan)
    except HydraulicsError:
        return None
    if judge(plan, assessment).weight >= Weight.UNSAFE:
        return None
    return _of(plan, assessment)


def _of(plan: Plan, found: Assessment) -> Promises:
    top_off = next((r for r in found.results if r.failure.sort is Sort.TOP_OFF), None)
    return Promises(
        blocked=tuple(_promise(r) for r in found.results if r.failure.sort is not Sort.TOP_OFF),
        stop_fits=all(
            sum(stop.open_breaks.spilled_m3.values()) <= SPILL_M3 for stop in found.stops
        ),
        plugged_stop_fits={
            stop.pump: sum(stop.plugged_breaks.spilled_m3.values()) <= SPILL_M3
            for stop in found.stops
        },
        reservoir_fits=top_off is None or sum(top_off.worst.spilled_m3.values()) <= SPILL_M3,
        stop_after_reservoir_fits=top_off is None or _stop_fits_after(plan, found, top_off),
    )


def _promise(result: Result) -> Promise:
    in_time = tuple(s.sensor for s in result.seen_at_worst if s.in_time)
    passages = frozenset(result.failure.what.condition)
    return Promise(result.failure.title, passages, result.carried, in_time)


def _stop_fits_after(plan: Plan, found: Assessment, top_off: Result) -> bool:
    stop = found.doubt.of_pump(top_off.failure.pump)
    return plan.figures.reservoir_m3 <= stop.room.low - stop.drain_down.high
