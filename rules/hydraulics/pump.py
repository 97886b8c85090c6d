"""A pump, its curve, and where it runs against its own pipes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf, isfinite

from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.friction import PipeRun

TRIES = 200
FLOW_TOLERANCE_M3_S = 1e-14
STANDSTILL = 1e-6
"""Condition or speed that counts as none."""


@dataclass(frozen=True, slots=True)
class PumpPoint:
    """Where a pump runs: whole flow, head it gives, and what each branch gets."""

    flow_m3_s: float
    head_m: float
    branches: dict[str, float]


def _slopes(q: Sequence[float], h: Sequence[float]) -> list[float]:
    """Slopes at the points that keep a cubic between them falling (Fritsch and Butland 1984)."""
    width = [b - a for a, b in pairwise(q)]
    chord = [(b - a) / w for a, b, w in zip(h, h[1:], width, strict=False)]
    if len(chord) == 1:
        return [chord[0], chord[0]]
    inner = []
    for i in range(1, len(chord)):
        w1 = 2.0 * width[i] + width[i - 1]
        w2 = width[i] + 2.0 * width[i - 1]
        inner.append((w1 + w2) / (w1 / chord[i - 1] + w2 / chord[i]))

    def end(w0: float, w1: float, c0: float, c1: float) -> float:
        slope = ((2.0 * w0 + w1) * c0 - w0 * c1) / (w0 + w1)
        return min(0.0, slope)

    first = end(width[0], width[1], chord[0], chord[1])
    last = end(width[-1], width[-2], chord[-1], chord[-2])
    return [first, *inner, last]


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """Head over flow through the catalogue's points, falling everywhere.

    Cubic pieces that keep the shape of the points (PCHIP). Past the last point it goes on along
    the steeper of its last slope and last chord down to no head, and stays there; before the first
    point along the first slope. Speed s (share of full) by the affinity laws, H = s^2 H(q / s);
    condition c as the share of its flow that is left at every head, H = H(q / c).
    """

    flows: tuple[float, ...]
    heads: tuple[float, ...]
    slopes: tuple[float, ...]
    tail: float

    @classmethod
    def through(cls, points: Sequence[tuple[float, float]]) -> PumpCurve:
        """The curve through points of (flow [m3/s], head [m]); ValueError unless it falls."""
        if len(points) < 2:
            raise ValueError("a pump's curve needs at least two points")
        for (q0, h0), (q1, h1) in pairwise(points):
            if q1 <= q0 or h1 >= h0:
                raise ValueError("from point to point the flow must grow and the head must fall")
        q, h = [p[0] for p in points], [p[1] for p in points]
        slopes = _slopes(q, h)
        tail = min(slopes[-1], (h[-1] - h[-2]) / (q[-1] - q[-2]))
        return cls(tuple(q), tuple(h), tuple(slopes), tail)

    def head(self, flow_m3_s: float) -> tuple[float, float]:
        """Head at a flow, in full condition and speed [m], and its slope [m per m3/s]."""
        q, h, m = self.flows, self.heads, self.slopes
        if flow_m3_s <= q[0]:
            return h[0] + m[0] * (flow_m3_s - q[0]), m[0]
        if flow_m3_s >= q[-1]:
            head = h[-1] + self.tail * (flow_m3_s - q[-1])
            return (head, self.tail) if head > 0.0 else (0.0, 0.0)
        i = bisect_right(q, flow_m3_s) - 1
        width = q[i + 1] - q[i]
        t = (flow_m3_s - q[i]) / width
        chord = (h[i + 1] - h[i]) / width
        b = 3.0 * chord - 2.0 * m[i] - m[i + 1]
        c = m[i] + m[i + 1] - 2.0 * chord
        head = h[i] + width * t * (m[i] + t * (b + t * c))
        return head, m[i] + t * (2.0 * b + 3.0 * t * c)


@dataclass(frozen=True, slots=True)
class PumpBranch:
    """One way up: its pipe, and the height of its open end above the site's datum."""

    to: str
    outlet_m: float
    pipe: PipeRun


@dataclass(frozen=True, slots=True)
class PumpSystem:
    """A pump with the pipe that its branches share, and the branches."""

    pump: str
    source: str
    curve: PumpCurve
    trunk: PipeRun | None
    branches: dict[str, PumpBranch]

    def point(
        self,
        source_m: float,
        ends_m: Sequence[float],
        shares: Sequence[float],
        condition: float,
        speed: float,
    ) -> PumpPoint:
        """Where it runs: the flow at which what the pump lifts is what the branches take.

        `ends_m` is the head at each branch's end (outlet or the level over it), `shares` its
        condition. More flow means less head where the branches begin, so what they take falls
        while what is lifted grows: there is one such flow. Raises HydraulicsError if none is found.
        """
        if not all(map(isfinite, (source_m, condition, speed, *ends_m, *shares))):
            raise HydraulicsError(
                f"pump {self.pump}: a level, condition or speed is not a finite number"
            )
        if condition <= STANDSTILL or speed <= STANDSTILL:
            return PumpPoint(0.0, 0.0, dict.fromkeys(self.branches, 0.0))
        pipes = (branch.pipe for branch in self.branches.values())
        ways = list(zip(pipes, ends_m, shares, strict=True))
        work = _Work(self, source_m, ways, condition, speed)
        q, low, high = 0.0, 0.0, inf
        over, slope = work.surplus(q)
        if over <= 0.0:
            return work.point()
        q = 0.6 * self.curve.flows[-1] * condition * speed
        for _ in range(TRIES):
            over, slope = work.surplus(q)
            if over > 0.0:
                low = q
            else:
                high = q
            step = q - over / slope
            if abs(over) <= FLOW_TOLERANCE_M3_S or abs(step - q) <= 4e-16 * q:
                return work.point()
            if not low < step < high:
                step = 0.5 * (low + high) if high < inf else 2.0 * q
            if step in (low, high):
                return work.point()
            q = step
        raise HydraulicsError(
            f"pump {self.pump}: no flow was found at which what it lifts is what its branches "
            "take; check its curve and the sizes of its pipes"
        )


class _Work:
    """One pump at given levels; keeps the head and the branches' flows of the last flow tried."""

    def __init__(
        self,
        system: PumpSystem,
        source_m: float,
        ways: Sequence[tuple[PipeRun, float, float]],
        condition: float,
        speed: float,
    ) -> None:
        self.system, self.source_m, self.speed = system, source_m, speed
        self.reach = speed * condition
        self.ways = ways  # pipe, head at its end, condition
        self.head_m = 0.0
        self.taken: list[float] = []

    def surplus(self, flow_m3_s: float) -> tuple[float, float]:
        """What the branches take less what is lifted [m3/s], and its slope."""
        system, square = self.system, self.speed * self.speed
        head, falls = system.curve.head(flow_m3_s / self.reach)
        lost, resists = system.trunk.loss(flow_m3_s) if system.trunk is not None else (0.0, 0.0)
        self.head_m = head * square
        at_branches = self.source_m + self.head_m - lost
        self.taken, give = [], 0.0
        for pipe, end, share in self.ways:
            flow, grows = pipe.flow(at_branches - end) if at_branches > end else (0.0, 0.0)
            self.taken.append(share * flow)
            give += share * grows
        slope = give * (falls * square / self.reach - resists) - 1.0
        return sum(self.taken) - flow_m3_s, slope

    def point(self) -> PumpPoint:
        """The last flow tried, as where the pump runs."""
        branches = dict(zip(self.system.branches, self.taken, strict=True))
        return PumpPoint(sum(self.taken), self.head_m, branches)
