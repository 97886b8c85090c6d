"""The fresh-water reservoir is nearly empty.

The story: the canister was to be filled on Friday, and it is Sunday. The float asks, the valve
opens, and air comes; five minutes later `top_off_long` says that no level came back, and somebody
has to find out why. A float or a level sensor in the reservoir tells it while there is still a
day's water in it, or at least by name. Where the float is dry the top-off is shut meanwhile, and
opens again by itself once the reservoir has been filled.

Without a sensor in it the guard can keep count, where the site file asks for it (`counted`): of
what the valve has let through since somebody acknowledged that it was filled.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.balance import fresh
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, valve_of
from rules.matrix import Clear, Effect, Row
from rules.signals import Quality, Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every low float and level sensor in the reservoir, else one for the count."""
    plan = fresh.derive(site, figures)
    if site.top_off is None or plan is None or valve_of(site) is None:
        return
    place, units = site.label(site.top_off.reservoir), site.site.units
    reservoir = site.top_off.reservoir
    floats, levels = site.floats(reservoir, "dry-run"), site.levels(reservoir)
    for key, sensor in floats.items():
        yield _row(
            key, f"{place} is under {show.length(sensor.height, units)}", Effect.INHIBIT_TOP_OFF
        )
    for key in levels:
        yield _row(key, f"{place} is under {show.length(plan.low_m, units)}", Effect.ALARM_ONLY)
    if site.top_off.counted and not floats and not levels:
        drawn = show.volume(plan.drawn_s * site.top_off.rate, units)
        yield _row(
            site.top_off.reservoir,
            f"{drawn} drawn since {place} was filled",
            Effect.ALARM_ONLY,
            Clear.ON_ACKNOWLEDGE,
        )


def _row(subject: str, cause: str, effect: Effect, clear: Clear = Clear.WHEN_CLEAR) -> Row:
    wait_s = 0.0 if clear is Clear.ON_ACKNOWLEDGE else 30.0
    return Row("reservoir-low", subject, cause, wait_s, clear, effect, priority.of("reservoir-low"))


def present(row: Row, view: View) -> bool:
    """Its float is dry, its level under a day's water, or so much has been drawn."""
    plan = view.plan.fresh
    if plan is None:
        return False
    if row.subject in view.plan.contacts:
        return not view.wet(row.subject)
    if row.subject in view.plan.level_ids:
        reading = view.reading(row.subject)
        return reading.quality is not Quality.BAD and reading.value < plan.low_m
    return view.memory.books.fresh.drawn_s >= plan.drawn_s


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site, plan = view.plan.site, view.plan.fresh
    assert plan is not None
    assert site.top_off is not None
    place, units = site.label(site.top_off.reservoir), site.site.units
    what, done = f"The {place} is nearly empty", "The top-off goes on while there is water."
    do_now = "Fill it."
    if row.effect is Effect.INHIBIT_TOP_OFF:
        done = "The top-off is shut until it has been filled."
    if row.clear is Clear.ON_ACKNOWLEDGE:
        drawn = show.volume(view.memory.books.fresh.drawn_s * site.top_off.rate, units)
        what = f"The {place} should be nearly empty: {drawn} have been drawn since it was filled"
        do_now = "Fill it, then acknowledge: from then on it counts as full."
    return Saying(what=what, where=place, done=done, do_now=do_now)


HAZARD = Hazard("reservoir-low", rows, present, say)
