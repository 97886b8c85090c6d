"""The drains of a chamber can no longer carry what the pump lifts.

The story: a snail, a sponge or growth takes the largest drain; the level in the overflow box
rises past a float that clean drains would never let it reach. From the computed capacity of every
drain at that height follows how much of the largest one is left at best. If that, with the other
drains but without the emergency drain, falls short of the return flow by the doubt of the
formulas, the emergency drain is all that stands between the water and the floor, and nobody has
seen it work tonight: the pump is cut.

While the drains prime after a start the box rises as it should; this row waits that long, and
`rules.plan.prime_s` says how long the plumbing allows.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View, carried_at_most_m3_s
from rules.figures import Figures
from rules.hazards.base import Hazard, cut_words, in_words, pumps_that_feed
from rules.levels import contradicting_float
from rules.marks import DOUBT, Mark
from rules.matrix import Clear, Effect, Row
from rules.plan import DrainPlan
from rules.signals import DrainFigures, Quality, Saying
from rules.site.model import Site


def mark_cuts(drain: DrainPlan, mark: Mark) -> bool:
    """True when water at a mark, at the computed inflow, is enough to cut the pump.

    A float that hangs near the working level is not: clean drains may stand there too.
    """
    carried = carried_at_most_m3_s(drain, mark, drain.inflow_m3_s)
    return carried < DOUBT * drain.inflow_m3_s


def watched(site: Site, chamber: str) -> bool:
    """True where a float or a level sensor tells how the drains of a chamber fare."""
    return bool(site.floats(chamber, "drain-watch") or site.levels(chamber))


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every drained chamber that has a drain-watch float or a level sensor."""
    for drained in figures.drained:
        if watched(site, drained.chamber):
            yield Row(
                "drain-capacity",
                drained.chamber,
                f"drains of the {site.label(drained.chamber)} carry less than the pump lifts",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.CUT_PUMP,
                priority.of("drain-capacity"),
                pumps_that_feed(site, drained.chamber),
            )


def figures_of(row: Row, view: View) -> DrainFigures:
    """The live figures of the row's chamber."""
    return next(d for d in view.drains if d.chamber == row.subject)


def short(live: DrainFigures) -> bool:
    """True when the drains without the emergency drain may not carry what comes."""
    return live.capacity_m3_s < DOUBT * live.return_m3_s


def seen_to_carry(view: View, drain: DrainPlan, at: Mark) -> bool:
    """True while a witness over the mark at which the water stands shows that it stays under it.

    One that cannot be read, or that a float contradicts, is none; nor is any of them without the
    spill-edge floats behind it.
    """
    found, readings = drain.witnesses, view.readings
    for place in found.edges:
        if view.contacts[place].wet or readings[place].quality is Quality.BAD:
            return False
    seen = any(height_m > at.height_m for _, height_m in found.floats)  # else it would be the mark
    for place, limit_m in found.levels:
        level = view.plan.levels[place]
        reading = readings[level.index]
        if reading.quality is not Quality.GOOD or contradicting_float(level, readings) is not None:
            continue
        if reading.value + level.tolerance_m >= limit_m:
            return False
        seen = True
    return seen and bool(found.edges)


def present(row: Row, view: View) -> bool:
    """Water stands where the drains should not let it, and they are short of the return flow."""
    for drain, live, at in zip(view.plan.drains, view.drains, view.stands_at, strict=True):
        if drain.chamber == row.subject:
            if view.priming_of(drain) or at is None:
                return False
            if not view.fed(drain):
                return True
            return short(live) and not seen_to_carry(view, drain, at)
    return False


def clock(row: Row, view: View) -> float:
    """Time to spill with the blocked drain fully shut."""
    return figures_of(row, view).spill_s


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    live = figures_of(row, view)
    place = view.plan.site.label(row.subject)
    lead = next(d.lead for d in view.plan.drains if d.chamber == row.subject)
    return Saying(
        what=f"The {view.plan.site.label(lead)} is blocking: the drains of the {place} carry at "
        f"most {in_words(view, live.capacity_m3_s)} without the emergency drain, and "
        f"{in_words(view, live.return_m3_s)} come",
        where=place,
        done=cut_words(row, view),
        do_now=f"Clear the {view.plan.site.label(lead)}; acknowledge to say that you know.",
    )


HAZARD = Hazard("drain-capacity", rows, present, say, clock)
