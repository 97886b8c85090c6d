"""What the drains of a chamber carry at each level while clean: a table, made once in the plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import Protocol

from rules.assessment.doubt import TUNING_DOUBT, flow_doubt, is_tuned
from rules.figures import Drained
from rules.hydraulics.network import Hydraulics
from rules.marks import DOUBT, Mark, Marks
from rules.site.sensors import FlowMeter

STEP_M = 0.001
"""The table has a line at every step; between them it is read along a straight line [m]."""


@dataclass(frozen=True, slots=True)
class Chart:
    """Flows of the clean drains of one chamber by level above its bottom, one a step [m3/s].

    `lead_m3_s` is that of its largest firm drain, `rest_m3_s` that of all the others together.
    `level_off_m` and `flow_off` are how far its level sensor and what tells its inflow may be off,
    `lead_off` how far the drawing of the drain, as a share; `short_m` is the lowest reading of that
    level at which the drains count as short of what comes, infinite where none is. `level_m` and
    `flow_m3_s` are where the water stands and what comes on a good day, by the drawing.
    """

    lead_m3_s: tuple[float, ...]
    rest_m3_s: tuple[float, ...]
    level_off_m: float
    flow_off: float
    lead_off: float
    level_m: float
    flow_m3_s: float
    short_m: float

    def share(self, level_m: float, flow_m3_s: float) -> float:
        """The share of the largest drain's clean capacity that is left, c = (Q - rest) / lead.

        More than 1 where it carries more than the drawing says; never below nought.
        """
        place = max(0.0, min(level_m / STEP_M, len(self.lead_m3_s) - 1.000001))
        i = int(place)
        part = place - i
        lead = self.lead_m3_s[i] + part * (self.lead_m3_s[i + 1] - self.lead_m3_s[i])
        rest = self.rest_m3_s[i] + part * (self.rest_m3_s[i + 1] - self.rest_m3_s[i])
        return max(0.0, (flow_m3_s - rest) / lead) if lead > 1e-9 else 0.0

    def off(self, level_m: float, flow_m3_s: float) -> tuple[float, float]:
        """By how much the level sensor [m], and by which factor the meter, are off if these are
        level and flow of a good day; no more than they may be.

        A millimetre means the more flow the higher the water stands over the lip of the next drain,
        and a ruler is good to several: a trickle set by hand is the better zero.
        """
        most_m, most = self.level_off_m, self.flow_off
        return (
            max(-most_m, min(most_m, level_m - self.level_m)),
            max(1.0 - most, min(1.0 + most, flow_m3_s / self.flow_m3_s)),
        )


class _Watch(Protocol):
    """A float of the chamber."""

    @property
    def mark(self) -> Mark:
        """The mark at which it hangs."""


class _Level(Protocol):
    """A level sensor of the chamber."""

    @property
    def tolerance_m(self) -> float:
        """How far it may be off."""

    @property
    def marks(self) -> Marks:
        """Its marks."""


def charted(
    hydraulics: Hydraulics,
    drained: Drained,
    lead: str,
    watches: Sequence[_Watch],
    levels: Sequence[_Level],
) -> Chart | None:
    """The chart of a drained chamber whose largest firm drain is `lead`; None without a level
    sensor, or where no water comes."""
    if not levels or drained.inflow_m3_s <= 0.0:
        return None
    site, level = hydraulics.site, levels[0]
    chamber = site.chambers[drained.chamber]
    rest = [key for key in drained.capacity_m3_s if key != lead]
    heights = [chamber.above_datum_m(i * STEP_M) for i in range(int(chamber.rim / STEP_M) + 2)]
    return Chart(
        tuple(hydraulics.capacity(lead, height) for height in heights),
        tuple(sum(hydraulics.capacity(key, height) for key in rest) for height in heights),
        level.tolerance_m,
        _flow_off(hydraulics, drained),
        TUNING_DOUBT if is_tuned(site, lead) else hydraulics.uncertainty(lead),
        drained.level_m - chamber.bottom,
        drained.inflow_m3_s,
        min(_short_m(drained, lead, watches, level), default=inf),
    )


def _flow_off(hydraulics: Hydraulics, drained: Drained) -> float:
    """How far what tells the inflow may be off: a meter, or the computed flow of the pump."""
    site = hydraulics.site
    branches = set(site.branches(drained.pump))
    metered = [
        sensor.tolerance
        for sensor in site.sensors.values()
        if isinstance(sensor, FlowMeter) and (sensor.on == drained.pump or sensor.on in branches)
    ]
    return metered[0] if metered else flow_doubt(site, hydraulics, drained.pump)


def _short_m(
    drained: Drained, lead: str, watches: Sequence[_Watch], level: _Level
) -> Iterator[float]:
    """Every reading at which the drains are short of what comes, by a float or by a mark."""
    lead_m3_s = drained.capacity_m3_s[lead]
    seen = [(watch.mark, watch.mark.height_m) for watch in watches]
    seen += [(mark, mark.height_m + level.tolerance_m) for mark in level.marks.marks]
    for mark, height_m in seen:
        carried = mark.left_at_most(drained.inflow_m3_s) * lead_m3_s
        if carried + drained.firm_m3_s - lead_m3_s < DOUBT * drained.inflow_m3_s:
            yield height_m
