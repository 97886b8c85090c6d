"""The steady state: every level and flow while all is clean and runs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from rules.hydraulics.build import PassageFlow
from rules.hydraulics.drains import SiphonDrainFlow
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.pump import PumpPoint
from rules.hydraulics.roots import crossing
from rules.site.model import Site
from rules.site.passages import Comb, Gravity, Hole, Screen, SiphonDrain, Weir

ROUNDS = 200
PLAIN_ROUNDS = 40
"""Rounds after which each change is halved, for plumbing whose levels chase one another."""
LEVEL_TOLERANCE_M = 1e-10

PointAt = Callable[[str, Mapping[str, float]], PumpPoint]


@dataclass(frozen=True, slots=True)
class Steady:
    """The steady state, with every drain's valve set as the site file says."""

    levels_m: dict[str, float]
    flows_m3_s: dict[str, float]
    pumps: dict[str, PumpPoint]
    overfull: tuple[str, ...]
    passages: dict[str, PassageFlow]
    short_of_share: tuple[str, ...]


def _edge_m(passage: Gravity) -> float:
    match passage:
        case Weir() | Comb():
            return passage.crest
        case Screen():
            return passage.bottom
        case Hole():
            return passage.centre - 0.5 * passage.diameter
    return passage.mouth


def downhill(site: Site) -> list[str]:
    """The chambers in an order in which gravity passages lead only onwards."""
    order: list[str] = []
    ways = [(p.from_, p.to) for p in site.gravity().values()]
    left = list(site.chambers)
    while left:
        free = [c for c in left if not any(b == c and a in left for a, b in ways)]
        if not free:
            raise HydraulicsError(
                f"water could run in a ring through {', '.join(left)} without a pump; "
                "turn one of the passages between them round"
            )
        order.extend(free)
        left = [c for c in left if c not in free]
    return order


@dataclass(slots=True)
class _Solver:
    site: Site
    passages: dict[str, PassageFlow]
    point_at: PointAt
    order: list[str] = field(init=False)
    leaving: dict[str, list[str]] = field(init=False)
    levels: dict[str, float] = field(init=False)
    flows: dict[str, float] = field(init=False)
    pumps: dict[str, PumpPoint] = field(init=False)
    overfull: set[str] = field(init=False)
    short: set[str] = field(init=False)

    def __post_init__(self) -> None:
        site = self.site
        self.order = downhill(site)
        self.leaving = {c: [] for c in site.chambers}
        for key, passage in site.gravity().items():
            self.leaving[passage.from_].append(key)
        self.levels = {
            key: self._edge(key)
            if self.leaving[key] and chamber.level is None
            else self._at_rest(key)
            for key, chamber in site.chambers.items()
        }
        self.flows = dict.fromkeys(site.gravity(), 0.0)
        self.pumps = {}
        self.overfull, self.short = set(), set()

    def _at_rest(self, key: str) -> float:
        """The level that the site file gives, else empty."""
        chamber = self.site.chambers[key]
        return chamber.above_datum_m(chamber.level or 0.0)

    def _edge(self, key: str) -> float:
        """The lowest edge over which water can leave."""
        gravity = self.site.gravity()
        edge = min(_edge_m(gravity[passage]) for passage in self.leaving[key])
        return self.site.chambers[key].above_datum_m(max(0.0, edge))

    def _out(self, chamber: str, level_m: float) -> float:
        gravity = self.site.gravity()
        return sum(
            self.passages[key].flow(level_m, self.levels[gravity[key].to])
            for key in self.leaving[chamber]
        )

    def _inflows(self) -> dict[str, float]:
        """What reaches each chamber if each splits what it gets as it did in the last round."""
        gravity = self.site.gravity()
        inflow = dict.fromkeys(self.site.chambers, 0.0)
        for point in self.pumps.values():
            for branch, flow in point.branches.items():
                inflow[self.site.passages[branch].to] += flow
        for chamber in self.order:
            keys = self.leaving[chamber]
            last = sum(self.flows[key] for key in keys)
            as_before = chamber in self.overfull or self._held(chamber) or inflow[chamber] <= 0.0
            for key in keys:
                if as_before:
                    flow = self.flows[key]
                else:
                    flow = inflow[chamber] * (self.flows[key] / last if last > 0 else 1 / len(keys))
                inflow[gravity[key].to] += flow
        return inflow

    def _held(self, chamber: str) -> bool:
        """True where a pump draws: this level is given, not found."""
        return any(pump.from_ == chamber for pump in self.site.pumps.values())

    def _level(self, key: str, inflow: float) -> float:
        """The level at which all that leaves a chamber carries its inflow, or its rim."""
        chamber = self.site.chambers[key]
        self.overfull.discard(key)
        if self._held(key) or not self.leaving[key]:
            return self._at_rest(key)
        if inflow <= 0.0:
            for level in (self._at_rest(key), self._edge(key)):
                if self._out(key, level) == 0.0:
                    return level
        if self._out(key, chamber.rim_m) < inflow:
            self.overfull.add(key)
            return chamber.rim_m
        if self._out(key, chamber.bottom) >= inflow:
            return chamber.bottom
        return crossing(lambda at: self._out(key, at) - inflow, chamber.bottom, chamber.rim_m)

    def _tune(self, key: str, inflow: float) -> None:
        """Set the valves of the siphon drains of a chamber.

        They carry their shares with the level where everything else that leaves carries the rest;
        where nothing else can, with the level at the rim.
        """
        gravity = self.site.gravity()
        shares = {
            name: passage.tuned_share
            for name in self.leaving[key]
            if isinstance(passage := gravity[name], SiphonDrain) and passage.tuned_share is not None
        }
        if not shares or inflow <= 0.0:
            return
        chamber = self.site.chambers[key]
        rest = inflow * (1.0 - sum(shares.values()))

        def others(level_m: float) -> float:
            return sum(
                self.passages[name].flow(level_m, self.levels[gravity[name].to])
                for name in self.leaving[key]
                if name not in shares
            )

        level = chamber.rim_m
        if others(level) >= rest:
            level = crossing(lambda at: others(at) - rest, chamber.bottom, level)
        for name, share in shares.items():
            drain = self.passages[name]
            assert isinstance(drain, SiphonDrainFlow)
            down = self.levels[gravity[name].to]
            tuned = drain.throttled(share * inflow, level, down)
            self.short.discard(name)
            if tuned is None:
                self.short.add(name)
                tuned = replace(drain, throttle_k=0.0)
            self.passages[name] = tuned

    def _round(self, step: float) -> tuple[float, str]:
        """One round: pumps, inflows down the hill, levels back up; the largest change and where."""
        gravity = self.site.gravity()
        self.pumps = {key: self.point_at(key, self.levels) for key in self.site.pumps}
        inflow = self._inflows()
        worst = (0.0, "")
        for chamber in reversed(self.order):
            self._tune(chamber, inflow[chamber])
            change = self._level(chamber, inflow[chamber]) - self.levels[chamber]
            self.levels[chamber] += step * change
            worst = max(worst, (abs(change), chamber))
            for key in self.leaving[chamber]:
                self.flows[key] = self.passages[key].flow(
                    self.levels[chamber], self.levels[gravity[key].to]
                )
        return worst

    def solve(self) -> Steady:
        change, where = self._round(1.0)
        for number in range(ROUNDS):
            change, where = self._round(1.0 if number < PLAIN_ROUNDS else 0.5)
            if change < LEVEL_TOLERANCE_M:
                break
        else:
            raise HydraulicsError(
                f"no steady level was found for {where}: from round to round it still moves by "
                f"{change * 1000:.3f} mm; check the passages that leave it and the chambers below"
            )
        flows = dict(self.flows)
        for point in self.pumps.values():
            flows.update(point.branches)
        return Steady(
            levels_m=dict(self.levels),
            flows_m3_s={key: flows[key] for key in self.site.passages},
            pumps=self.pumps,
            overfull=tuple(key for key in self.site.chambers if key in self.overfull),
            passages=self.passages,
            short_of_share=tuple(key for key in self.site.passages if key in self.short),
        )


def steady(site: Site, passages: Mapping[str, PassageFlow], point_at: PointAt) -> Steady:
    """Every level and flow while all is clean and runs, with the drains' valves set.

    Round by round: each pump against the present levels, what it lifts followed down the hill,
    then each chamber's level found from the lowest up. Raises HydraulicsError if it never settles.
    """
    return _Solver(site, dict(passages), point_at).solve()
