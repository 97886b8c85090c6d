"""The steady state: every level and flow while all is clean and runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from rules.hydraulics.build import PassageFlow
from rules.hydraulics.drains import SiphonDrainFlow
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.pump import PumpPoint
from rules.hydraulics.roots import crossing, solve_linear
from rules.site.model import Site
from rules.site.passages import Gravity, SiphonDrain

GUESSES = 8
ROUNDS = 100
LEVEL_TOLERANCE_M = 1e-10
BALANCE_M3_S = 1e-11
FLOAT_M = 1e-14
"""A change of level too small to tell from rounding."""
PUMP_STEP_M = 1e-6
PARTS = (1.0, 0.5, 0.25, 0.1, 0.03, 0.01, 1e-3, 1e-4)
"""Parts of a step of Newton's method that are tried when the whole of it helps little."""
DRY_M3_S = 1e-13
"""Flow that counts as none: it stands a hair above an edge."""

PointAt = Callable[[str, Mapping[str, float]], PumpPoint]
Fits = Mapping[str, Callable[[float], PassageFlow]]
"""By passage: itself, made to pass what was measured, for a level of the chamber below [m]."""


@dataclass(frozen=True, slots=True)
class Steady:
    """The steady state, with every drain's valve set as the site file says."""

    levels_m: dict[str, float]
    flows_m3_s: dict[str, float]
    pumps: dict[str, PumpPoint]
    overfull: tuple[str, ...]
    passages: dict[str, PassageFlow]
    short_of_share: tuple[str, ...]


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


def _always(value: float) -> Callable[[float], float]:
    return lambda _: value


@dataclass(slots=True)
class _Solver:
    site: Site
    passages: dict[str, PassageFlow]
    point_at: PointAt
    fits: Fits
    gravity: dict[str, Gravity] = field(init=False)
    order: list[str] = field(init=False)
    leaving: dict[str, list[str]] = field(init=False)
    reaching: dict[str, list[str]] = field(init=False)
    levels: dict[str, float] = field(init=False)
    pumps: dict[str, PumpPoint] = field(init=False)
    lifted: dict[str, float] = field(init=False)
    fed: set[str] = field(init=False)
    overfull: set[str] = field(init=False)
    short: set[str] = field(init=False)

    def __post_init__(self) -> None:
        site = self.site
        self.gravity = site.gravity()
        self.order = downhill(site)
        self.leaving = {c: [] for c in site.chambers}
        self.reaching = {c: [] for c in site.chambers}
        for key, passage in self.gravity.items():
            self.leaving[passage.from_].append(key)
            self.reaching[passage.to].append(key)
        self.levels = {key: self._at_rest(key) for key in site.chambers}
        self.pumps, self.lifted = {}, {}
        self.fed = {b.to for pump in site.pumps for b in site.branches(pump).values()}
        self.overfull, self.short = set(), set()

    def _at_rest(self, key: str) -> float:
        """The level that the site file gives, else empty."""
        chamber = self.site.chambers[key]
        return chamber.above_datum_m(chamber.level or 0.0)

    def _held(self, chamber: str) -> bool:
        """True where a pump draws: this level is given, not found."""
        return any(pump.from_ == chamber for pump in self.site.pumps.values())

    def _lift(self) -> None:
        """Find every pump's point at the present levels, and what it brings to each chamber."""
        self.pumps = {key: self.point_at(key, self.levels) for key in self.site.pumps}
        self.lifted = dict.fromkeys(self.site.chambers, 0.0)
        for point in self.pumps.values():
            for branch, flow in point.branches.items():
                self.lifted[self.site.passages[branch].to] += flow

    def _flow(self, key: str) -> float:
        """Flow of a passage at the present levels."""
        passage = self.gravity[key]
        return self.passages[key].flow(self.levels[passage.from_], self.levels[passage.to])

    def _arriving(self, chamber: str, level_m: float) -> float:
        """What reaches a chamber if it stands at this level."""
        return self.lifted[chamber] + sum(
            self.passages[key].flow(self.levels[self.gravity[key].from_], level_m)
            for key in self.reaching[chamber]
        )

    def _arriving_pumped(self, chamber: str, level_m: float) -> float:
        """The same, with the pumps working against this level too."""
        levels = {**self.levels, chamber: level_m}
        lifted = sum(
            self.point_at(pump, levels).branches[branch]
            for pump in self.site.pumps
            for branch, table in self.site.branches(pump).items()
            if table.to == chamber
        )
        return self._arriving(chamber, level_m) - self.lifted[chamber] + lifted

    def _departing(self, chamber: str, level_m: float) -> float:
        """What leaves a chamber if it stands at this level."""
        return sum(
            self.passages[key].flow(level_m, self.levels[self.gravity[key].to])
            for key in self.leaving[chamber]
        )

    def _level(self, key: str, arriving: Callable[[float], float]) -> float:
        """The level at which what leaves a chamber is what reaches it, or its rim."""
        chamber, at_rest = self.site.chambers[key], self._at_rest(key)
        self.overfull.discard(key)
        if self._held(key) or not self.leaving[key]:
            return at_rest

        def net(level_m: float) -> float:
            return self._departing(key, level_m) - arriving(level_m)

        if net(at_rest) == 0.0:
            return at_rest
        if net(chamber.rim_m) < 0.0:
            self.overfull.add(key)
            return chamber.rim_m
        # with nothing reaching it, the highest level at which nothing leaves, not the lowest
        spare = DRY_M3_S if net(chamber.bottom) == 0.0 else 0.0
        if net(chamber.bottom) - spare >= 0.0:
            return chamber.bottom
        return crossing(lambda at: net(at) - spare, chamber.bottom, chamber.rim_m)

    def _tune(self, key: str, arriving_m3_s: float) -> None:
        """Set the valves of the siphon drains of a chamber.

        They carry their shares with the level where everything else that leaves carries the rest;
        where nothing else can, with the level at the rim. What was measured passes what was
        measured instead.
        """
        for name in self.fits.keys() & self.leaving[key]:
            self.passages[name] = self.fits[name](self.levels[self.gravity[name].to])
        shares = {
            name: passage.tuned_share
            for name in self.leaving[key]
            if isinstance(passage := self.gravity[name], SiphonDrain)
            and passage.tuned_share is not None
            and name not in self.fits
        }
        if not shares or arriving_m3_s <= 0.0:
            return
        chamber = self.site.chambers[key]
        rest = arriving_m3_s * (1.0 - sum(shares.values()))

        def others(level_m: float) -> float:
            return sum(
                self.passages[name].flow(level_m, self.levels[self.gravity[name].to])
                for name in self.leaving[key]
                if name not in shares
            )

        level = chamber.rim_m
        if others(level) >= rest:
            level = crossing(lambda at: others(at) - rest, chamber.bottom, level)
        for name, share in shares.items():
            drain = self.passages[name]
            assert isinstance(drain, SiphonDrainFlow)
            down = self.levels[self.gravity[name].to]
            tuned = drain.throttled(share * arriving_m3_s, level, down)
            self.short.discard(name)
            if tuned is None:
                self.short.add(name)
                tuned = replace(drain, throttle_k=0.0)
            self.passages[name] = tuned

    def _follow(self) -> float:
        """A good guess: what is lifted followed down the hill, then the levels from the lowest up.

        Chambers with one way on are right at once; those with several split as they did before.
        Sets the valves of the drains. Returns the largest change of level [m].
        """
        self._lift()
        passed: dict[str, float] = {}
        arriving: dict[str, float] = {}
        for chamber in self.order:
            arriving[chamber] = self.lifted[chamber] + sum(
                passed[k] for k in self.reaching[chamber]
            )
            flows = {key: self._flow(key) for key in self.leaving[chamber]}
            total = sum(flows.values())
            for key, flow in flows.items():
                if self._held(chamber):
                    passed[key] = flow
                else:
                    share = flow / total if total > 0.0 else 1.0 / len(flows)
                    passed[key] = share * arriving[chamber]
        change = 0.0
        for chamber in reversed(self.order):
            before = self.levels[chamber]
            self._tune(chamber, arriving[chamber])
            self.levels[chamber] = self._level(chamber, _always(arriving[chamber]))
            change = max(change, abs(self.levels[chamber] - before))
        return change

    def _settle(self, chambers: Iterable[str]) -> tuple[float, str]:
        """Each chamber in turn against the levels of the others; the largest change and where."""
        worst = (0.0, "")
        for chamber in chambers:
            before = self.levels[chamber]
            level = self._level(chamber, partial(self._arriving, chamber))
            if chamber in self.fed and abs(level - before) >= LEVEL_TOLERANCE_M:
                # far from settled: the pumps' answer to this level counts as well
                level = self._level(chamber, partial(self._arriving_pumped, chamber))
            self.levels[chamber] = level
            worst = max(worst, (abs(level - before), chamber))
        return worst

    def _free(self) -> list[str]:
        """The chambers whose level is neither given nor at an end of its range."""
        return [
            key
            for key in self.order
            if self.leaving[key]
            and not self._held(key)
            and self.site.chambers[key].bottom < self.levels[key] < self.site.chambers[key].rim_m
        ]

    def _surplus(self, chambers: Iterable[str]) -> list[float]:
        """What reaches less what leaves each chamber at the present levels [m3/s]."""
        return [
            self._arriving(key, self.levels[key]) - self._departing(key, self.levels[key])
            for key in chambers
        ]

    def _together(self) -> None:
        """Move all free levels at once, by Newton's method, as far as it helps.

        Chambers joined by a drowned edge creep after one another when taken in turn.
        """
        free = self._free()
        surplus = self._surplus(free)
        worst = sum(map(abs, surplus))
        if worst < BALANCE_M3_S:
            return
        moves = solve_linear(self._slopes(free), [-value for value in surplus])
        before = {key: self.levels[key] for key in free}

        def after(part: float) -> float:
            for key, move in zip(free, moves, strict=True):
                ends = self.site.chambers[key]
                self.levels[key] = min(ends.rim_m, max(ends.bottom, before[key] + part * move))
            self._lift()
            return sum(map(abs, self._surplus(free)))

        if after(1.0) > 0.1 * worst:
            after(min((*PARTS, 0.0), key=after))

    def _slopes(self, free: list[str]) -> list[list[float]]:
        """How the surplus of each chamber (row) answers to the level of each (column) [m2/s]."""
        at = {key: i for i, key in enumerate(free)}
        slopes = [[0.0] * len(free) for _ in free]
        for i in range(len(free)):
            slopes[i][i] = -1e-9  # a dry chamber has no slope of its own
        for key, passage in self.gravity.items():
            up, down = self.levels[passage.from_], self.levels[passage.to]
            step = max(1e-12, 1e-4 * abs(up - down))
            flow = self.passages[key].flow
            for chamber, slope in (
                (passage.from_, (flow(up + step, down) - flow(up - step, down)) / (2 * step)),
                (passage.to, (flow(up, down + step) - flow(up, down - step)) / (2 * step)),
            ):
                for row, sign in ((passage.from_, -1.0), (passage.to, 1.0)):
                    if chamber in at and row in at:
                        slopes[at[row]][at[chamber]] += sign * slope
        for chamber in sorted(self.fed & at.keys()):
            higher = {**self.levels, chamber: self.levels[chamber] + PUMP_STEP_M}
            for pump, point in self.pumps.items():
                for branch, flow_m3_s in self.point_at(pump, higher).branches.items():
                    to = self.site.passages[branch].to
                    if to in at:
                        rise = flow_m3_s - point.branches[branch]
                        slopes[at[to]][at[chamber]] += rise / PUMP_STEP_M
        return slopes

    def solve(self) -> Steady:
        for _ in range(GUESSES):
            if self._follow() < LEVEL_TOLERANCE_M:
                break
        for _ in range(ROUNDS):
            self._lift()
            down = self._settle(self.order)
            change, where = max(down, self._settle(reversed(self.order)))
            free = self._free()
            left = max(map(abs, self._surplus(free)), default=0.0)
            if change < LEVEL_TOLERANCE_M and (change < FLOAT_M or left < BALANCE_M3_S):
                break
            self._together()
        else:
            raise HydraulicsError(
                f"no steady level was found for {where}: from round to round it still moves by "
                f"{change * 1000:.6f} mm; check the passages that leave it and the chambers below"
            )
        flows = {key: self._flow(key) for key in self.gravity}
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


def steady(
    site: Site, passages: Mapping[str, PassageFlow], point_at: PointAt, fits: Fits
) -> Steady:
    """Every level and flow while all is clean and runs, with the drains' valves set.

    First a guess, by following the water down the hill; then each chamber's level is found in turn
    against the levels of all others, again and again, until none moves. More level in one chamber
    never takes water from another, which is why this comes to rest (a nonlinear Gauss-Seidel
    iteration of an M-function; Rheinboldt 1970). Raises HydraulicsError if it never does.
    """
    return _Solver(site, dict(passages), point_at, fits).solve()
