"""The doubt of the figures: tolerances carried to a band on each, unfavourable end included.

Where it comes from: the pump's flow is off its curve by the pump's `tolerance` (or by that of a
measurement), combined with the doubt of its pipes; a drain's capacity runs from its least bore,
less the doubt of its formula (`Hydraulics.uncertainty`), to its mean bore with that doubt added;
heights are off by the tolerance of a ruler. A siphon drain whose valve was tuned was set against
the very flow that runs: it passes its share of that flow, whatever the flow is, so its doubt is
that of the tuning alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.assessment.band import Band, ratio, total
from rules.figures import LEVEL_TOLERANCE_M, Drained, Figures
from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.site.passages import Branch, EmergencyDrain, SiphonDrain

TUNING_DOUBT = 0.05
"""How far the share of a tuned siphon may be off: a trickle judged by eye [share of its flow]."""


@dataclass(frozen=True, slots=True)
class DrainedDoubt:
    """The bands of one drained chamber: flows in m3/s, freeboard in m3, margin without unit.

    The margin's ends are not those of its parts: what a tuned siphon passes grows with the flow.
    """

    chamber: str
    inflow: Band
    capacity: dict[str, Band]
    firm: Band
    everything: Band
    margin: Band
    freeboard: Band


@dataclass(frozen=True, slots=True)
class LiftDoubt:
    """The bands of one pump: flow in m3/s, volumes in m3."""

    pump: str
    flow: Band
    drain_down: Band
    plugged: Band
    room: Band
    dry: Band


@dataclass(frozen=True, slots=True)
class Doubt:
    """The bands of all figures of a site."""

    drained: tuple[DrainedDoubt, ...]
    lifts: tuple[LiftDoubt, ...]

    def of_chamber(self, chamber: str) -> DrainedDoubt:
        """The bands of one drained chamber."""
        return next(found for found in self.drained if found.chamber == chamber)

    def of_pump(self, pump: str) -> LiftDoubt:
        """The bands of one pump."""
        return next(found for found in self.lifts if found.pump == pump)


def is_tuned(site: Site, drain: str) -> bool:
    """True for a siphon drain that was set against the flow that runs, and not measured since."""
    passage = site.passages[drain]
    if any(measured.of == drain for measured in site.measured.values()):
        return False
    return isinstance(passage, SiphonDrain) and passage.tuned_share is not None


def flow_doubt(site: Site, hydraulics: Hydraulics, pump: str) -> float:
    """How far the flow of a pump may be off, as a share."""
    return max(hydraulics.uncertainty(key) for key in site.branches(pump))


def _surface_m3(site: Site, chambers: tuple[str, ...], levels: dict[str, float]) -> float:
    """What a level tolerance is worth in water, over all of `chambers` [m3]."""
    return sum(
        site.chambers[key].plan_m2(levels[key] - site.chambers[key].bottom) * LEVEL_TOLERANCE_M
        for key in chambers
    )


def _drained(site: Site, figures: Figures, mean: Hydraulics, drained: Drained) -> DrainedDoubt:
    share = max((mean.uncertainty(key) for key in _feeding_branches(site, drained)), default=0.1)
    inflow = Band.around(drained.inflow_m3_s, share)
    low_flow, high_flow = 1.0 - share, 1.0 + share
    capacity, with_flow = {}, {}
    for key, least in drained.capacity_m3_s.items():
        if is_tuned(site, key):
            capacity[key] = Band.around(least, TUNING_DOUBT)
            with_flow[key] = True
        else:
            off = mean.uncertainty(key)
            most = max(least, mean.capacity(key, drained.allowed_m))
            capacity[key] = Band(least * max(0.0, 1.0 - off), least, most * (1.0 + off))
            with_flow[key] = False
    drains = site.drains_from(drained.chamber)
    firm_keys = [k for k in capacity if not isinstance(drains[k], EmergencyDrain)]

    def carried(ends: dict[str, float], flow: float) -> float:
        return sum(ends[k] * (flow if with_flow[k] else 1.0) for k in firm_keys)

    expected = ratio(carried({k: b.value for k, b in capacity.items()}, 1.0), inflow.value)
    worst = ratio(carried({k: b.low for k, b in capacity.items()}, high_flow), inflow.high)
    best = ratio(carried({k: b.high for k, b in capacity.items()}, low_flow), inflow.low)
    margin = Band(min(worst, expected), expected, max(best, expected))
    off = _surface_m3(site, (drained.chamber, *drained.feeders), figures.running.levels_m)
    room = drained.freeboard_m3
    return DrainedDoubt(
        drained.chamber,
        inflow,
        capacity,
        total([capacity[k] for k in firm_keys]),
        total(list(capacity.values())),
        margin,
        Band(max(0.0, room - off), room, room + off),
    )


def _feeding_branches(site: Site, drained: Drained) -> list[str]:
    into = {drained.chamber, *drained.feeders}
    return [k for k, p in site.passages.items() if isinstance(p, Branch) and p.to in into]


def _lift(site: Site, figures: Figures, mean: Hydraulics, pump: str) -> LiftDoubt:
    lift, levels = figures.lift(pump), figures.running.levels_m
    fed = tuple({branch.to for branch in site.branches(pump).values()})
    drained = tuple(d.chamber for d in figures.drained if d.pump == pump)
    above = _surface_m3(site, tuple({*fed, *drained} - set(lift.below)), levels)
    under = _surface_m3(site, lift.below, levels)
    own = _surface_m3(site, (site.pumps[pump].from_,), levels)

    def off_by(value: float, off: float) -> Band:
        return Band(max(0.0, value - off), value, value + off)

    return LiftDoubt(
        pump,
        Band.around(lift.flow_m3_s, flow_doubt(site, mean, pump)),
        off_by(lift.drain_down_m3, above),
        off_by(lift.plugged_m3, above),
        off_by(lift.room_m3, under),
        off_by(lift.dry_m3, own),
    )


def doubt(site: Site, figures: Figures, mean: Hydraulics) -> Doubt:
    """The bands of all figures; `mean` is the site's hydraulics at mean bores."""
    return Doubt(
        tuple(_drained(site, figures, mean, drained) for drained in figures.drained),
        tuple(_lift(site, figures, mean, pump) for pump in site.pumps),
    )
