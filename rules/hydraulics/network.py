"""The hydraulics of one site: flows for levels, pump points, and the steady state."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass
from functools import partial
from math import hypot
from types import MappingProxyType

from rules.hydraulics.backflow import back_siphon_flow
from rules.hydraulics.build import Bore, PassageFlow, passages, systems, viscosity_m2_s
from rules.hydraulics.drains import SiphonDrainFlow
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.measured import (
    MeasuredFlow,
    measured_doubt,
    measured_passages,
    measured_pumps,
    shares_of,
)
from rules.hydraulics.pump import PumpPoint, PumpSystem
from rules.hydraulics.steady import Steady, steady
from rules.site.model import Site

_CLEAN: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Running:
    """The steady state while all is clean and runs.

    Levels are heights above the datum [m], flows are in m3/s and include the branches. A chamber
    in `overfull` has no level up to its rim that carries its inflow: its level is put at the rim,
    and its passages' flows are what they carry there.
    """

    levels_m: dict[str, float]
    flows_m3_s: dict[str, float]
    pumps: dict[str, PumpPoint]
    overfull: tuple[str, ...] = ()


class Hydraulics:
    """A site's hydraulics, built once; nothing in it changes afterwards.

    `bore` says with which bore the drains are computed: "mean" for what to expect, "least" (the
    thickest wall that the pipe's standard allows) to assess. The pump's pipes are always taken at
    the mean, since a narrower riser would only ease the drains. Raises HydraulicsError.
    """

    def __init__(self, site: Site, bore: Bore = "mean") -> None:
        self.site = site
        kinematic = viscosity_m2_s(site)
        self._systems = systems(site, kinematic)
        self.left: dict[str, float] = {key: 1.0 - pump.worn for key, pump in site.pumps.items()}
        """Share of its catalogue flow that each pump has left at every head, at its set speed."""
        self._measured_pumps = measured_pumps(site)
        self._measured = measured_passages(site)
        clean = passages(site, bore, kinematic)
        fits = {key: partial(one.fitted, clean[key]) for key, one in self._measured.items()}
        found = steady(site, clean, self.pump_point, fits)
        if self._measured_pumps:
            computed, found = found, steady(site, clean, self._measured_point, fits)
            self._take_pumps(computed, found)
        if self._measured:
            self._check_passages(passages(site, "mean", kinematic), found)
        self.passages: dict[str, PassageFlow] = found.passages
        self.short_of_share: tuple[str, ...] = found.short_of_share
        """Siphon drains that pass less than their tuned share even with the valve wide open."""
        self._running = Running(found.levels_m, found.flows_m3_s, found.pumps, found.overfull)

    def _measured_point(self, pump: str, levels_m: Mapping[str, float]) -> PumpPoint:
        """Where a pump runs at these levels if it then lifts what was measured."""
        measured = self._measured_pumps.get(pump)
        if measured is None:
            return self.pump_point(pump, levels_m)
        point_with = partial(self._point, pump, levels_m)
        return point_with(measured.left(point_with))

    def _take_pumps(self, computed: Steady, found: Steady) -> None:
        """Keep the share that each measured pump has left at the running levels; or raise."""
        for pump, measured in self._measured_pumps.items():
            measured.check(self.site, computed.pumps[pump], found.pumps[pump])
            self.left[pump] = measured.left(partial(self._point, pump, found.levels_m))

    def _check_passages(self, clean: Mapping[str, PassageFlow], found: Steady) -> None:
        """Raise unless what was measured fits, at the bores a keeper sees: the mean ones."""
        ways = self.site.gravity()
        for key, measured in self._measured.items():
            measured.check(self.site, clean[key], found.levels_m[ways[key].to])

    @property
    def throttles(self) -> dict[str, float]:
        """Loss coefficient of each siphon drain's valve, as set; 0 = fully open."""
        found = {}
        for key, passage in self.passages.items():
            formula = passage.formula if isinstance(passage, MeasuredFlow) else passage
            if isinstance(formula, SiphonDrainFlow):
                found[key] = formula.throttle_k
        return found

    def pump_point(
        self,
        pump: str,
        levels_m: Mapping[str, float],
        condition: Mapping[str, float] = _CLEAN,
        speed: float = 1.0,
    ) -> PumpPoint:
        """Where a pump runs with the chambers at these levels above the datum [m].

        `levels_m` must hold the chamber it draws from and those its branches reach; `condition`
        may hold the pump (share of its clean flow at every head) and branches (share of clean
        conductance); `speed` is the share of its set speed. Raises HydraulicsError.
        """
        self._system(pump)
        left = condition.get(pump, 1.0) * self.left[pump]
        return self._point(pump, levels_m, left, condition, speed)

    def _point(
        self,
        pump: str,
        levels_m: Mapping[str, float],
        left: float,
        condition: Mapping[str, float] = _CLEAN,
        speed: float = 1.0,
    ) -> PumpPoint:
        system = self._system(pump)
        branches = system.branches
        self._need(pump, {system.source, *(b.to for b in branches.values())}, levels_m)
        ends = [max(branch.outlet_m, levels_m[branch.to]) for branch in branches.values()]
        shares = [condition.get(key, 1.0) for key in branches]
        source = levels_m[system.source]
        return system.point(source, ends, shares, left, speed * self.site.pumps[pump].speed)

    def running(self) -> Running:
        """The steady state while all is clean and runs."""
        return self._running

    def capacity(self, passage: str, up_m: float) -> float:
        """Flow of a gravity passage [m3/s] with the level above it at `up_m` over the datum.

        The level below it is the one while running; the passage is clean.
        """
        flow = self._gravity(passage)
        below = self._running.levels_m[self.site.passages[passage].to]
        return flow.flow(up_m, below)

    def uncertainty(self, key: str) -> float:
        """How far the flow of a passage or a pump, as in `running`, may be off, as a share.

        What was measured has the measurement's tolerance. A pump that was not has its table's (10 %
        unless the site file says better: ISO 9906 lets a pump miss its curve by 9 % of flow in
        grade 3B, and by 10 % if it takes less than 10 kW and comes from a series; the second from
        memory), combined with the doubt of its pipes.
        """
        for pump, system in self._systems.items():
            if key == pump or key in system.branches:
                return self._pumped_doubt(pump, system, key)
        if key in self._measured:
            return self._measured[key].tolerance
        levels = self._running.levels_m
        flow_of, table = self._gravity(key), self.site.gravity()[key]
        return flow_of.uncertainty(levels[table.from_], levels[table.to])

    def _pumped_doubt(self, pump: str, system: PumpSystem, key: str) -> float:
        flows = {name: self._running.flows_m3_s[name] for name in system.branches}
        pipes = {name: b.pipe.uncertainty(flows[name]) for name, b in system.branches.items()}
        measured = self._measured_pumps.get(pump)
        if measured is not None:
            return measured_doubt(key, flows, pipes, measured)
        shares = {key: 1.0} if key in pipes else shares_of(flows)
        return hypot(
            self.site.pumps[pump].tolerance, sum(s * pipes[name] for name, s in shares.items())
        )

    def back_siphon_flow(
        self,
        pump: str,
        levels_m: Mapping[str, float],
        plugged: Set[str] = frozenset(),
        held: Set[str] = frozenset(),
    ) -> dict[str, float]:
        """Flow back through each branch of a stopped pump at these levels [m3/s].

        `plugged` names the branches whose siphon break is closed by growth; they run back until
        their open end is dry. `held` names those whose check valve closes; none is counted on
        unless named, since such valves leak after months in use. Raises HydraulicsError.
        """
        system = self._system(pump)
        ceases = {}
        for key, branch in self.site.branches(pump).items():
            breaks = branch.siphon_break is not None and key not in plugged
            height = branch.siphon_break if breaks else branch.outlet
            assert height is not None
            ceases[key] = self.site.chambers[branch.to].above_datum_m(height)
        needed = {system.source, *(branch.to for branch in system.branches.values())}
        self._need(pump, needed, levels_m)
        return back_siphon_flow(system, levels_m, ceases, held)

    def _system(self, pump: str) -> PumpSystem:
        if pump not in self._systems:
            raise HydraulicsError(f'"{pump}" is no pump of this site')
        return self._systems[pump]

    def _gravity(self, passage: str) -> PassageFlow:
        if passage not in self.passages:
            raise HydraulicsError(f'"{passage}" is no gravity passage of this site')
        return self.passages[passage]

    def _need(self, pump: str, chambers: Set[str], levels_m: Mapping[str, float]) -> None:
        missing = sorted(key for key in chambers if key not in levels_m)
        if missing:
            raise HydraulicsError(f"pump {pump}: the level of {', '.join(missing)} is needed")


__all__ = ["Hydraulics", "HydraulicsError", "PassageFlow", "PumpPoint", "Running"]
