"""The top-off has been open for longer than it should ever need.

The story: the float hangs, the reservoir is empty, or water leaves the circuit as fast as it is
added. It is shut until a person says so: fresh water has hidden many a leak, and drowned a few
animals in the end.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.signals import Priority, Saying
from rules.site import show
from rules.site.model import Site
from rules.site.outputs import TopOffOutput


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for the top-off's valve, where the guard drives one."""
    for key, output in site.outputs.items():
        if isinstance(output, TopOffOutput) and site.top_off is not None:
            yield Row(
                "top-off-long",
                key,
                f"open for {show.duration(site.top_off.longest)} on end",
                0.0,
                Clear.ON_ACKNOWLEDGE,
                Effect.INHIBIT_TOP_OFF,
                Priority.MEDIUM,
            )
            return


def present(_row: Row, view: View) -> bool:
    """Open on end for the longest time the site file allows."""
    plan, since_s = view.plan.top_off, view.memory.top_off_since_s
    if plan is None or since_s is None:
        return False
    return view.memory.t_s - since_s >= plan.longest_s


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    assert view.plan.site.top_off is not None
    longest = show.duration(view.plan.site.top_off.longest)
    return Saying(
        what=f"The top-off has been open for {longest} and the level is not back",
        where=view.plan.site.label(row.subject),
        done="The top-off is shut until this is acknowledged.",
        do_now="Look at the reservoir, at the top-off float, and for water that goes elsewhere.",
    )


HAZARD = Hazard("top-off-long", rows, present, say)
