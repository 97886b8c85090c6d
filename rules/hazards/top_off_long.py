"""The top-off has been open for longer than it should ever need.

The story: the float hangs, the reservoir is empty, or water leaves the circuit as fast as it is
added, in one long opening or in many short ones: a day's openings together may bring no more than
a few days' evaporation. It is shut until a person says so, and until the day's measure is free
again: fresh water has hidden many a leak, and drowned a few animals in the end.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, valve_of
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for the top-off's valve, where the guard drives one."""
    valve = valve_of(site)
    if valve is not None and site.top_off is not None:
        yield Row(
            "top-off-long",
            valve,
            f"open for {show.duration(site.top_off.longest)} on end, or too much in a day",
            0.0,
            Clear.ON_ACKNOWLEDGE,
            Effect.INHIBIT_TOP_OFF,
            priority.of("top-off-long"),
        )


def present(_row: Row, view: View) -> bool:
    """Open on end for the longest time the site file allows, or for a day's measure in all."""
    plan, memory = view.plan.top_off, view.memory
    if plan is None:
        return False
    since_s = memory.top_off_since_s
    too_long = since_s is not None and memory.t_s - since_s >= plan.longest_s
    return too_long or memory.top_off_used_s >= plan.daily_s


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    plan = view.plan.top_off
    assert plan is not None
    what = (
        f"The top-off has been open for {show.duration(plan.longest_s)} and the level is not back: "
        f"the {view.plan.site.label(plan.switch.id)} is still dry"
    )
    if view.memory.top_off_used_s >= plan.daily_s:
        daily = show.duration(plan.daily_s)
        what = f"The top-off has been open for {daily} in a day, more than evaporates"
    return Saying(
        what=what,
        where=view.plan.site.label(row.subject),
        done="The top-off is shut until this is acknowledged.",
        do_now="Look at the reservoir, at the top-off float, and for water that goes elsewhere.",
    )


HAZARD = Hazard("top-off-long", rows, present, say)
