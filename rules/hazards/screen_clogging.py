"""The water before a screen rises: the screen clogs.

The story: the glass was scraped on Sunday, and what came off has gone to the sponge. The level
before it rises by some millimetres a day, until the water goes over its top, unfiltered and with a
noise, and the return chamber has given what now stands before the sponge. A level sensor before it
tells of it days ahead: half way to the edge a person is told, and how long the other half takes.

Where no level sensor hangs before the screen nothing is seen until a float is; see `check`.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.balance import tracked, tracks
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.hazards.flow_weak import left_words, track_of
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site
from rules.site.sensors import LevelSensor


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every level sensor before a screen."""
    for its in tracked.plans(site, figures):
        if its.rises:
            chamber = _chamber(site, its.id)
            yield Row(
                "screen-clogging",
                its.id,
                f"{site.label(chamber)} is half way from its normal level to "
                f"{show.length(its.limit, site.site.units)}",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.ALARM_ONLY,
                priority.of("screen-clogging"),
            )


def _chamber(site: Site, key: str) -> str:
    sensor = site.sensors[key]
    assert isinstance(sensor, LevelSensor)
    return sensor.chamber


def present(row: Row, view: View) -> bool:
    """The last hour's average is too far over the normal."""
    found = track_of(row, view)
    return found is not None and found[1].off


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    found = track_of(row, view)
    assert found is not None
    its, track = found
    site, units = view.plan.site, view.plan.site.site.units
    chamber = _chamber(site, row.subject)
    screen = tracked.screen_after(site, chamber)
    assert screen is not None
    now, normal = (show.length(level or 0.0, units) for level in (track.hour, track.normal))
    limit = show.length(tracks.limit_of(its, track.normal or 0.0), units)
    return Saying(
        what=f"The {site.label(screen)} clogs: the {site.label(chamber)} stands at {now}, and "
        f"{normal} is normal. Its limit is {limit}: {left_words(its, track)}",
        where=site.label(chamber),
        done="Nothing was changed.",
        do_now=f"Rinse the {site.label(screen)} before that, in a pause for rinsing.",
    )


HAZARD = Hazard("screen-clogging", rows, present, say)
