"""More fresh water is added than evaporates: water leaves the circuit, where no pad lies.

The story: a bulkhead weeps into the wall, the skimmer foams over into its drain, a hose drips
behind the cabinet. No float ever turns, for the top-off brings back whatever goes; the water only
loses its salt. What tells is how much fresh water it takes. A day of it in one go is stopped by
`top_off_long`; this row speaks long before, and of leaks that never come to that.

The sums are those of `rules.balance.fresh`. They know the valve's flow and the usual evaporation
from the site file alone: where a valve gives less than it says, or the air is dry for weeks, the
alarm says how much was added, and the site file is what to mend.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.balance import fresh
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, valve_of
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for a top-off that the guard drives and whose flow is known."""
    valve, plan = valve_of(site), fresh.derive(site, figures)
    if valve is None or plan is None:
        return
    assert site.top_off is not None
    quick, slow = (
        show.volume(its.room_s * site.top_off.rate, site.site.units)
        for its in (plan.quick, plan.slow)
    )
    yield Row(
        "water-lost",
        valve,
        f"{quick} of fresh water over {fresh.QUICK_DAYS:g} times the usual evaporation, or {slow} "
        f"over {fresh.SLOW_DAYS:g} times of it",
        0.0,
        Clear.WHEN_CLEAR,
        Effect.ALARM_ONLY,
        priority.of("water-lost"),
    )


def present(_row: Row, view: View) -> bool:
    """One of the sums is full."""
    plan = view.plan.fresh
    return plan is not None and fresh.lost(plan, view.memory.books.fresh) is not None


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    plan, site = view.plan.fresh, view.plan.site
    assert plan is not None
    assert site.top_off is not None
    its = fresh.lost(plan, view.memory.books.fresh) or plan.slow
    days = its.passes * fresh.DAY_S / plan.day_s
    usual = show.volume(plan.day_s * site.top_off.rate, site.site.units)
    more = show.volume(its.room_s * site.top_off.rate, site.site.units)
    fallen = site.water.salinity * its.room_s * site.top_off.rate / view.plan.figures.volume_m3
    return Saying(
        what=f"More fresh water is added than evaporates: {more} over {days:g} times the usual "
        f"{usual} a day",
        where=site.label(row.subject),
        done="Nothing was shut: the top-off still holds the level, and the salt grows thinner.",
        do_now="Look for water that goes elsewhere: under the sump, behind the tanks, in the "
        "skimmer's cup, at a water change that takes more than it brings. Measure the salinity: by "
        f"now it may have fallen by {fallen:.1f} g/kg. If all is dry, the air is, or the valve "
        "gives less than the site file says.",
    )


HAZARD = Hazard("water-lost", rows, present, say)
