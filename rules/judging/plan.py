"""What signals are held against, derived once from the plumbing.

Every start and every stop of a pump is a test of signals that costs nothing: where the water then
stands is known from the edges that hold it, and how much it takes to reach a spill edge is known
from the areas.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rules.assessment.doubt import flow_doubt
from rules.figures import LEVEL_TOLERANCE_M, Figures, downstream, edges_m, emptied
from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter

CLEAR_M = 2.0 * LEVEL_TOLERANCE_M
"""A float must hang so far from where the water then stands to be held against it [m]: its own
height and the level are each off by the tolerance of a ruler."""

PLUGGED_RESERVE = 1.15
"""So many times what runs down with every siphon break plugged may stand below after a stop."""

OVER_RESERVE = 1.15
"""A meter may show so many times what the pump lifts at the high end of its doubt."""


AFTER_STOP_S = 180.0
"""So long after a stop the water has run down and stands still [s]; longer is fewer false names."""

WET_S = 4.0
"""What was wet for longer was water [s]; shorter is stricter."""

GONE_S = 20.0
"""A spill-edge float must have been dry for so long before what wet it counts as splash [s]."""

OFTEN_GONE_S = 300.0
"""As long where it was wet before, within the hour [s]: spray that goes on is no reason to try."""


@dataclass(frozen=True, slots=True)
class StopCheck:
    """A float that is dry once `pumps` have been off for a while: the edge that holds the water
    lies under it. `above` tells whether its chamber is emptied by a stop, or is one of those that
    what runs down goes through."""

    sensor: int
    id: str
    chamber: str
    pumps: tuple[int, ...]
    above: bool


@dataclass(frozen=True, slots=True)
class LevelCheck:
    """A level sensor by whose reading a pump that runs is told from one that stands still: where it
    reads while all runs and after a stop [m]. `level` is its place among the plan's level sensors.
    """

    level: int
    pumps: tuple[int, ...]
    runs_m: float
    stands_m: float


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """A pump's meter: its place, the most that it can show of this pump [m3/s], the time over which
    it counts [s], and whether nothing else can make it turn once the pump stands still."""

    sensor: int
    most_m3_s: float
    window_s: float
    alone: bool


@dataclass(frozen=True, slots=True)
class SplashCheck:
    """A spill-edge float of a chamber that pumps fill, and what would know of real water there:
    `watches` are the drain-watch floats that would be wet, `below` the floats of the pump's own
    chamber that would be dry, `levels` the level sensors beside it with the float's height. Without
    any of `below` nothing is ever judged to have been splash."""

    sensor: int
    id: str
    pumps: tuple[int, ...]
    watches: tuple[int, ...]
    below: tuple[int, ...]
    levels: tuple[int, ...]
    height_m: float
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LowCheck:
    """A low float, and the floats over it in the same chamber that fall dry before it does; `ids`
    of all that is asked, as in `SplashCheck`."""

    pump: int
    sensor: int
    id: str
    over: tuple[int, ...]
    levels: tuple[int, ...]
    height_m: float
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JudgingPlan:
    """All of it; `stops` go by sensor, `meters` by pump (None without a meter), `lows` by pump."""

    stops: dict[str, StopCheck]
    levels: tuple[LevelCheck, ...]
    meters: tuple[MeterCheck | None, ...]
    splashes: tuple[SplashCheck, ...]
    lows: dict[str, LowCheck]


def pumps_into(site: Site, chamber: str) -> tuple[int, ...]:
    """The pumps whose water reaches a chamber, by their place."""
    found = []
    for index, pump in enumerate(site.pumps):
        fed = tuple(branch.to for branch in site.branches(pump).values())
        if chamber in fed or chamber in downstream(site, fed):
            found.append(index)
    return tuple(found)


def settled_m(site: Site, figures: Figures, pump: str, runs_down_m3: float) -> float:
    """The common level of the chambers below a pump once so much has run down [m above datum].

    No chamber falls: each stands at this level, or where it stood if that is higher.
    """
    below, levels = figures.lift(pump).below, figures.running.levels_m
    low = min(levels[key] for key in below)
    high = max(site.chambers[key].rim_m for key in below)
    for _ in range(40):
        middle = 0.5 * (low + high)
        held = sum(
            site.chambers[key].between_m3(levels[key], middle)
            for key in below
            if levels[key] < middle
        )
        low, high = (middle, high) if held < runs_down_m3 else (low, middle)
    return 0.5 * (low + high)


def _stops(site: Site, figures: Figures) -> Iterator[StopCheck]:
    places = list(site.sensors)
    for key, sensor in site.floats().items():
        pumps = pumps_into(site, sensor.chamber)
        names = [list(site.pumps)[i] for i in pumps]
        if not names or any(site.pump_output(name) is None for name in names):
            continue
        height_m = site.chambers[sensor.chamber].above_datum_m(sensor.height)
        above = all(sensor.chamber in emptied(site, name) for name in names)
        edges = edges_m(site, sensor.chamber, siphon_breaks=True)
        if not edges or min(edges.values()) > height_m - CLEAR_M:
            continue
        if not above and any(
            _floods(site, figures, name, sensor.chamber, height_m) for name in names
        ):
            continue
        yield StopCheck(places.index(key), key, sensor.chamber, pumps, above)


def _floods(site: Site, figures: Figures, pump: str, chamber: str, height_m: float) -> bool:
    """True where what runs down after a stop may reach a height, or the pump draws from there."""
    lift = figures.lift(pump)
    if chamber == site.pumps[pump].from_ or chamber not in lift.below:
        return True
    return settled_m(site, figures, pump, PLUGGED_RESERVE * lift.plugged_m3) > height_m - CLEAR_M


def _levels(site: Site, figures: Figures) -> Iterator[LevelCheck]:
    running = figures.running.levels_m
    for place, sensor in enumerate(site.levels().values()):
        chamber = site.chambers[sensor.chamber]
        pumps = pumps_into(site, sensor.chamber)
        names = [list(site.pumps)[i] for i in pumps]
        if len(names) != 1:
            continue
        runs_m = running[sensor.chamber]
        if sensor.chamber in emptied(site, names[0]):
            stands_m = min(edges_m(site, sensor.chamber, siphon_breaks=True).values())
        elif sensor.chamber == site.pumps[names[0]].from_:
            stands_m = settled_m(site, figures, names[0], figures.lift(names[0]).drain_down_m3)
        else:
            continue
        if abs(runs_m - stands_m) > 2.0 * CLEAR_M + 2.0 * sensor.tolerance:
            yield LevelCheck(place, pumps, runs_m - chamber.bottom, stands_m - chamber.bottom)


def _meters(
    site: Site, figures: Figures, meters: tuple[tuple[int | None, float], ...]
) -> Iterator[MeterCheck | None]:
    hydraulics = Hydraulics(site, bore="mean")
    for (meter, share), pump in zip(meters, site.pumps, strict=True):
        if meter is None:
            yield None
            continue
        sensor = list(site.sensors.values())[meter]
        assert isinstance(sensor, FlowMeter)
        most = (1.0 + flow_doubt(site, hydraulics, pump)) * (1.0 + sensor.tolerance)
        others = {
            branch.to for key in site.pumps if key != pump for branch in site.branches(key).values()
        }
        fed = {branch.to for branch in site.branches(pump).values()}
        alone = not fed & (others | set(downstream(site, tuple(others))))
        flow_m3_s = figures.lift(pump).flow_m3_s * share
        yield MeterCheck(meter, OVER_RESERVE * most * flow_m3_s, sensor.window, alone)


def splash_checks(site: Site, figures: Figures) -> Iterator[SplashCheck]:
    """Spill-edge floats above the drains, with what would know of water there."""
    places, drained = list(site.sensors), site.drained_chambers()
    under = set(downstream(site, drained)) - set(drained)
    for key, sensor in site.floats(duty="spill-edge").items():
        if sensor.chamber in under:
            continue
        pumps = pumps_into(site, sensor.chamber)
        below = tuple(
            places.index(name)
            for i in pumps
            for name in _fall_dry(site, figures, list(site.pumps)[i], sensor)
        )
        if len(pumps) != 1:
            continue
        near = (sensor.chamber, *(k for k in drained if k in _next(site, sensor.chamber)))
        watches = tuple(places.index(name) for k in near for name in site.floats(k, "drain-watch"))
        levels = tuple(
            i for i, other in enumerate(site.levels().values()) if other.chamber == sensor.chamber
        )
        ids = tuple(places[i] for i in (*watches, *below)) + tuple(site.levels(sensor.chamber))
        yield SplashCheck(places.index(key), key, pumps, watches, below, levels, sensor.height, ids)


def _next(site: Site, chamber: str) -> tuple[str, ...]:
    return tuple(p.to for p in site.gravity().values() if p.from_ == chamber)


def _fall_dry(site: Site, figures: Figures, pump: str, sensor: FloatSwitch) -> Iterator[str]:
    """Floats of the pump's chamber that are wet while all runs, and must be dry by the time that
    another chamber has filled up to its spill edge: the water comes from nowhere else."""
    source, levels = site.pumps[pump].from_, figures.running.levels_m
    chamber, filled = site.chambers[source], site.chambers[sensor.chamber]
    float_m = filled.above_datum_m(sensor.height) - LEVEL_TOLERANCE_M
    missing_m3 = filled.between_m3(min(levels[sensor.chamber], float_m), float_m)
    then_m = chamber.level_m(chamber.between_m3(chamber.bottom, levels[source]) - missing_m3)
    for key, other in site.floats(source).items():
        if then_m + LEVEL_TOLERANCE_M < other.height < levels[source] - chamber.bottom:
            yield key


def low_checks(site: Site) -> Iterator[LowCheck]:
    """Low floats with a top-off float over them in the same chamber."""
    places = list(site.sensors)
    for index, pump in enumerate(site.pumps.values()):
        for key, low in site.floats(pump.from_, "dry-run").items():
            over = tuple(
                places.index(name)
                for name, other in site.floats(pump.from_, "top-off").items()
                if other.height > low.height + CLEAR_M
            )
            levels = tuple(
                i for i, other in enumerate(site.levels().values()) if other.chamber == pump.from_
            )
            if over:
                ids = tuple(places[i] for i in over) + tuple(site.levels(pump.from_))
                yield LowCheck(index, places.index(key), key, over, levels, low.height, ids)


def derive(
    site: Site, figures: Figures, meters: tuple[tuple[int | None, float], ...]
) -> JudgingPlan:
    """Derive it; `meters` gives each pump's meter and the share of its flow that passes it."""
    return JudgingPlan(
        {check.id: check for check in _stops(site, figures)},
        tuple(_levels(site, figures)),
        tuple(_meters(site, figures, meters)),
        tuple(splash_checks(site, figures)),
        {list(site.pumps)[check.pump]: check for check in low_checks(site)},
    )
