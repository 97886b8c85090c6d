"""Where the level would stand with a siphon drain that has lost its prime, and what would see it.

A siphon into which a joint lets air is an open pipe: a film down its wall, less than half of what
it carried. The level rises until the others make up for it. How far depends on what is doubtful
most, whether the mouth of an open drain beside it drowns and draws a siphon of its own: so two
levels are given: one with every neighbour drowned early, and one with none but emergency drains.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from rules.assessment.band import Band
from rules.assessment.coverage import Coverage
from rules.figures import LEVEL_TOLERANCE_M, Drained, Figures
from rules.hydraulics.drains import OpenDrainFlow, SiphonDrainFlow, annular_capacity
from rules.hydraulics.measured import MeasuredFlow
from rules.hydraulics.network import Hydraulics, PassageFlow
from rules.hydraulics.roots import crossing
from rules.site import show
from rules.site.model import Site
from rules.site.passages import Drain, EmergencyDrain, SiphonDrain

DROWNS_OVER = 0.1
"""A mouth that drowns does so over so much of its rise [bores]; nothing turns on how much."""

DOUBT = 0.20
"""How far what an open pipe carries may be off, either way [share of its flow]."""


def coverage(site: Site, figures: Figures, mean: Hydraulics) -> Iterator[Coverage]:
    """A row for every siphon drain."""
    for drained in figures.drained:
        for key, drain in site.drains_from(drained.chamber).items():
            if isinstance(drain, SiphonDrain) and drained.inflow_m3_s > 0.0:
                yield _of_siphon(site, drained, mean, key)


def level_m(site: Site, drained: Drained, mean: Hydraulics, siphon: str) -> Band:
    """The level with `siphon` an open pipe [m above the chamber's bottom]; the rim where the
    drains do not carry what comes below it."""
    chamber, drains = site.chambers[drained.chamber], site.drains_from(drained.chamber)
    below = {key: mean.running().levels_m[drain.to] for key, drain in drains.items()}

    def stands_m(sign: float) -> float:
        flows = {
            key: _open_pipe(mean.passages[key], sign)
            if key == siphon
            else _neighbour(mean.passages[key], _drowning(drains[key], sign))
            for key in drains
        }

        def over_m3_s(height_m: float) -> float:
            up_m = chamber.above_datum_m(height_m)
            return sum(flows[key](up_m, below[key]) for key in drains) - drained.inflow_m3_s

        carried = over_m3_s(chamber.rim) > 0.0
        return crossing(over_m3_s, 0.0, chamber.rim) if carried else chamber.rim

    low, value, high = sorted(map(stands_m, (-1.0, 0.0, 1.0)))
    return Band(low, value, high)


def _of_siphon(site: Site, drained: Drained, mean: Hydraulics, siphon: str) -> Coverage:
    units, stands = site.site.units, level_m(site, drained, mean, siphon)
    low, high = (show.length(height, units) for height in (stands.low, stands.high))
    clean = drained.level_m - site.chambers[drained.chamber].bottom
    failure = f"{site.label(siphon)} draws air, or loses its prime"
    place = site.label(drained.chamber)
    where = f"the {place} then stands at {low} to {high}, and clean at {show.length(clean, units)}"
    floats = site.floats(drained.chamber, "drain-watch")
    telling = {k: f.height for k, f in floats.items() if clean < f.height <= stands.high}
    surely = [k for k, height in telling.items() if height <= stands.low - LEVEL_TOLERANCE_M]
    perhaps = [k for k in telling if k not in surely]
    levels = tuple(site.levels(drained.chamber))
    if levels or surely:
        return Coverage(failure, (*levels, *surely), where)
    least = clean + 2.0 * LEVEL_TOLERANCE_M
    most = stands.low - LEVEL_TOLERANCE_M
    hint = (
        f"a second float between {show.length(least, units)} and {show.length(most, units)} would "
        "tell"
        if most > least
        else "only a level sensor would tell"
    )
    if perhaps:
        return Coverage(failure, tuple(perhaps), f"perhaps: {where}; {hint}")
    return Coverage(failure, (), f"{where}; {hint}")


_Carries = Callable[[float, float], float]


def _open_pipe(passage: PassageFlow, sign: float) -> _Carries:
    """A siphon drain with air down its middle; never more than when it runs full."""
    formula = passage.formula if isinstance(passage, MeasuredFlow) else passage
    assert isinstance(formula, SiphonDrainFlow)
    pipe = formula.pipe
    film = OpenDrainFlow(formula.mouth_m, formula.outlet_m, pipe, annular_capacity(pipe.bore_m))

    def carries(up_m: float, down_m: float) -> float:
        return min((1.0 - sign * DOUBT) * film.flow(up_m, down_m), passage.flow(up_m, down_m))

    return carries


def _drowning(drain: Drain, sign: float) -> float | None:
    """Over how much of its rise the mouth of a neighbour drowns, in bores; None if it never does:
    many an open drain has a hole for air."""
    if sign < 0.0:
        return 1.0
    return DROWNS_OVER if sign > 0.0 and isinstance(drain, EmergencyDrain) else None


def _neighbour(passage: PassageFlow, over: float | None) -> _Carries:
    """A clean drain beside it, that drowns over the last `over` bores of the rise to one bore over
    its lip, where it does."""
    formula = passage.formula if isinstance(passage, MeasuredFlow) else passage
    if not isinstance(formula, OpenDrainFlow) or over is None:
        return passage.flow
    drain = formula
    reach_m = over * drain.pipe.bore_m

    def carries(up_m: float, down_m: float) -> float:
        share = min(1.0, max(0.0, 1.0 + (up_m - drain.drowns_at_m) / reach_m))
        film, full = drain.flow(up_m, down_m), drain.drowned_flow(up_m, down_m)
        return film + share * max(0.0, full - film)

    return carries
