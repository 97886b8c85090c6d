"""What clean drains carry with the level at one height: the mark of a float, and those of a level
sensor, which is a float at every height."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

from rules.assessment.doubt import TUNING_DOUBT, flow_doubt, is_tuned
from rules.figures import LEVEL_TOLERANCE_M, Drained, Figures
from rules.hydraulics.network import Hydraulics

DOUBT = 1.10
"""The drains must carry this many times the return flow to be trusted: weir formulas below 30 mm
of head and a meter out of the box are each good to about 10 %. More is stricter; least 1.0."""

STEP_M = 0.002
"""A level sensor has a mark at every step; a level counts as the mark under it [m]."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One height in a drained chamber, and what clean drains would carry with the level at it.

    `lead_m3_s` is the flow of the largest firm drain there, `rest_m3_s` that of all the others;
    `room_m3` is what still fits between this level and the rims.
    """

    height_m: float
    lead_m3_s: float
    rest_m3_s: float
    room_m3: float

    def left_at_most(self, inflow_m3_s: float) -> float:
        """The share of the largest drain that is left at best while the water stands here.

        With the level here, the drains together carry no more than what comes (else it would fall);
        the loss is put on the largest one.
        """
        if self.lead_m3_s <= 0:
            return 1.0
        return min(1.0, max(0.0, (inflow_m3_s - self.rest_m3_s) / self.lead_m3_s))


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks of a chamber with a level sensor, lowest first.

    `least_m3_s` is what the drains carry at each at the low end of their doubt. The lowest mark is
    the first at which that is more than the pump can lift at the high end of its own: under it a
    level tells nothing, for it may stand there on a good day.
    """

    marks: tuple[Mark, ...] = ()
    least_m3_s: tuple[float, ...] = ()

    def under(self, level_m: float) -> int:
        """The place of the highest mark that `level_m` is not under; -1 if it is under all."""
        if not self.marks or level_m < self.marks[0].height_m:
            return -1
        return bisect_right(self.marks, level_m, key=lambda mark: mark.height_m) - 1


def mark_at(
    hydraulics: Hydraulics, figures: Figures, drained: Drained, lead: str, height_m: float
) -> Mark:
    """The mark of a drained chamber at a height above its bottom [m]; `lead`: its largest drain."""
    chambers = hydraulics.site.chambers
    chamber = chambers[drained.chamber]
    level = chamber.above_datum_m(height_m)
    flows = {key: hydraulics.capacity(key, level) for key in drained.capacity_m3_s}
    above = chamber.between_m3(level, chamber.rim_m) + sum(
        chambers[f].between_m3(max(level, figures.running.levels_m[f]), chambers[f].rim_m)
        for f in drained.feeders
    )
    rest = sum(flow for key, flow in flows.items() if key != lead)
    return Mark(height_m, flows[lead], rest, above)


def derive(mean: Hydraulics, figures: Figures, drained: Drained, lead: str) -> Marks:
    """The marks of a drained chamber; none where no height tells a blocked drain from doubt."""
    site = mean.site
    chamber = site.chambers[drained.chamber]
    off = max(flow_doubt(site, mean, pump) for pump in site.pumps)
    least_of = _least(mean, drained, off)
    most_comes = drained.inflow_m3_s * (1.0 + off)
    marks, least = [], []
    for step in range(1, int(chamber.rim / STEP_M)):
        height = step * STEP_M
        carried = least_of(chamber.above_datum_m(height) - LEVEL_TOLERANCE_M)
        if carried > most_comes:
            marks.append(mark_at(mean, figures, drained, lead, height))
            least.append(carried)
    return Marks(tuple(marks), tuple(least))


def _least(mean: Hydraulics, drained: Drained, off: float) -> Callable[[float], float]:
    """What all drains of a chamber carry together at the low end of their doubt, by level.

    A tuned siphon was set against the very flow that runs: with more flow it carries more.
    """
    site = mean.site
    bores = Hydraulics(site, bore="least")
    tuned = {key: is_tuned(site, key) for key in drained.capacity_m3_s}

    def carried(level_m: float) -> float:
        return sum(
            mean.capacity(key, level_m) * (1.0 - TUNING_DOUBT) * (1.0 + off)
            if tuned[key]
            else bores.capacity(key, level_m) * max(0.0, 1.0 - mean.uncertainty(key))
            for key in tuned
        )

    return carried
