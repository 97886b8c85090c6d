"""The high float of the pump's own chamber: what it must stay dry through, and what comes first.

A stop sends the drain-down into this chamber, so a float that is to tell of too much water hangs
over where that leaves it; then every stop proves the siphon break too, for with a plugged one the
water stands higher. And too much water backs up through the chambers before it: a float there that
cuts the pump must not turn first, for that stop would send the drain-down on top of it all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.figures import LEVEL_TOLERANCE_M, Figures
from rules.hydraulics.network import Hydraulics
from rules.hydraulics.roots import crossing, highest
from rules.hydraulics.steady import downhill
from rules.site.model import Site
from rules.transient.scenario import Course


@dataclass(frozen=True, slots=True)
class Bounds:
    """For the chamber that a pump draws from [m above the datum]: `rests_m` is where a drain-down
    leaves it at the most, and `hides_m` how high it stands, running, when the float `before` in a
    chamber before it turns and cuts the pump; None where no such float hangs."""

    rests_m: float
    hides_m: float | None
    before: str | None


def bounds(
    hydraulics: Hydraulics,
    figures: Figures,
    pump: str,
    stop: Course,
    drain_down_m3: float,
    *,
    cuts: Mapping[str, tuple[str, ...]],
) -> Bounds:
    """The bounds of one pump's own high float.

    `stop` is a stop's course, in which the water of the pipes is not counted; `drain_down_m3` is
    all that comes down, at the most. `cuts` are the floats that cut, and which pumps.
    """
    site, below = hydraulics.site, figures.lift(pump).below
    own = site.pumps[pump].from_
    running = figures.running.levels_m
    counted = _holds_m3(site, below, stop.levels_m) - _holds_m3(site, below, running)
    rests_m = _filled_m(site, below, stop.levels_m, drain_down_m3 - counted, own)
    hides_m, before = None, None
    for key, sensor in site.floats(duty="spill-edge").items():
        if pump not in cuts.get(key, ()) or sensor.chamber not in below or sensor.chamber == own:
            continue
        chamber = site.chambers[sensor.chamber]
        turns_m = chamber.above_datum_m(sensor.height) - LEVEL_TOLERANCE_M
        at_m = _own_level_m(hydraulics, figures, pump, sensor.chamber, turns_m)
        if hides_m is None or at_m < hides_m:
            hides_m, before = at_m, key
    return Bounds(rests_m, hides_m, before)


def backed_up_m(
    hydraulics: Hydraulics, figures: Figures, pump: str, own_m: float
) -> dict[str, float]:
    """The levels of the chambers below a pump's drains while it runs and its own stands at `own_m`.

    Heights above the datum [m]; what flows on from each is what does on a good day, and a chamber
    that could not pass it stands at its rim.
    """
    site, below = hydraulics.site, figures.lift(pump).below
    levels = {**figures.running.levels_m, site.pumps[pump].from_: own_m}
    for key in reversed(downhill(site)):
        ways = [k for k, way in site.gravity().items() if way.from_ == key]
        if key not in below or not ways:
            continue
        passes = sum(figures.running.flows_m3_s[way] for way in ways)
        levels[key] = _level_m(hydraulics, key, ways, passes, levels)
    return levels


def _level_m(
    hydraulics: Hydraulics, key: str, ways: list[str], passes: float, levels: Mapping[str, float]
) -> float:
    chamber, gravity = hydraulics.site.chambers[key], hydraulics.site.gravity()

    def over_m3_s(level_m: float) -> float:
        return (
            sum(hydraulics.passages[way].flow(level_m, levels[gravity[way].to]) for way in ways)
            - passes
        )

    if over_m3_s(chamber.rim_m) < 0.0:
        return chamber.rim_m
    return crossing(over_m3_s, chamber.bottom, chamber.rim_m, tolerance=1e-7)


def _own_level_m(
    hydraulics: Hydraulics, figures: Figures, pump: str, chamber: str, level_m: float
) -> float:
    """How high the pump's own chamber stands, running, when one before it stands at `level_m`."""
    own = hydraulics.site.pumps[pump].from_

    def over_m(own_m: float) -> float:
        return backed_up_m(hydraulics, figures, pump, own_m)[chamber] - level_m

    low_m, rim_m = figures.running.levels_m[own], hydraulics.site.chambers[own].rim_m
    if over_m(low_m) >= 0.0 or over_m(rim_m) < 0.0:
        return low_m if over_m(low_m) >= 0.0 else rim_m
    return crossing(over_m, low_m, rim_m, tolerance=1e-6)


def _holds_m3(site: Site, chambers: tuple[str, ...], levels_m: Mapping[str, float]) -> float:
    return sum(
        site.chambers[key].volume_m3(levels_m[key] - site.chambers[key].bottom) for key in chambers
    )


def _filled_m(
    site: Site, chambers: tuple[str, ...], levels_m: Mapping[str, float], more_m3: float, own: str
) -> float:
    """Where the pump's own chamber stands with so much more in all that stand level with it."""
    at_m = levels_m[own]
    level = [key for key in chambers if levels_m[key] - at_m < LEVEL_TOLERANCE_M]

    def holds(to_m: float) -> bool:
        return more_m3 >= sum(
            site.chambers[k].between_m3(levels_m[k], max(levels_m[k], to_m)) for k in level
        )

    return highest(holds, at_m, min(site.chambers[key].rim_m for key in level))


__all__ = ["Bounds", "backed_up_m", "bounds"]
