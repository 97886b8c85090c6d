"""What the pumps move: up while they run, back through their own pipes once they stop."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.transient.basin import volume_of
from rules.transient.scenario import WhatIf
from rules.transient.ways import FADE_M, Balance

GRID_M = 0.010
"""Spacing of the levels at which a pump is computed; straight lines lead away from them [m]."""
PROBE_M = 0.001
LAND_M = 1e-5
"""How close to a siphon break a level counts as having reached it [m]."""

Point = tuple[tuple[float, ...], tuple[tuple[float, ...], ...]]
"""Flow of each branch [m3/s], and its slope with each level [m2/s]."""


class Nodes:
    """Some flows that depend smoothly on a few levels, computed on a grid and kept.

    Between nodes each flow follows its tangent: halfway from one to the next it is off by
    (5 mm)^2 / 8 h^2 of itself or less, h the head that drives it: under 1e-4 from 0.2 m on.
    Below `least_m` a level changes nothing, and the grid begins there.
    """

    def __init__(
        self, least_m: Sequence[float], flows: Callable[[Sequence[float]], Sequence[float]]
    ) -> None:
        self._least, self._flows = tuple(least_m), flows
        self._known: dict[tuple[int, ...], Point] = {}

    def at(self, levels_m: Sequence[float]) -> Point:
        """The flows at these levels, and their slopes."""
        over = [max(0.0, x - least) for x, least in zip(levels_m, self._least, strict=True)]
        key = tuple([round(x / GRID_M) for x in over])
        node = self._known.get(key)
        if node is None:
            node = self._known[key] = self._compute(key)
        offsets = [x - GRID_M * k for x, k in zip(over, key, strict=True)]
        flows, slopes = node
        moved = [
            max(0.0, flow + sum([s * d for s, d in zip(row, offsets, strict=True)]))
            for flow, row in zip(flows, slopes, strict=True)
        ]
        return tuple(moved), slopes

    def _compute(self, key: tuple[int, ...]) -> Point:
        node = [least + GRID_M * k for least, k in zip(self._least, key, strict=True)]
        flows = tuple(self._flows(node))
        columns = []
        for i in range(len(node)):
            probed = self._flows([*node[:i], node[i] + PROBE_M, *node[i + 1 :]])
            columns.append([(p - f) / PROBE_M for p, f in zip(probed, flows, strict=True)])
        return flows, tuple(zip(*columns, strict=True))


class Lift:
    """One pump of a site, running or stopped; keeps what it computes for all that is asked."""

    def __init__(self, site: Site, hydraulics: Hydraulics, pump: str) -> None:
        self._site, self._hydraulics, self.pump = site, hydraulics, pump
        at = {key: i for i, key in enumerate(site.chambers)}
        self.branches = site.branches(pump)
        self._source = site.pumps[pump].from_
        reached = dict.fromkeys(branch.to for branch in self.branches.values())
        self._chambers = (self._source, *(key for key in reached if key != self._source))
        self.source = at[self._source]
        self.places = [at[key] for key in self._chambers]
        self.ends = [at[branch.to] for branch in self.branches.values()]
        self.chamber = site.chambers[self._source]
        self.intake_m = self.chamber.above_datum_m(site.pumps[pump].intake)
        self._running: dict[tuple[float, ...], Nodes] = {}
        self._back: dict[tuple[tuple[str, ...], bool], Nodes] = {}

    def ceases_m(self, branch: str, siphon_breaks: bool) -> float:
        """The level under which a branch runs back no longer [m above the datum]."""
        table = self.branches[branch]
        broken = siphon_breaks and table.siphon_break is not None
        height = table.siphon_break if broken else table.outlet
        assert height is not None
        return self._site.chambers[table.to].above_datum_m(height)

    def running(self, what: WhatIf) -> Nodes:
        """Its branches' flows against the levels of `places`, while it runs under water."""
        keys = (self.pump, *self.branches)
        condition = {key: what.condition.get(key, 1.0) for key in keys}
        shares = tuple(condition.values())
        if shares not in self._running:

            def flows(levels_m: Sequence[float]) -> Sequence[float]:
                levels = dict(zip(self._chambers, levels_m, strict=True))
                point = self._hydraulics.pump_point(self.pump, levels, condition)
                return [point.branches[key] for key in self.branches]

            outlets = [
                (branch.to, self._site.chambers[branch.to].above_datum_m(branch.outlet))
                for branch in self.branches.values()
                if branch.to != self._source
            ]
            self._running[shares] = Nodes(self._least(outlets, min), flows)
        return self._running[shares]

    def back(self, open_: tuple[str, ...], siphon_breaks: bool) -> Nodes:
        """The flows back through its branches, of which `open_` are without air."""
        if (open_, siphon_breaks) not in self._back:
            plugged = frozenset() if siphon_breaks else frozenset(self.branches)
            held = frozenset(self.branches) - frozenset(open_)
            ceases = [(self.branches[k].to, self.ceases_m(k, siphon_breaks)) for k in open_]

            def flows(levels_m: Sequence[float]) -> Sequence[float]:
                levels = dict(zip(self._chambers, levels_m, strict=True))
                found = self._hydraulics.back_siphon_flow(self.pump, levels, plugged, held)
                return [found[key] for key in self.branches]

            least = self._least([(to, level + 0.1 * LAND_M) for to, level in ceases], max)
            self._back[open_, siphon_breaks] = Nodes(least, flows)
        return self._back[open_, siphon_breaks]

    def _least(
        self,
        heights: Sequence[tuple[str, float]],
        chosen: Callable[[Sequence[float]], float],
    ) -> list[float]:
        """For each of its chambers, the level under which nothing changes."""
        bottoms = [self._site.chambers[key].bottom for key in self._chambers]
        found = [[level for to, level in heights if to == key] for key in self._chambers]
        return [chosen(f) if f else bottom for f, bottom in zip(found, bottoms, strict=True)]


class RunningPump:
    """A pump at work, which draws air with the water on the last millimetre above its intake.

    At the intake it gives nothing, so never more than its chamber holds. That a dry pump may let
    water run back down its pipes is not counted.
    """

    def __init__(self, lift: Lift, what: WhatIf) -> None:
        self.lift, self._nodes, self._factor = lift, lift.running(what), what.pump_factor
        self.air_m3 = volume_of(lift.chamber, lift.intake_m + FADE_M)

    def draws_air(self, levels_m: Sequence[float]) -> bool:
        """Whether its chamber stands so low that air comes in."""
        return levels_m[self.lift.source] <= self.lift.intake_m + FADE_M

    def add(self, levels_m: Sequence[float], balance: Balance, slopes: bool) -> None:
        """Add its branches to a balance."""
        lift = self.lift
        over = levels_m[lift.source] - lift.intake_m
        if over <= 0.0:
            return
        share = self._factor * min(1.0, over / FADE_M)
        flows, rows = self._nodes.at([levels_m[i] for i in lift.places])
        for to, flow, row in zip(lift.ends, flows, rows, strict=True):
            balance.move(lift.source, to, share * flow)
            if slopes:
                for place, slope in zip(lift.places, row, strict=True):
                    balance.answer(lift.source, to, place, share * slope)
                if over < FADE_M:
                    balance.answer(lift.source, to, lift.source, self._factor * flow / FADE_M)


class StoppedPump:
    """A stopped pump: each branch is a siphon back to the pump's chamber until air gets in.

    All its pipes count as full of water when it stops, and what air has entered stays. What stood
    in the pipes themselves is not counted.
    """

    def __init__(self, lift: Lift, what: WhatIf, levels_m: Sequence[float]) -> None:
        self._lift, self._what = lift, what
        self._ceases = {
            key: lift.ceases_m(key, what.siphon_breaks)
            for key in lift.branches
            if what.condition.get(key, 1.0) > 0.0
        }
        self._at = dict(zip(lift.branches, lift.ends, strict=True))
        self._open = tuple(self._ceases)
        self.break_at(levels_m)

    def break_at(self, levels_m: Sequence[float]) -> bool:
        """Let air into every branch whose chamber is down to where it ceases; whether any was."""
        before = self._open
        self._open = tuple(
            key for key in before if levels_m[self._at[key]] > self._ceases[key] + LAND_M
        )
        return self._open != before

    def share_to_break(self, before_m: Sequence[float], after_m: Sequence[float]) -> float:
        """Share of a step after which the first branch draws air; 1 if the step may stand."""
        share = 1.0
        for key in self._open:
            i, ceases = self._at[key], self._ceases[key]
            if after_m[i] < ceases - LAND_M:
                share = min(share, (before_m[i] - ceases) / (before_m[i] - after_m[i]))
        return share

    def add(self, levels_m: Sequence[float], balance: Balance, slopes: bool) -> None:
        """Add what runs back to a balance."""
        if not self._open:
            return
        lift = self._lift
        nodes = lift.back(self._open, self._what.siphon_breaks)
        flows, rows = nodes.at([levels_m[i] for i in lift.places])
        for key, source, flow, row in zip(lift.branches, lift.ends, flows, rows, strict=True):
            share = self._what.condition.get(key, 1.0) if key in self._open else 0.0
            if share == 0.0:
                continue
            balance.move(source, lift.source, share * flow)
            if slopes:
                for place, slope in zip(lift.places, row, strict=True):
                    balance.answer(source, lift.source, place, share * slope)


__all__ = ["Lift", "RunningPump", "StoppedPump"]
