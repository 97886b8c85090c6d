"""What moves water between chambers that needs no pump: passages, rims, and the top-off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import pi, sqrt
from typing import Protocol

from rules.hydraulics.build import PassageFlow
from rules.hydraulics.weir import rectangular
from rules.site.chambers import Chamber
from rules.site.model import Site
from rules.site.passages import EmergencyDrain, OpenDrain, SiphonDrain

FADE_M = 0.001
"""Depth over which a pump passes from all water to all air, and a reservoir runs out [m]."""
CELL_M = 0.0005
"""Spacing of the tables of drains [m]."""
ABOVE_RIM_M = 0.05
"""How far above the rim the tables of drains go on [m]."""
CELLS_MOST = 2000
"""Cells of one table; past its end a drain is computed."""
PROBE_M = 1e-5
PROBE_LEAST_M = 1e-9
"""Change of level, at most and at least, by which a passage's slope is found [m]."""


class Balance:
    """What reaches each chamber less what leaves it, and how that answers to every level.

    `net` [m3/s] and `slopes` [m2/s], chamber by chamber and level by level, are without what goes
    over the rims: `spill` [m3/s] and `spill_slopes` [m2/s] hold that.
    """

    def __init__(self, size: int) -> None:
        self.net = [0.0] * size
        self.spill = [0.0] * size
        self.slopes = [[0.0] * size for _ in range(size)]
        self.spill_slopes = [0.0] * size

    def rates(self) -> list[float]:
        """How fast the volume of each chamber grows [m3/s]."""
        return [net - spill for net, spill in zip(self.net, self.spill, strict=True)]

    def move(self, source: int, to: int, flow_m3_s: float) -> None:
        """A flow from one chamber to another."""
        self.net[source] -= flow_m3_s
        self.net[to] += flow_m3_s

    def answer(self, source: int, to: int, level: int, slope_m2_s: float) -> None:
        """How that flow grows with the level of one chamber."""
        self.slopes[source][level] -= slope_m2_s
        self.slopes[to][level] += slope_m2_s


class Ways(Protocol):
    """Some of the ways of a site, with what is different on this day built in."""

    def add(self, levels_m: Sequence[float], balance: Balance, slopes: bool) -> None:
        """Add their flows at these levels above the datum to a balance, with slopes if wanted."""


class _DrainTable:
    """A drain's flow against the level above it while its outlet is free, in straight pieces."""

    def __init__(self, passage: PassageFlow, mouth_m: float, outlet_m: float, rim_m: float) -> None:
        self.mouth_m, self.outlet_m = mouth_m, outlet_m
        wanted = (max(0.0, rim_m - mouth_m) + ABOVE_RIM_M) / CELL_M
        cells = min(CELLS_MOST, int(wanted) + 1)
        self.flows = [passage.flow(mouth_m + i * CELL_M, outlet_m) for i in range(cells + 1)]

    def look(self, up_m: float) -> tuple[float, float] | None:
        """Flow [m3/s] and slope [m2/s]; None beyond the table."""
        place = (up_m - self.mouth_m) / CELL_M
        if place <= 0.0:
            return 0.0, 0.0
        cell = int(place)
        if cell + 1 >= len(self.flows):
            return None
        low = self.flows[cell]
        rise = self.flows[cell + 1] - low
        return low + (place - cell) * rise, rise / CELL_M


class _Passage:
    """One gravity passage between two chambers, with a table if it is a drain."""

    def __init__(
        self, source: int, to: int, passage: PassageFlow, table: _DrainTable | None
    ) -> None:
        self.source, self.to, self.passage, self.table = source, to, passage, table

    def add(self, levels_m: Sequence[float], share: float, balance: Balance, slopes: bool) -> None:
        source, to = self.source, self.to
        up, down = levels_m[source], levels_m[to]
        if self.table is not None and down <= self.table.outlet_m:
            found = self.table.look(up)
            if found is not None:
                flow, slope = found
                if flow > 0.0:
                    balance.move(source, to, share * flow)
                    balance.answer(source, to, source, share * slope)
                return
        flow_of = self.passage.flow
        flow = share * flow_of(up, down)
        balance.move(source, to, flow)
        if slopes:
            probe = min(PROBE_M, max(PROBE_LEAST_M, 1e-4 * abs(up - down)))
            balance.answer(source, to, source, (share * flow_of(up + probe, down) - flow) / probe)
            balance.answer(source, to, to, (share * flow_of(up, down + probe) - flow) / probe)


class GravityWays:
    """Every gravity passage of a site."""

    def __init__(self, site: Site, passages: Mapping[str, PassageFlow]) -> None:
        at = {key: i for i, key in enumerate(site.chambers)}
        self._ways: dict[str, _Passage] = {}
        self._drains: set[str] = set()
        for key, way in site.gravity().items():
            table, upper, lower = None, site.chambers[way.from_], site.chambers[way.to]
            if isinstance(way, (SiphonDrain, OpenDrain, EmergencyDrain)):
                self._drains.add(key)
                mouth_m, outlet_m = upper.above_datum_m(way.mouth), lower.above_datum_m(way.outlet)
                table = _DrainTable(passages[key], mouth_m, outlet_m, upper.rim_m)
            self._ways[key] = _Passage(at[way.from_], at[way.to], passages[key], table)

    def under(self, condition: Mapping[str, float], drain_factor: float) -> Ways:
        """The same with some of them clogged and the drains' capacities scaled."""
        shares = {
            key: condition.get(key, 1.0) * (drain_factor if key in self._drains else 1.0)
            for key in self._ways
        }
        return _ConditionedWays(
            [(self._ways[key], share) for key, share in shares.items() if share > 0.0]
        )


class _ConditionedWays:
    def __init__(self, ways: list[tuple[_Passage, float]]) -> None:
        self._ways = ways

    def add(self, levels_m: Sequence[float], balance: Balance, slopes: bool) -> None:
        for way, share in self._ways:
            way.add(levels_m, share, balance, slopes)


def perimeter_m(chamber: Chamber) -> float:
    """Length of a chamber's edge [m]; of a square of its area where its sides are not known."""
    if chamber.length is not None and chamber.width is not None:
        return 2.0 * (chamber.length + chamber.width)
    if chamber.diameter is not None:
        return pi * chamber.diameter
    return 4.0 * sqrt(chamber.plan_m2(chamber.rim) / (1.0 - chamber.displacement))


class RimWays:
    """What goes over the rims onto the floor and is lost: each edge is a weir all around."""

    def __init__(self, site: Site) -> None:
        self._edges = [
            (i, chamber.rim_m, perimeter_m(chamber), chamber.rim)
            for i, chamber in enumerate(site.chambers.values())
        ]

    def add(self, levels_m: Sequence[float], balance: Balance, slopes: bool) -> None:
        """Add what spills to a balance."""
        for i, rim_m, width_m, height_m in self._edges:
            head = levels_m[i] - rim_m
            if head > 0.0:
                flow = rectangular(head, width_m, height_m)
                balance.spill[i] += flow
                if slopes:
                    more = rectangular(head + PROBE_M, width_m, height_m)
                    balance.spill_slopes[i] += (more - flow) / PROBE_M


class TopOffWays:
    """Fresh water running from the reservoir until it is empty."""

    def __init__(self, source: int, to: int, bottom_m: float, rate_m3_s: float) -> None:
        self._source, self._to, self._bottom_m, self._rate = source, to, bottom_m, rate_m3_s

    def add(self, levels_m: Sequence[float], balance: Balance, slopes: bool) -> None:
        """Add it to a balance."""
        depth = levels_m[self._source] - self._bottom_m
        balance.move(self._source, self._to, self._rate * min(1.0, depth / FADE_M))
        if slopes and depth < FADE_M:
            balance.answer(self._source, self._to, self._source, self._rate / FADE_M)


__all__ = [
    "FADE_M",
    "Balance",
    "GravityWays",
    "RimWays",
    "TopOffWays",
    "Ways",
    "perimeter_m",
]
