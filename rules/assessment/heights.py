"""Where floats should hang, derived from the plumbing.

The idea of overfill prevention (levels of concern of API 2350): a float must speak so early that
what still arrives while the guard acts fits under the rim. Height = rim - rate x response x
reserve - tolerance; the rate is the worst net inflow over the surface, the response is the float's
filter, a tick, the relay and the pump's run-on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rules.assessment.cutting import full_m
from rules.assessment.doubt import Doubt
from rules.assessment.failures import Result
from rules.assessment.own_high import Bounds
from rules.figures import LEVEL_TOLERANCE_M, Drained, Figures
from rules.hydraulics.roots import highest
from rules.response import FILTER_S, RESERVE, response_s
from rules.site.model import Site

WAVES_M = 0.003
"""Waves that a float must not answer to [m]; a usual ripple on a display (common practice)."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a float of one duty should hang in one chamber: from `least_m` to `most_m` above its
    bottom; `least_m` > `most_m` means that no height will do. `fitted` is the float that hangs
    there for this duty, if any, and `height_m` its height. `way` is the blocked way below the
    drains for which it must speak, if that is what it is for."""

    chamber: str
    duty: str
    least_m: float
    most_m: float
    why_least: str
    why_most: str
    fitted: str | None
    height_m: float | None
    way: Result | None = None

    @property
    def suits(self) -> bool:
        """True if the fitted float hangs where it should."""
        return self.height_m is not None and self.least_m <= self.height_m <= self.most_m


def _fitted(site: Site, chamber: str, duty: str) -> tuple[str | None, float | None, float]:
    for key, sensor in site.floats(chamber, duty).items():
        return key, sensor.height, sensor.filter
    return None, None, FILTER_S


def places(
    site: Site,
    figures: Figures,
    doubt: Doubt,
    results: tuple[Result, ...],
    own: Mapping[str, Bounds],
) -> tuple[Place, ...]:
    """Every float that would do some good on this site.

    `results` are its failures, run; `own` has the bounds of each pump's own high float.
    """
    found: list[Place] = []
    for drained in figures.drained:
        if drained.inflow_m3_s <= 0:
            continue
        found += [_under_rim(site, figures, doubt, drained.chamber, key) for key in drained.feeders]
        if drained.feeders:
            found.append(_watch(site, figures, doubt, drained.chamber))
        else:
            found.append(_under_rim(site, figures, doubt, drained.chamber, drained.chamber))
    for pump in site.pumps:
        found.append(_dry(site, figures, doubt, pump))
        found.append(_sump_high(site, figures, doubt, pump, own[pump]))
    return (*found, *_before_ways(site, figures, results))


def _response(site: Site, pump: str, filter_s: float) -> float:
    return RESERVE * response_s(filter_s, site.pumps[pump].run_on)


def _pump_of(figures: Figures, drained: str) -> str:
    return next(d.pump for d in figures.drained if d.chamber == drained)


def _under_rim(site: Site, figures: Figures, doubt: Doubt, drained: str, key: str) -> Place:
    """The spill edge of a tank: what arrives during the response still fits under its rim."""
    fitted, height, filter_s = _fitted(site, key, "spill-edge")
    chamber, running = site.chambers[key], figures.running.levels_m[key]
    inflow = doubt.of_chamber(drained).inflow.high
    needs = inflow * _response(site, _pump_of(figures, drained), filter_s)
    most = edge_most_m(site, key, needs)
    least = running - chamber.bottom + LEVEL_TOLERANCE_M + WAVES_M
    return Place(
        key,
        "spill-edge",
        least,
        most,
        "the running level, the tolerance of a level and waves",
        f"the rim, less {needs * 1000:.1f} l that still arrive with every drain blocked, less the "
        "tolerance of a level",
        fitted,
        height,
    )


def _watch(site: Site, figures: Figures, doubt: Doubt, key: str) -> Place:
    """The watch over the drains: above what clean drains hold, early enough for the tanks."""
    fitted, height, filter_s = _fitted(site, key, "drain-watch")
    drained = next(d for d in figures.drained if d.chamber == key)
    inflow = doubt.of_chamber(key).inflow.high
    needs = inflow * _response(site, drained.pump, filter_s)
    most = watch_most_m(site, figures, drained, needs)
    least = drained.level_m - site.chambers[key].bottom + 2 * LEVEL_TOLERANCE_M
    return Place(
        key,
        "drain-watch",
        least,
        most,
        "the running level and twice the tolerance of a level",
        f"the height over which {needs * 1000:.1f} l still fit, less the tolerance of a level",
        fitted,
        height,
    )


def edge_most_m(site: Site, key: str, needs_m3: float) -> float:
    """The highest a spill-edge float may hang over the bottom of a tank, for so much to fit [m]."""
    chamber = site.chambers[key]
    full = chamber.volume_m3(chamber.rim)
    return chamber.level_m(max(0.0, full - needs_m3)) - LEVEL_TOLERANCE_M


def watch_most_m(site: Site, figures: Figures, drained: Drained, needs_m3: float) -> float:
    """The highest a drain-watch float may hang over the bottom of a drained chamber, for so much to
    fit over it there and in the tanks that overflow into it [m]."""
    chamber, levels = site.chambers[drained.chamber], figures.running.levels_m

    def fits(level_m: float) -> bool:
        own = chamber.between_m3(level_m, chamber.rim_m)
        feeding = sum(
            site.chambers[f].between_m3(max(level_m, levels[f]), site.chambers[f].rim_m)
            for f in drained.feeders
        )
        return own + feeding >= needs_m3

    return highest(fits, chamber.bottom, chamber.rim_m) - chamber.bottom - LEVEL_TOLERANCE_M


def _dry(site: Site, figures: Figures, doubt: Doubt, pump: str) -> Place:
    """The low float of the pump's chamber: it is cut before it draws air."""
    key = site.pumps[pump].from_
    fitted, height, filter_s = _fitted(site, key, "dry-run")
    chamber, intake = site.chambers[key], site.pumps[pump].intake
    needs = doubt.of_pump(pump).flow.high * _response(site, pump, filter_s)
    least = chamber.level_m(chamber.volume_m3(intake) + needs) + LEVEL_TOLERANCE_M
    running = figures.running.levels_m[key] - chamber.bottom
    return Place(
        key,
        "dry-run",
        least,
        running - 2 * LEVEL_TOLERANCE_M,
        f"the intake, and {needs * 1000:.1f} l that are still drawn while the guard acts",
        "the running level, less twice the tolerance of a level",
        fitted,
        height,
    )


def _sump_high(site: Site, figures: Figures, doubt: Doubt, pump: str, bounds: Bounds) -> Place:
    """The high float of the pump's chamber: dry after a stop, wet before one further up cuts."""
    key = site.pumps[pump].from_
    fitted, height, _ = _fitted(site, key, "spill-edge")
    chamber = site.chambers[key]
    needs = doubt.of_pump(pump).drain_down.high
    most = with_room_m(site, figures, key, figures.lift(pump).below, needs)
    why_most = f"the height over which a drain-down of {needs * 1000:.1f} l still fits below"
    if bounds.hides_m is not None and bounds.before is not None:
        hides_m = bounds.hides_m - LEVEL_TOLERANCE_M
        if hides_m < most:
            most = hides_m
            why_most = (
                f"the height at which water that backs up turns the {site.label(bounds.before)} "
                "first, which stops the pump and sends the drain-down on top"
            )
    return Place(
        key,
        "spill-edge",
        bounds.rests_m - chamber.bottom + LEVEL_TOLERANCE_M,
        most - chamber.bottom,
        "the level after a stop, and the tolerance of a level",
        why_most,
        fitted,
        height,
    )


def with_room_m(
    site: Site, figures: Figures, key: str, chambers: tuple[str, ...], needs_m3: float
) -> float:
    """How high `key` may stand for so much still to fit over it, in chambers that fill together,
    each standing no lower than while all runs [m above the datum]."""
    full, levels = full_m(site, chambers), figures.running.levels_m

    def fits(level_m: float) -> bool:
        return needs_m3 <= sum(
            site.chambers[k].between_m3(max(level_m, levels[k]), full) for k in chambers
        )

    return highest(fits, site.chambers[key].bottom, full)


def _before_ways(site: Site, figures: Figures, results: tuple[Result, ...]) -> Iterator[Place]:
    """The floats before ways that may block below the drains, one for each chamber."""
    found: dict[str, Place] = {}
    for result in results:
        key = _held_by(site, result)
        if key is not None:
            place = _before_way(site, figures, result, key)
            if key not in found or place.most_m < found[key].most_m:
                found[key] = place
    yield from found.values()


def _held_by(site: Site, result: Result) -> str | None:
    """The chamber whose float must see a blocked way; None where no water could leave a tank, where
    another float sees it in time, or where nothing but the pump's own chamber is before it."""
    own = {pump.from_ for pump in site.pumps.values()}
    if not result.behind or result.carried or result.failure.chamber in own:
        return None
    here = result.failure.chamber
    if result.held and not site.floats(here, "spill-edge"):
        first = next(seen.sensor for seen in result.seen_at_worst if seen.in_time)
        return _spill_edge_at(site, first, result.behind)
    return here


def _spill_edge_at(site: Site, sensor: str, chambers: tuple[str, ...]) -> str | None:
    """The chamber of a spill-edge float, if it is one of these."""
    fitted = site.floats(duty="spill-edge").get(sensor)
    return fitted.chamber if fitted is not None and fitted.chamber in chambers else None


def _before_way(site: Site, figures: Figures, result: Result, key: str) -> Place:
    """A float before a way that may block: what still comes after the cut fits over it."""
    fitted, height, _ = _fitted(site, key, "spill-edge")
    chamber, levels = site.chambers[key], figures.running.levels_m
    needs = result.comes_m3
    most = with_room_m(site, figures, key, result.behind, needs) - chamber.bottom
    return Place(
        key,
        "spill-edge",
        levels[key] - chamber.bottom + 2 * LEVEL_TOLERANCE_M,
        most,
        "the running level and twice the tolerance of a level",
        f"the height over which the {needs * 1000:.1f} l still fit that come once it has turned "
        f"({result.failure.title})",
        fitted,
        height,
        result,
    )
