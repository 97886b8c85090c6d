"""Water stands at the last float before a rim, in a tank that the pump fills.

The story: drains carry less than the pump lifts, the overflow box fills, then the tank. The float
a little under its rim is the last to know, and it acts by itself: no figure, no estimate stands
between it and the cut. The level will fall as soon as the pump stops, so falling proves nothing;
somebody must look before the pump runs again.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, below_the_drains, cut_words, pumps_that_feed
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site
from rules.site.sensors import FloatSwitch


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every spill-edge float above the drains."""
    for key, sensor in site.floats(duty="spill-edge").items():
        if not below_the_drains(site, sensor.chamber):
            yield Row(
                "spill-edge",
                key,
                f"{site.label(sensor.chamber)} stands at "
                f"{show.length(sensor.height, site.site.units)}, its spill edge",
                0.0,
                Clear.ON_RESET,
                Effect.CUT_PUMP,
                priority.of("spill-edge"),
                pumps_that_feed(site, sensor.chamber),
            )


def present(row: Row, view: View) -> bool:
    """The float is wet, and its vote says so too; one that cannot be read counts as wet."""
    return view.asks(row.subject)


def clock(row: Row, view: View) -> float:
    """Time from the float to the rim with nothing draining and the pump still running."""
    site = view.plan.site
    sensor = site.sensors[row.subject]
    assert isinstance(sensor, FloatSwitch)
    chamber = site.chambers[sensor.chamber]
    rate = sum(
        view.plan.figures.running.flows_m3_s[key]
        for key, passage in site.passages.items()
        if passage.to == sensor.chamber
    )
    return (
        (chamber.volume_m3(chamber.rim) - chamber.volume_m3(sensor.height)) / rate
        if rate > 0
        else inf
    )


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    sensor = view.plan.site.sensors[row.subject]
    assert isinstance(sensor, FloatSwitch)
    place = view.plan.site.label(sensor.chamber)
    return Saying(
        what=f"Water stands at the spill edge of the {place}{_witnesses(row, view)}",
        where=view.plan.site.label(row.subject),
        done=cut_words(row, view),
        do_now=f"Look at the drains that leave the {place}: clear them, then reset at the guard.",
    )


def _witnesses(row: Row, view: View) -> str:
    """What other signals make of it: it is said at once which of them must be wrong."""
    check = next((c for c in view.plan.judging.splashes if c.id == row.subject), None)
    if check is None or not any(view.pump_on(i) for i in check.pumps):
        return ""
    names = list(view.plan.site.sensors)
    silent = [view.plan.site.label(names[i]) for i in check.watches if not view.contacts[i].wet]
    if not check.below:
        one = "one of them is wrong, or no water gets past it"
        return f"; but the {' and '.join(silent)} is dry: {one}" if silent else ""
    if any(not view.contacts[i].wet for i in check.below):
        if not silent:
            return ""
        what = " and ".join(silent)
        return f"; the {what} should be wet by now and is not: it hangs, or no water gets past it"
    below = " and ".join(view.plan.site.label(names[i]) for i in check.below)
    denied = f"; but the {below} misses no water"
    return f"{denied}, and the {' and '.join(silent)} is dry" if silent else denied


HAZARD = Hazard("spill-edge", rows, present, say, clock)
