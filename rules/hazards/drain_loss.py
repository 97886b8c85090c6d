"""A drain has lost some of its capacity, and the others still carry the flow with room to spare.

The story: the float nearest to the working level is wet, or a level sensor puts the water there,
yet what is left suffices. Nothing is cut; somebody should look within the day. Where it suffices
only because the emergency drain carries the rest, and is seen to, nothing is left in reserve: that
is told as more than a loss. When it gets worse, `drain_capacity` takes over.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards import drain_capacity
from rules.hazards.base import Hazard, in_words
from rules.matrix import Clear, Effect, Row
from rules.signals import Priority, Saying
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every drained chamber that has a drain-watch float or a level sensor."""
    for drained in figures.drained:
        if drain_capacity.watched(site, drained.chamber):
            yield Row(
                "drain-loss",
                drained.chamber,
                f"a drain of the {site.label(drained.chamber)} carries less than when clean",
                10.0,
                Clear.WHEN_CLEAR,
                Effect.INHIBIT_TOP_OFF,
                priority.of("drain-loss"),
            )


def present(row: Row, view: View) -> bool:
    """The level is where clean drains would not let it stand, and they are not short of flow."""
    for drain, at in zip(view.plan.drains, view.stands_at, strict=True):
        if drain.chamber == row.subject:
            if view.priming_of(drain) or not view.fed(drain):
                return False
            return at is not None and not drain_capacity.present(row, view)
    return False


def stage(row: Row, view: View) -> tuple[int, Priority]:
    """Whether nothing is left in reserve, and how urgent that makes it."""
    if drain_capacity.short(drain_capacity.figures_of(row, view)):
        return 1, priority.of("drain-loss-no-reserve")
    return 0, row.priority


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    live = drain_capacity.figures_of(row, view)
    place = view.plan.site.label(row.subject)
    if drain_capacity.short(live):
        lead = next(d.lead for d in view.plan.drains if d.chamber == row.subject)
        name = view.plan.site.label(lead)
        return Saying(
            what=f"The {name} is blocking, and the {place} stands high: its drains carry at most "
            f"{in_words(view, live.capacity_m3_s)} without the emergency drain, and "
            f"{in_words(view, live.return_m3_s)} come. The rest still runs down",
            where=place,
            done="The top-off is shut. The pump runs on while the water is seen to rise no "
            "further, and is cut if it does.",
            do_now=f"Clear the {name} soon: nothing is left in reserve.",
        )
    return Saying(
        what=f"A drain of the {place} carries less than when clean: at most "
        f"{in_words(view, live.capacity_m3_s)} for {in_words(view, live.return_m3_s)}",
        where=place,
        done="The top-off is shut; the pump runs on.",
        do_now="Look at the drains within the day: the largest one first.",
    )


HAZARD = Hazard("drain-loss", rows, present, say, stage=stage)
