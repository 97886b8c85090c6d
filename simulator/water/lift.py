"""The way up: a pump, its trunk and its branches, and the water that comes back when it stops."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt

from simulator.water.flows import Run

STEP_S = 0.1
SPIN_UP_S = 1.5
SEIZE_S = 0.3  # a pump that seizes stops this fast
AIR_M = 0.010  # from the intake down to so far below it, its flow falls to nothing
STANDING_HEAD_M = 0.3  # head that a standing pump takes at the largest flow of its curve
TAPER_M = 0.003  # a hole for air is wholly open when the level has fallen so far below its top
SOLVED_M3_S = 1e-10
DROP_M3 = 1e-9  # a pipe with less in it is empty, with less room full
LOOK_M = 1e-4  # levels are moved by so much to see how the flows change


class Curve:
    """A pump's curve: straight lines between its points, the last one carried on."""

    __slots__ = ("_pieces", "flow_most", "head_most")

    def __init__(self, points: Sequence[tuple[float, float]]) -> None:
        self._pieces = [
            (end, start, head, (head_after - head) / (end - start))
            for (start, head), (end, head_after) in pairwise(points)
        ]
        self.head_most = points[0][1]
        self.flow_most = points[-1][0]

    def scale(self, ratio: float) -> None:
        """Give so much more flow at every head."""
        self.flow_most *= ratio
        self._pieces = [
            (end * ratio, start * ratio, head, slope / ratio)
            for end, start, head, slope in self._pieces
        ]

    def head_and_slope(self, flow_m3_s: float) -> tuple[float, float]:
        """Head at a flow, and its slope [m, s/m2]."""
        for piece in self._pieces:
            if flow_m3_s <= piece[0]:
                break
        _, start, head, slope = piece
        return head + slope * (flow_m3_s - start), slope


class Rise:
    """One branch: where it ends, and down to which level water can run back through it."""

    __slots__ = (
        "beside",
        "check_valve",
        "condition",
        "fill_m3_s",
        "flow_m3_s",
        "held_m3",
        "hole",
        "key",
        "moved_m3",
        "outlet",
        "plugged",
        "run",
        "stands_m3",
        "to",
        "wet",
    )

    def __init__(
        self,
        key: str,
        to: int,
        run: Run,
        *,
        outlet: float,
        hole: float | None,
        check_valve: bool,
        stands_m3: float = 0.0,
    ) -> None:
        self.key = key
        self.to = to
        self.run = run
        self.outlet = outlet
        self.hole = hole  # its siphon break
        self.check_valve = check_valve
        self.plugged = False  # the siphon break is
        self.condition = 1.0
        self.beside = 0.0  # share of what rises that lands on the floor instead
        self.wet = False  # full of water from end to end, so that it could run back
        self.stands_m3 = stands_m3  # water in it above the chamber below, when it is full
        self.held_m3 = 0.0  # of that, what is in it
        self.flow_m3_s = 0.0  # at its lower end
        self.fill_m3_s = 0.0  # what of that stays in it; below zero while it runs down
        self.moved_m3 = 0.0  # both ways together: so a paddle counts it

    @property
    def gives_m3_s(self) -> float:
        """The flow at its upper end [m3/s]."""
        return self.flow_m3_s - self.fill_m3_s

    @property
    def lost_m3_s(self) -> float:
        """What of its flow lands on the floor [m3/s]."""
        return max(0.0, self.beside * self.gives_m3_s)

    @property
    def runs_down(self) -> bool:
        """True while water stands in it that nothing but the pump holds up."""
        return self.held_m3 > DROP_M3 and not self.wet and not self.check_valve

    def take(self, flow: float, level: float, pushed_m: float, dt_s: float) -> None:
        """Take this flow for a step, with its chamber at a level and `pushed_m` of head below it.

        What comes up fills the pipe first. Once air is in it, what stands above the head that the
        pump still has runs down again.
        """
        self.fill_m3_s = 0.0
        if flow > 0.0:
            room_m3 = self.stands_m3 - self.held_m3
            if room_m3 > DROP_M3:
                self.fill_m3_s = min(flow, room_m3 / dt_s)
            if flow - self.fill_m3_s > 1e-6:
                self.wet = True
        elif self.cover(level) == 0.0:
            self.wet = False
        if flow == 0.0 and self.runs_down:
            column_m = self.held_m3 / self.run.area_m2 - max(0.0, pushed_m)
            if column_m > 0.0:
                flow = -min(self.condition * self.run.flow(column_m), self.held_m3 / dt_s)
                self.fill_m3_s = flow
        self.run.resistance(flow)  # brings its friction factor up to date
        self.flow_m3_s = flow

    def cover(self, level: float) -> float:
        """How freely water enters its end: 1 well under water, 0 once it takes air."""
        edge = self.outlet if self.hole is None or self.plugged else self.hole
        return min(1.0, max(0.0, (level - edge) / TAPER_M))

    def flow_and_slope(self, header: float, level: float) -> tuple[float, float]:
        """Flow and slope with this head at the trunk's end [m3/s, m2/s]."""
        head = header - (level if level > self.outlet else self.outlet)
        if head >= 0.0:
            flow, slope = self.run.flow_and_slope(head)
            return self.condition * flow, self.condition * slope
        if not self.wet or self.check_valve:
            return 0.0, 0.0
        share = self.cover(level) * self.condition
        if share == 0.0:
            return 0.0, 0.0
        flow, slope = self.run.flow_and_slope(head)
        return share * flow, share * slope


class Lift:
    """One pump with everything it feeds.

    Its flow is where its curve, at the present speed, meets what trunk and branches take. What the
    branches carry less what the pump gives falls as the pump's flow grows; Newton's method inside
    a bracket brings it to nought.
    """

    __slots__ = (
        "_fall_1_s",
        "_standing",
        "condition",
        "curve",
        "dry",
        "dry_s",
        "flow_m3_s",
        "full_speed",
        "intake",
        "key",
        "moved_m3",
        "rises",
        "run_on_s",
        "seized",
        "source",
        "speed",
        "spin_up_s",
        "trunk",
        "was_powered",
    )

    def __init__(
        self,
        key: str,
        source: int,
        curve: Curve,
        trunk: Run | None,
        rises: list[Rise],
        *,
        intake: float,
        run_on_s: float,
        spin_up_s: float,
        full_speed: float = 1.0,
    ) -> None:
        self.key = key
        self.source = source
        self.curve = curve
        self.trunk = trunk
        self.rises = rises
        self.intake = intake
        self.run_on_s = run_on_s
        self.spin_up_s = spin_up_s
        self.condition = 1.0
        self.seized = False
        self.was_powered = False
        self.full_speed = full_speed  # at which it is set to run, as a share of the curve's
        self.speed = 0.0  # share of the curve's speed
        self.flow_m3_s = 0.0
        self.moved_m3 = 0.0
        self.dry = False  # under power, with its intake drawing air
        self.dry_s = 0.0  # seconds of that
        self._fall_1_s = 0.0
        self._standing = STANDING_HEAD_M / (curve.flow_most * curve.flow_most)

    def turn(self, powered: bool, levels: Sequence[float], dt_s: float) -> None:
        """Bring its speed forward by one step."""
        if powered and not self.seized:
            self.speed = min(self.full_speed, self.speed + dt_s / self.spin_up_s)
        elif self.speed > 0.0:
            if self.was_powered:
                self._fall_1_s = self._slowing(levels)
            self.speed = max(0.0, self.speed - dt_s * self._fall_1_s)
        self.was_powered = powered and not self.seized
        self.dry = powered and levels[self.source] < self.intake

    @property
    def steady(self) -> bool:
        """True while its speed does not change, and no pipe fills or runs down."""
        if any(rise.fill_m3_s for rise in self.rises):
            return False
        return self.speed == (self.full_speed if self.was_powered else 0.0)

    def _slowing(self, levels: Sequence[float]) -> float:
        """How fast its speed falls [1/s]: its largest branch still gives water for `run_on_s`."""
        if self.seized:
            return 1.0 / SEIZE_S
        largest = max(self.rises, key=lambda rise: rise.flow_m3_s)
        lift = max(0.0, max(largest.outlet, levels[largest.to]) - levels[self.source])
        idle = sqrt(min(0.95, lift / self.curve.head_most))  # the speed at which it lifts no more
        return (self.speed - idle) / self.run_on_s if self.speed > idle else 1.0 / self.run_on_s

    def _header(self, flow: float, level: float, trunk: float) -> tuple[float, float]:
        """Head at the trunk's end, above the datum, and its slope [m, s/m2]."""
        speed = self.speed
        if speed * self.condition < 1e-3:
            loss = self._standing + trunk
            return level - loss * flow * abs(flow), -2.0 * loss * abs(flow)
        if flow < 0.0:
            loss = self._standing + trunk
            return (
                level + speed * speed * self.curve.head_most + loss * flow * flow,
                2.0 * loss * flow,
            )
        head, slope = self.curve.head_and_slope(flow / (speed * self.condition))
        return (
            level + speed * speed * head - trunk * flow * flow,
            speed * slope / self.condition - 2.0 * trunk * flow,
        )

    def solve(self, levels: Sequence[float], dt_s: float = STEP_S) -> None:
        """Find the flow of every branch at these levels of the chambers, for a step."""
        level = levels[self.source]
        rises = self.rises
        if self.speed == 0.0 and not any(rise.wet or rise.runs_down for rise in rises):
            self.flow_m3_s = 0.0
            for rise in rises:
                rise.flow_m3_s = rise.fill_m3_s = 0.0
            return
        trunk = self.trunk.resistance(self.flow_m3_s) if self.trunk is not None else 0.0
        flow, most = self.flow_m3_s, 2.0 * self.curve.flow_most
        least = -10.0 * most
        for _ in range(60):
            header, slope = self._header(flow, level, trunk)
            excess, steep = -flow, -1.0
            taken = []
            for rise in rises:
                branch, rising = rise.flow_and_slope(header, levels[rise.to])
                taken.append(branch)
                excess += branch
                steep += rising * slope
            if excess > SOLVED_M3_S:
                least = flow
            elif excess < -SOLVED_M3_S:
                most = flow
            else:
                break
            flow -= excess / steep
            if not least < flow < most:
                flow = 0.5 * (least + most)
        depth = self.intake - level
        water = 1.0 if depth <= 0.0 else max(0.0, 1.0 - depth / AIR_M)  # air takes its share
        for rise, branch in zip(rises, taken, strict=True):
            flow = branch * water if branch > 0.0 else branch
            rise.take(flow, levels[rise.to], header - level, dt_s)
        self.flow_m3_s = sum(rise.flow_m3_s for rise in rises)

    def slopes(self, levels: Sequence[float]) -> list[list[tuple[int, float]]]:
        """How the flow of each branch changes with the levels that it knows, all steady [m2/s]."""
        rises, moved = self.rises, list(levels)
        found: list[list[tuple[int, float]]] = [[] for _ in rises]
        kept = [(rise.flow_m3_s, rise.wet) for rise in rises]
        if self.speed > 0.0 or any(rise.wet for rise in rises):
            for place in {self.source, *(rise.to for rise in rises)}:
                sides = []
                for step in (LOOK_M, -LOOK_M):
                    moved[place] = levels[place] + step
                    self.solve(moved)
                    sides.append([rise.gives_m3_s for rise in rises])
                moved[place] = levels[place]
                for pairs, high, low in zip(found, *sides, strict=True):
                    if high != low:
                        pairs.append((place, (high - low) / (2.0 * LOOK_M)))
        for rise, (flow, wet) in zip(rises, kept, strict=True):
            rise.flow_m3_s, rise.fill_m3_s, rise.wet = flow, 0.0, wet
        self.flow_m3_s = sum(rise.flow_m3_s for rise in rises)
        return found

    def count(self, dt_s: float) -> None:
        """Add what went through, and how long dry, to their sums."""
        if self.dry:
            self.dry_s += dt_s
        self.moved_m3 += abs(self.flow_m3_s) * dt_s
        for rise in self.rises:
            rise.moved_m3 += abs(rise.flow_m3_s) * dt_s
            rise.held_m3 += rise.fill_m3_s * dt_s
