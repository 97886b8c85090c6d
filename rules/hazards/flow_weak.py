"""A pump, or one of its branches, gives less than it used to: growth, wear, a half-shut valve.

The story: lime on the rotor, mussels in the throat, a strand of algae round the little valve of the
refugium. Each week a little less water goes up, and nobody sees it, for nobody remembers how much
it was. The guard does: a meter is held against its own normal, learned in its first hour and only
ever raised since. Half way to the flow at which the animals are short of it, a person is told, and
how long the other half will take.

A meter that fouls shows the same. Nothing is cut: less flow spills nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.balance import tracked, tracks
from rules.balance.tracks import Track, TrackPlan
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, in_words
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site.model import Site
from rules.site.sensors import FlowMeter


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every meter."""
    told_at = 1.0 - tracked.SPARE * (1.0 - tracked.WEAK_SHARE)
    for its in tracked.plans(site, figures):
        if not its.rises:
            yield Row(
                "flow-weak",
                its.id,
                f"less than {told_at:.0%} of its normal flow, over an hour",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.ALARM_ONLY,
                priority.of("flow-weak"),
            )


def track_of(row: Row, view: View) -> tuple[TrackPlan, Track] | None:
    """The track of the row's sensor, once there is one."""
    for its, track in zip(view.plan.tracks, view.memory.books.tracks, strict=False):
        if its.id == row.subject:
            return its, track
    return None


def present(row: Row, view: View) -> bool:
    """The last hour's average is too far under the normal."""
    found = track_of(row, view)
    return found is not None and found[1].off


def left_words(its: TrackPlan, track: Track) -> str:
    """How long until the limit, in a clause."""
    left_s = tracks.left_s(its, track)
    if left_s <= 0.0:
        return "it is there already"
    if left_s > 365.0 * tracks.DAY_S:
        return "at this rate not for long"
    if left_s < 2.0 * tracks.DAY_S:
        return f"at this rate in about {max(1.0, left_s / tracks.HOUR_S):.0f} hours"
    return f"at this rate in about {left_s / tracks.DAY_S:.0f} days"


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    found = track_of(row, view)
    assert found is not None
    its, track = found
    site = view.plan.site
    meter = site.sensors[row.subject]
    assert isinstance(meter, FlowMeter)
    normal, now = track.normal or 0.0, track.hour or 0.0
    limit = in_words(view, tracks.limit_of(its, normal))
    of_pump = tracked.tells_of_pump(site, row.subject)
    if of_pump:
        do_now = (
            f"Clean the {site.label(view.plan.pumps[its.pumps[0]].id)}, and look at its valves, in "
            "a pause for cleaning: what it gives after that is its normal. If the flow looks as "
            "always, the meter has fouled."
        )
    else:
        do_now = f"Look at the valve and the hose of the {site.label(meter.on)}, then at the meter."
    return Saying(
        what=f"Only {in_words(view, now)} pass the {site.label(row.subject)}, and "
        f"{in_words(view, normal)} are normal. At {limit} it is too little: "
        f"{left_words(its, track)}",
        where=site.label(meter.on),
        done="Nothing was changed.",
        do_now=do_now,
    )


HAZARD = Hazard("flow-weak", rows, present, say)
