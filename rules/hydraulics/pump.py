"""A pump, its curve, and where it runs against its own pipes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.friction import PipeRun

TRIES = 200
FLOW_TOLERANCE_M3_S = 1e-14
STANDSTILL = 1e-6
"""Condition or speed that counts as none."""
CURVE_DOUBT = 0.09
"""How far a pump's flow may be off its catalogue: 9 %, ISO 9906 grade 3B (from memory)."""


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
        names = list(self.branches)
        flows = [0.0] * len(names)
        if condition <= STANDSTILL or speed <= STANDSTILL:
            return PumpPoint(0.0, 0.0, dict.fromkeys(names, 0.0))
        reach = speed * condition
        pipes = [branch.pipe for branch in self.branches.values()]

        def surplus(q: float) -> tuple[float, float, float]:
            head, slope = self.curve.head(q / reach)
            head *= speed * speed
            slope *= speed * speed / reach
            lost, resist = self.trunk.loss(q) if self.trunk is not None else (0.0, 0.0)
            at_branches = source_m + head - lost
            total, give = 0.0, 0.0
            for i, pipe in enumerate(pipes):
                over = at_branches - ends_m[i]
                if over > 0.0 and shares[i] > 0.0:
                    flow, grow = pipe.flow(over)
                    flows[i] = shares[i] * flow
                    total += flows[i]
                    give += shares[i] * grow
                else:
                    flows[i] = 0.0
            return total - q, give * (slope - resist) - 1.0, head

        low, high = 0.0, float("inf")
        q = 0.6 * self.curve.flows[-1] * reach
        least, head = surplus(0.0)[::2]
        if least <= 0.0:
            return PumpPoint(0.0, head, dict.fromkeys(names, 0.0))
        for _ in range(TRIES):
            over, slope, head = surplus(q)
            if over > 0.0:
                low = q
            else:
                high = q
            step = q - over / slope
            if abs(over) <= FLOW_TOLERANCE_M3_S or abs(step - q) <= 4e-16 * q:
                return PumpPoint(sum(flows), head, dict(zip(names, flows, strict=True)))
            if not low < step < high:
                step = 0.5 * (low + high) if high < float("inf") else 2.0 * q
            if step in (low, high):
                return PumpPoint(sum(flows), head, dict(zip(names, flows, strict=True)))
            q = step
        raise HydraulicsError(
            f"pump {self.pump}: no flow was found at which what it lifts is what its branches "
            "take; check its curve and the sizes of its pipes"
        )
