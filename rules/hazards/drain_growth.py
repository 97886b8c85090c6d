"""The main drain of a chamber closes slowly, day by day, and a date can be told.

The story: tube worms and slime line the largest drain. Every day it carries a little less, the
next drain a little more, and no day differs from the one before by anything that an eye would see.
The days' means of level and flow lie on a line that points at the day on which the drains fall
short. A person is told three weeks ahead, and can choose an afternoon.

`drain_fouling` tells of a loss that is large already, or that came at once.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards import drain_capacity, drain_fouling, drain_loss
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.observer.growth import TOLD_DAYS
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every drained chamber that has a level sensor."""
    for drained in figures.drained:
        if site.levels(drained.chamber) and drained.inflow_m3_s > 0:
            yield Row(
                "drain-growth",
                drained.chamber,
                f"main drain of the {site.label(drained.chamber)} closes slowly, and is "
                f"{TOLD_DAYS:.0f} days or less from its limit",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.ALARM_ONLY,
                priority.of("drain-growth"),
            )


def present(row: Row, view: View) -> bool:
    """It closes by a line that is sure; and nothing tells of a loss already."""
    _, sight = drain_fouling.at(row, view)
    if sight.growth.told is None:
        return False
    place = next(i for i, other in enumerate(view.plan.rows) if other is row)
    if view.memory.rows[place].standing:
        return True
    return not (
        sight.detector.lost
        or sight.detector.faded
        or drain_loss.present(row, view)
        or drain_capacity.present(row, view)
    )


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    drain, sight = drain_fouling.at(row, view)
    told = sight.growth.told
    assert told is not None
    place, lead = view.plan.site.label(row.subject), view.plan.site.label(drain.lead)
    return Saying(
        what=f"The {lead} closes slowly: {show.share(told.gone)} of its capacity have gone since "
        f"the first days, and {told.a_day * 100:.1f} % more go each day. "
        f"{drain_fouling.limit_words(told)}",
        where=place,
        done="Nothing was changed; the pump runs on.",
        do_now=f"Clean the {lead} before that.",
    )


HAZARD = Hazard("drain-growth", rows, present, say)
