"""The figures of a site, computed once from its plumbing: capacities, margins, times, volumes.

Flows in m3/s, volumes in m3, heights in m above the site's datum unless a name says otherwise.
Capacities are those of the least bore the pipe's standard allows, the unfavourable end.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from rules.hydraulics.network import Hydraulics, Running
from rules.site.model import Site
from rules.site.passages import (
    Branch,
    Comb,
    EmergencyDrain,
    Gravity,
    Hole,
    OpenDrain,
    Screen,
    SiphonDrain,
    UnderBaffle,
    Weir,
)
from rules.site.pumps import Trunk

LEVEL_TOLERANCE_M = 0.005
"""How far a height read with a ruler may be off, and a surface may stand above its mean [m]."""


@dataclass(frozen=True, slots=True)
class Blocked:
    """What is left of a drained chamber's capacity with one drain shut, and for how long."""

    drain: str
    left_m3_s: float
    spill_s: float


@dataclass(frozen=True, slots=True)
class Drained:
    """A chamber that drains leave, and the tanks that overflow into it.

    `firm_m3_s` counts every drain except emergency drains, `all_m3_s` counts those too, both with
    the chamber at `allowed_m`. `freeboard_m3` is the room between the running levels and the rims.
    """

    chamber: str
    feeders: tuple[str, ...]
    pump: str
    inflow_m3_s: float
    level_m: float
    allowed_m: float
    capacity_m3_s: dict[str, float]
    firm_m3_s: float
    all_m3_s: float
    freeboard_m3: float
    blocked: tuple[Blocked, ...]

    @property
    def margin(self) -> float:
        """Firm drain capacity over return flow."""
        return self.firm_m3_s / self.inflow_m3_s if self.inflow_m3_s > 0 else inf


@dataclass(frozen=True, slots=True)
class Lift:
    """A pump at work, and what its stopping sends down.

    `drain_down_m3` is what runs down after a stop with every siphon break open,
    `plugged_m3` with all of them plugged; `room_m3` is what the chambers below can take.
    `dry_m3` is the water above the intake of its own chamber.
    """

    pump: str
    flow_m3_s: float
    head_m: float
    branches: dict[str, float]
    dry_m3: float
    drain_down_m3: float
    plugged_m3: float
    room_m3: float
    below: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures of a site."""

    running: Running
    drained: tuple[Drained, ...]
    lifts: tuple[Lift, ...]
    volume_m3: float
    reservoir_m3: float

    def lift(self, pump: str) -> Lift:
        """The figures of one pump."""
        return next(lift for lift in self.lifts if lift.pump == pump)


def feeders(site: Site, chamber: str) -> tuple[str, ...]:
    """The chambers that overflow into `chamber` over a weir or a comb."""
    return tuple(
        passage.from_
        for passage in site.gravity().values()
        if isinstance(passage, (Weir, Comb)) and passage.to == chamber
    )


def allowed_level_m(site: Site, chamber: str) -> float:
    """The highest level at which `chamber` still does its work [m above datum].

    Where a weir feeds it, that is the weir's crest, above which it would hold back what feeds it;
    else its rim less the tolerance of a level.
    """
    crests = [
        site.chambers[p.from_].above_datum_m(p.crest)
        for p in site.gravity().values()
        if isinstance(p, (Weir, Comb)) and p.to == chamber
    ]
    return min([*crests, site.chambers[chamber].rim_m - LEVEL_TOLERANCE_M])


def downstream(site: Site, chambers: tuple[str, ...]) -> tuple[str, ...]:
    """Every chamber that gravity leads to from `chambers`, they themselves left out."""
    ahead, found = list(chambers), list[str]()
    while ahead:
        here = ahead.pop(0)
        for passage in site.gravity().values():
            if passage.from_ == here and passage.to not in found:
                found.append(passage.to)
                ahead.append(passage.to)
    return tuple(found)


def feeding_pump(site: Site, chamber: str) -> str:
    """The pump whose water reaches `chamber` (the first that does, in the order of the file)."""
    for pump in site.pumps:
        fed = tuple(branch.to for branch in site.branches(pump).values())
        if chamber in fed or chamber in downstream(site, fed):
            return pump
    return ""


def _drained(site: Site, hydraulics: Hydraulics, running: Running, chamber: str) -> Drained:
    allowed = allowed_level_m(site, chamber)
    drains = site.drains_from(chamber)
    capacity = {key: hydraulics.capacity(key, allowed) for key in drains}
    everything = sum(capacity.values())
    firm = sum(c for k, c in capacity.items() if not isinstance(drains[k], EmergencyDrain))
    # an edge that stands drowned may let water back: what arrives in all is never below nought
    arriving = (running.flows_m3_s[k] for k, p in site.passages.items() if p.to == chamber)
    inflow = max(0.0, sum(arriving))
    feeding = feeders(site, chamber)
    room = sum(
        site.chambers[key].between_m3(running.levels_m[key], site.chambers[key].rim_m)
        for key in (chamber, *feeding)
    )
    blocked = []
    for key in drains:
        left = everything - capacity[key]
        net = inflow - left
        blocked.append(Blocked(key, left, room / net if net > 0 else inf))
    return Drained(
        chamber,
        feeding,
        feeding_pump(site, chamber),
        inflow,
        running.levels_m[chamber],
        allowed,
        capacity,
        firm,
        everything,
        room,
        tuple(blocked),
    )


def edges_m(site: Site, chamber: str, siphon_breaks: bool) -> dict[str, float]:
    """Down to where each passage empties a chamber after a stop, by passage [m above datum].

    A branch runs back down to its siphon break, or without one, or with all of them plugged
    (`siphon_breaks` false), to its open end.
    """
    found = {}
    for key, passage in site.passages.items():
        if not isinstance(passage, Branch):
            if passage.from_ == chamber:
                found[key] = site.chambers[chamber].above_datum_m(_lowest_edge(passage))
        elif passage.to == chamber:
            broken = siphon_breaks and passage.siphon_break is not None
            height = passage.siphon_break if broken else passage.outlet
            assert height is not None
            found[key] = site.chambers[chamber].above_datum_m(height)
    return found


def _lowest_edge(passage: Gravity) -> float:
    """The height to which a passage empties the chamber it leaves [m above its bottom]."""
    match passage:
        case Weir() | Comb():
            return passage.crest
        case SiphonDrain() | OpenDrain() | EmergencyDrain():
            return passage.mouth
        case Screen() | UnderBaffle():
            return passage.bottom
        case Hole():
            return passage.centre - passage.diameter / 2


def emptied(site: Site, pump: str) -> tuple[str, ...]:
    """The chambers from which water runs down after a stop of `pump`."""
    above = {branch.to for branch in site.branches(pump).values()}
    for key in site.drained_chambers():
        if feeding_pump(site, key) == pump:
            above.update((key, *feeders(site, key)))
    return tuple(sorted(above - set(_below(site, pump))))


def _drain_down_m3(site: Site, running: Running, pump: str, siphon_breaks: bool) -> float:
    """What runs down to the chambers below after a stop of `pump`, out of its pipes too [m3]."""
    return pipes_m3(site, pump) + sum(
        site.chambers[key].between_m3(
            min(edges_m(site, key, siphon_breaks).values()), running.levels_m[key]
        )
        for key in emptied(site, pump)
    )


def pipes_m3(site: Site, pump: str) -> float:
    """What stands in the pipes of a pump and in the siphons it feeds, and runs out of them [m3].

    Counted whole, the stretches under the lower level too: the unfavourable side.
    """
    runs: list[Trunk | Branch | SiphonDrain] = list(site.branches(pump).values())
    trunk = site.pumps[pump].trunk
    if trunk is not None:
        runs.append(trunk)
    for chamber in site.drained_chambers():
        if feeding_pump(site, chamber) == pump:
            drains = site.drains_from(chamber).values()
            runs += [drain for drain in drains if isinstance(drain, SiphonDrain)]
    return sum(run.pipe.area_m2 * run.length for run in runs)


def _below(site: Site, pump: str) -> tuple[str, ...]:
    """The chambers that receive what runs down: all that the drains lead to, to the pump's own."""
    drained = tuple(k for k in site.drained_chambers() if feeding_pump(site, k) == pump)
    reached = downstream(site, drained)
    return tuple(k for k in reached if k not in drained) or (site.pumps[pump].from_,)


def _room_m3(site: Site, running: Running, below: tuple[str, ...]) -> float:
    """What the chambers below can take on top of what they hold, filled to the lowest rim [m3].

    Each chamber can stand no lower than the crest it overflows at; all of them together rise to
    the lowest rim less the tolerance of a level.
    """
    full = min(site.chambers[key].rim_m for key in below) - LEVEL_TOLERANCE_M
    return sum(site.chambers[key].between_m3(running.levels_m[key], full) for key in below)


def _lift(site: Site, running: Running, pump: str) -> Lift:
    point = running.pumps[pump]
    source = site.pumps[pump].from_
    chamber = site.chambers[source]
    below = _below(site, pump)
    intake = chamber.above_datum_m(site.pumps[pump].intake)
    dry = chamber.between_m3(intake, running.levels_m[source])
    return Lift(
        pump,
        point.flow_m3_s,
        point.head_m,
        dict(point.branches),
        dry,
        _drain_down_m3(site, running, pump, siphon_breaks=True),
        _drain_down_m3(site, running, pump, siphon_breaks=False),
        _room_m3(site, running, below),
        below,
    )


def compute(site: Site) -> Figures:
    """Compute every figure of `site`; raises HydraulicsError with a sentence when it cannot."""
    running = Hydraulics(site, bore="mean").running()
    least = Hydraulics(site, bore="least")
    reservoir = site.top_off.reservoir if site.top_off else None
    volume = sum(
        chamber.volume_m3(running.levels_m[key] - chamber.bottom)
        for key, chamber in site.chambers.items()
        if key != reservoir
    )
    stock = 0.0
    if reservoir is not None:
        stock = site.chambers[reservoir].volume_m3(site.chambers[reservoir].level or 0.0)
    return Figures(
        running,
        tuple(_drained(site, least, running, key) for key in site.drained_chambers()),
        tuple(_lift(site, running, key) for key in site.pumps),
        volume,
        stock,
    )


__all__ = ["Blocked", "Drained", "Figures", "Lift", "compute", "edges_m", "emptied"]
