"""The way of every pipe on paper: level and upright runs in lanes of their own.

Drains fall at the left and pumped pipes rise at the right. In the free height between two tiers
the drains keep to the upper lanes, the pumped pipes to the lower ones, and both are ordered so
that pipes which begin and end in the same order never cross.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from daemon.plot.layout import LANE_MM, Lanes, Layout, edge_m, through_a_wall, tiers
from rules.site.model import Site
from rules.site.passages import Branch, Drain, Gravity

Point = tuple[float, float]
LANE_LEAST_MM, LANE_MOST_MM = 1.5, 4.2
FROM_LEFT, FROM_RIGHT = -1e3, 1e3


@dataclass(frozen=True, slots=True)
class Pipe:
    """A pipe on paper: its corners in the direction of flow."""

    passage: str
    corners: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Piping:
    """Every pipe, and where each pump stands."""

    pipes: dict[str, Pipe]
    pumps: dict[str, Point]


def _tier(site: Site) -> dict[str, int]:
    return {c: i for i, row in enumerate(tiers(site)) for group in row for c in group}


def falls(site: Site) -> dict[str, Gravity]:
    """The passages that need a pipe, or fall freely, from one chamber to another."""
    return {k: p for k, p in site.gravity().items() if not through_a_wall(site, p)}


def branches(site: Site) -> dict[str, Branch]:
    """Every pumped pipe."""
    return {k: p for k, p in site.passages.items() if isinstance(p, Branch)}


def lanes(site: Site) -> Lanes:
    """How many lanes the pipes of a site need beside and above its chambers."""
    tier = _tier(site)
    top = max(tier.values())
    pumped = branches(site).values()
    return Lanes(
        left=sum(tier[p.from_] > tier[p.to] + 1 for p in falls(site).values()),
        right=sum(tier[p.to] != tier[site.pumps[p.pump].from_] for p in pumped),
        top=sum(tier[p.to] == top for p in pumped),
    )


@dataclass(slots=True)
class _Router:
    site: Site
    layout: Layout
    tier: dict[str, int] = field(init=False)
    starts: dict[str, float] = field(init=False)
    ends: dict[str, float] = field(init=False)
    left: list[str] = field(init=False)
    right: list[str] = field(init=False)
    upper: list[list[str]] = field(init=False)
    lower: list[list[str]] = field(init=False)

    def __post_init__(self) -> None:
        self.tier = _tier(self.site)
        self.starts = self._starts()
        self.ends = self._ends()
        self._assign_sides()
        self._assign_corridors()

    # --- where pipes begin and end ---

    def _pump_place(self, pump: str) -> Point:
        table = self.site.pumps[pump]
        box = self.layout.boxes[table.from_]
        same = [k for k, p in self.site.pumps.items() if p.from_ == table.from_]
        share = (same.index(pump) + 1.0) / (len(same) + 1.0)
        x = box.across(0.44 + 0.36 * share)
        return x, self.layout.y_mm(self.site.chambers[table.from_].above_datum_m(table.intake))

    def _starts(self) -> dict[str, float]:
        """Where each fall leaves its chamber: pipes stand in it, free falls go over its wall."""
        found = {}
        for chamber, box in self.layout.boxes.items():
            own = {k: p for k, p in falls(self.site).items() if p.from_ == chamber}
            stand = [k for k, p in own.items() if isinstance(p, Drain)]
            for i, key in enumerate(stand):
                found[key] = box.across((i + 1.0) / (len(stand) + 1.0))
            group = next(g for row in self.layout.tiers for g in row if chamber in g)
            at_right = chamber == group[-1] != group[0]
            for i, key in enumerate(k for k in own if k not in stand):
                shift = 1.5 * (i + 1)
                found[key] = box.right_mm + shift if at_right else box.left_mm - shift
        return found

    def _from_x(self, key: str) -> float:
        """From which side a pipe comes to the chamber it reaches."""
        if key in self.starts:
            fall = falls(self.site)[key]
            far = self.tier[fall.from_] > self.tier[fall.to] + 1
            return FROM_LEFT + self.starts[key] if far else self.starts[key]
        branch = branches(self.site)[key]
        source = self.site.pumps[branch.pump].from_
        if self.tier[source] == self.tier[branch.to]:
            return self._pump_place(branch.pump)[0]
        return FROM_RIGHT

    def _ends(self) -> dict[str, float]:
        """Where each pipe enters its chamber: in the order of the sides from which they come."""
        found = {}
        for chamber, box in self.layout.boxes.items():
            into = [k for k, p in falls(self.site).items() if p.to == chamber]
            into += [k for k, p in branches(self.site).items() if p.to == chamber]
            into.sort(key=self._from_x)
            pumped = [k for k in into if self._from_x(k) == FROM_RIGHT]
            source = any(p.from_ == chamber for p in self.site.pumps.values())
            last = 0.5 if source else 0.6 if pumped else 0.9
            beside = [k for k in into if k not in pumped]
            for i, key in enumerate(beside):
                found[key] = box.across(last * (i + 1.0) / (len(beside) + (1.0 - 0.1 * source)))
            for i, key in enumerate(pumped):
                found[key] = box.across(0.92 - 0.3 * i / len(pumped))
        return found

    # --- lanes ---

    def _far(self, key: str) -> bool:
        fall = falls(self.site)[key]
        return self.tier[fall.from_] > self.tier[fall.to] + 1

    def _assign_sides(self) -> None:
        """Lanes beside the tiers, from the left one to the right one."""
        far = [k for k in falls(self.site) if self._far(k)]
        far.sort(key=lambda k: (-self.tier[falls(self.site)[k].from_], self.starts[k]))
        self.left = far
        rising = [
            k
            for k, p in branches(self.site).items()
            if self.tier[p.to] != self.tier[self.site.pumps[p.pump].from_]
        ]
        rising.sort(key=lambda k: (self.tier[branches(self.site)[k].to], -self.ends[k]))
        self.right = rising

    def _assign_corridors(self) -> None:
        """Lanes in the free heights above each tier, from the upper one to the lower one."""
        count = len(self.layout.tiers)
        self.upper, self.lower = [[] for _ in range(count)], [[] for _ in range(count)]
        for t in range(count):
            passing = [k for k in self.left if self.tier[falls(self.site)[k].from_] == t + 1]
            self.upper[t] += sorted(passing, key=lambda k: self.starts[k])
            self.upper[t] += self._arriving(t)
            ending = [k for k in self.right if self.tier[branches(self.site)[k].to] == t]
            self.lower[t] += list(reversed(ending))
            self.lower[t] += self._leaving(t)

    def _arriving(self, t: int) -> list[str]:
        """Falls that come down into tier `t`: those that go left the leftmost first, those that
        go right the rightmost first."""
        into = [
            k
            for k, p in falls(self.site).items()
            if self.tier[p.to] == t and self.tier[p.from_] > t
        ]

        def origin(key: str) -> float:
            if key in self.left:
                return FROM_LEFT + self.left.index(key)
            return self.starts[key]

        to_left = [k for k in into if self.ends[k] < origin(k)]
        to_right = [k for k in into if k not in to_left]
        return sorted(to_left, key=origin) + sorted(to_right, key=origin, reverse=True)

    def _leaving(self, t: int) -> list[str]:
        """Pumped pipes that rise from tier `t`, and under them those that stay in it."""
        rising = [
            k
            for k in self.right
            if self.tier[self.site.pumps[branches(self.site)[k].pump].from_] == t
        ]
        staying = [
            k
            for k, p in branches(self.site).items()
            if self.tier[p.to] == t == self.tier[self.site.pumps[p.pump].from_]
        ]
        staying.sort(key=lambda k: -self.ends[k])
        return rising + staying

    def _lane_y(self, t: int, key: str) -> float:
        """The height of a pipe's lane over tier `t`; neighbours share one where it is too low."""
        upper, lower = self.upper[t], self.lower[t]
        low, high = self.layout.corridors_mm[t]
        lanes_most = max(2, int((high - low) / LANE_LEAST_MM) - 1)
        count = min(lanes_most, len(upper) + len(lower))
        step = min(LANE_MOST_MM, (high - low) / (count + 1.0))
        above = round(count * len(upper) / (len(upper) + len(lower)))
        if upper and lower:
            above = min(max(1, above), count - 1)
        if key in upper:
            return high - step * (upper.index(key) * above // len(upper) + 1.0)
        below = count - above
        return low + step * (below - lower.index(key) * below // len(lower))

    # --- ways ---

    def _fall(self, key: str, passage: Gravity) -> Pipe:
        layout = self.layout
        start, end = self.starts[key], self.ends[key]
        top = layout.y_mm(edge_m(self.site, passage))
        box = layout.boxes[passage.to]
        if isinstance(passage, Drain):
            outlet = layout.y_mm(self.site.chambers[passage.to].above_datum_m(passage.outlet))
        else:
            outlet = box.level_mm
        above, below = self.tier[passage.from_], self.tier[passage.to]
        corners: list[Point] = [(start, top)]
        if not isinstance(passage, Drain):
            wall = layout.boxes[passage.from_]
            corners.insert(0, (wall.right_mm if start > wall.right_mm else wall.left_mm, top))
        if above <= below:
            run = self._run_under(key, passage.from_, outlet, top)
            return Pipe(key, (*corners, (start, run), (end, run), (end, outlet)))
        if self._far(key):
            lane = self._lane_y(above - 1, key)
            side = layout.place.left_mm + LANE_MM * (self.left.index(key) + 0.5)
            corners += [(start, lane), (side, lane)]
        arrive = self._lane_y(below, key)
        corners += [(corners[-1][0], arrive), (end, arrive), (end, outlet)]
        return Pipe(key, tuple(corners))

    def _run_under(self, key: str, chamber: str, outlet: float, top: float) -> float:
        """The height at which a fall to a chamber that stands no lower runs: under the tank that it
        leaves, or, where its outlet is higher than that, at its mouth."""
        group = next(g for row in self.layout.tiers for g in row if chamber in g)
        own = [k for k, p in falls(self.site).items() if p.from_ in group]
        bottom = min(self.layout.boxes[c].bottom_mm for c in group)
        under = bottom - LANE_MM * (own.index(key) + 1.0)
        return under if under > outlet + LANE_MM else top

    def _rise(self, key: str, branch: Branch) -> Pipe:
        layout = self.layout
        x, intake = self._pump_place(branch.pump)
        outlet = layout.y_mm(self.site.chambers[branch.to].above_datum_m(branch.outlet))
        source, to = self.tier[self.site.pumps[branch.pump].from_], self.tier[branch.to]
        leave = self._lane_y(source, key)
        corners: list[Point] = [(x, intake), (x, leave)]
        if source != to:
            right = layout.place.left_mm + layout.place.width_mm
            side = right - LANE_MM * (len(self.right) - self.right.index(key) - 0.5)
            arrive = self._lane_y(to, key)
            corners += [(side, leave), (side, arrive)]
        end = self.ends[key]
        corners += [(end, corners[-1][1]), (end, outlet)]
        return Pipe(key, tuple(corners))

    def all(self) -> Piping:
        pipes = {k: self._fall(k, p) for k, p in falls(self.site).items()}
        pipes |= {k: self._rise(k, p) for k, p in branches(self.site).items()}
        return Piping(pipes, {k: self._pump_place(k) for k in self.site.pumps})


def route(site: Site, layout: Layout) -> Piping:
    """The way of every pipe of a site on paper."""
    return _Router(site, layout).all()
