"""The main drain of a chamber has lost some of its capacity, and no float would tell yet.

The story: a snail, a piece of sponge or growth takes a tenth of the largest drain. The next drain
takes over what it leaves, the level in the overflow box rises by a few millimetres, and the display
looks as it always does. The level sensor and the flow together tell how much is left; a loss that
comes within minutes or hours is told by what was, one that creeps over weeks by what was learned in
the first days. Nothing is cut: the drains still carry all that comes, with the level lower than any
float. Somebody has hours to look, instead of minutes.

`drain_loss` and `drain_capacity` take over where the level reaches a mark.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards import drain_capacity, drain_loss
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.observer.growth import Trend
from rules.observer.sight import Sight
from rules.plan import DrainPlan
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every drained chamber that has a level sensor."""
    for drained in figures.drained:
        if site.levels(drained.chamber) and drained.inflow_m3_s > 0:
            yield Row(
                "drain-fouling",
                drained.chamber,
                f"main drain of the {site.label(drained.chamber)} has lost capacity, by its level "
                "and flow",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.ALARM_ONLY,
                priority.of("drain-fouling"),
            )


def at(row: Row, view: View) -> tuple[DrainPlan, Sight]:
    """The drains of the row's chamber, and what is known of them."""
    return next(
        (drain, sight)
        for drain, sight in zip(view.plan.drains, view.sights, strict=True)
        if drain.chamber == row.subject
    )


def present(row: Row, view: View) -> bool:
    """Less is left of it than there was; and no mark tells that already."""
    _, sight = at(row, view)
    if not (sight.detector.lost or sight.detector.faded):
        return False
    place = next(i for i, other in enumerate(view.plan.rows) if other is row)
    if view.memory.rows[place].standing:
        return True
    return not drain_loss.present(row, view) and not drain_capacity.present(row, view)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    drain, sight = at(row, view)
    told = sight.growth.told
    date = f". {limit_words(told)}" if told is not None and sight.detector.faded else ""
    place, lead = view.plan.site.label(row.subject), view.plan.site.label(drain.lead)
    return Saying(
        what=f"{_lost(sight, lead)}: the level in the {place} stands higher at the same "
        f"flow. The other drains take what it leaves{date}",
        where=place,
        done="Nothing was cut; the pump runs on.",
        do_now=f"Look into the {lead} today, at its mouth first."
        " If it is clean and somebody has moved the level sensor: weirkeeper reset --baseline.",
    )


def _lost(sight: Sight, lead: str) -> str:
    """What has gone, for a sentence: since lately, or since the first days."""
    detector = sight.detector
    if detector.lost:
        return f"The {lead} has lost about {show.share(detector.lost_share)} of its capacity"
    gone = show.share(max(0.0, detector.fading))
    return f"The {lead} has lost about {gone} of its capacity since the first days"


def limit_words(trend: Trend) -> str:
    """When the drains fall short if it goes on so, in a sentence without its full stop."""
    least, most = (round(days) for days in trend.band_days)
    days = max(1, round(trend.left_days))
    about = "1 day" if days == 1 else f"{days} days"
    return f"At this rate it reaches its limit in about {about} ({least} to {most})"


HAZARD = Hazard("drain-fouling", rows, present, say)
