"""Flow through a full pipe: friction, and the flow that a head drives."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log, pi, sqrt

GRAVITY_M_S2 = 9.80665
LAMINAR_RE = 2000.0
TURBULENT_RE = 4000.0
ROUGHNESS_MOST = 0.05
_C = 2.0 / log(10.0)

FITTING_DOUBT = 0.3
"""Doubt about a sum of loss coefficients, as a share: tables differ by as much (own estimate)."""
FRICTION_DOUBT = 0.1
TRANSITION_DOUBT = 0.3
"""Doubt about wall friction, as a share, and between Re 2000 and 4000 (own estimates)."""


def _colebrook(reynolds: float, roughness: float) -> tuple[float, float]:
    a = roughness / 3.7
    b = 2.51 / reynolds
    # start: Haaland 1983, within 2 %; two Newton steps then reach the last digits of a float
    x = -0.9 * _C * log(a**1.11 + 6.9 / reynolds)
    for _ in range(2):
        s = a + b * x
        x -= (x + _C * log(s)) / (1.0 + _C * b / s)
    pull = _C * b / (a + b * x)
    return 1.0 / (x * x), -2.0 * pull / (1.0 + pull)


def colebrook(reynolds: float, roughness: float) -> float:
    """Darcy friction factor in turbulence: 1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))).

    Solved, Colebrook 1939; `roughness` e is relative to the bore. Below Re 4000 it holds only in
    part, see `turbulent_weight`.
    """
    return _colebrook(reynolds, roughness)[0]


def turbulent_weight(reynolds: float) -> float:
    """Weight of Colebrook's factor beside the laminar one: 0 up to Re 2000, 1 from Re 4000 on.

    Between them t^2 (3 - 2 t), t = (Re - 2000) / 2000 (our own choice).
    """
    t = min(1.0, max(0.0, (reynolds - LAMINAR_RE) / (TURBULENT_RE - LAMINAR_RE)))
    return t * t * (3.0 - 2.0 * t)


def darcy(reynolds: float, roughness: float) -> tuple[float, float]:
    """Darcy friction factor, and its exponent d ln f / d ln Re.

    Laminar f = 64 / Re up to Re 2000; Colebrook, 1/sqrt(f) = -2 log10(e/3.7 + 2.51/(Re sqrt(f))),
    solved, from Re 4000 on; between them the two are blended by a cubic weight, so that f is
    smooth and the head loss still grows with every bit of flow (our own choice: no formula is
    reliable there). `roughness` is relative to the bore, 0 to 0.05; ValueError outside.

    >>> round(darcy(1e5, 1e-4)[0], 6)
    0.018514
    """
    if not 0.0 <= roughness <= ROUGHNESS_MOST:
        raise ValueError(f"a roughness of {roughness:g} of the bore is outside 0 to 0.05")
    if reynolds <= 0.0:
        raise ValueError(f"a Reynolds number of {reynolds:g} is not above zero")
    if reynolds >= TURBULENT_RE:
        return _colebrook(reynolds, roughness)
    laminar = 64.0 / reynolds
    if reynolds <= LAMINAR_RE:
        return laminar, -1.0
    turbulent, exponent = _colebrook(reynolds, roughness)
    t = (reynolds - LAMINAR_RE) / (TURBULENT_RE - LAMINAR_RE)
    weight = turbulent_weight(reynolds)
    growth = 6.0 * t * (1.0 - t) * reynolds / (TURBULENT_RE - LAMINAR_RE)
    factor = laminar + weight * (turbulent - laminar)
    slope = (
        -(1.0 - weight) * laminar + weight * turbulent * exponent + growth * (turbulent - laminar)
    )
    return factor, slope / factor


@dataclass(frozen=True, slots=True)
class PipeRun:
    """A run of pipe that is full of water: h = (K + f L / D) v^2 / (2 g).

    `loss_k` is the sum of the loss coefficients of entrance, fittings, valve and exit.
    """

    bore_m: float
    length_m: float
    roughness_m: float
    loss_k: float
    kinematic_m2_s: float

    @property
    def area_m2(self) -> float:
        """Open area [m2]."""
        return 0.25 * pi * self.bore_m * self.bore_m

    def loss(self, flow_m3_s: float) -> tuple[float, float]:
        """Head lost at a flow of zero or more [m], and its slope [m per m3/s]."""
        if flow_m3_s <= 0.0:
            # the laminar slope at rest; without any length only the (flat) v^2 term is left
            d = self.bore_m
            rest = 64.0 * self.kinematic_m2_s * self.length_m / (d * d)
            return 0.0, rest / (2.0 * GRAVITY_M_S2 * self.area_m2)
        v = flow_m3_s / self.area_m2
        factor, exponent = darcy(
            v * self.bore_m / self.kinematic_m2_s, self.roughness_m / self.bore_m
        )
        wall = factor * self.length_m / self.bore_m
        head = (self.loss_k + wall) * v * v / (2.0 * GRAVITY_M_S2)
        return head, head * (2.0 + exponent * wall / (self.loss_k + wall)) / flow_m3_s

    def uncertainty(self, flow_m3_s: float, valve_k: float = 0.0) -> float:
        """Doubt about the flow that a head drives, as a share, near this flow.

        dQ/Q = 1/2 sqrt((a K)^2 + (b f L/D)^2) / (K + f L/D + K_valve), with a and b the doubts
        about fittings and friction; the valve counts as seen, not as computed. The bore's
        tolerance is not in it: compute again with the least bore for that.
        """
        reynolds = max(flow_m3_s / self.area_m2 * self.bore_m / self.kinematic_m2_s, 1e-6)
        wall = darcy(reynolds, self.roughness_m / self.bore_m)[0] * self.length_m / self.bore_m
        between = LAMINAR_RE < reynolds < TURBULENT_RE
        doubt = TRANSITION_DOUBT if between else FRICTION_DOUBT
        lost = hypot(FITTING_DOUBT * self.loss_k, doubt * wall)
        return 0.5 * lost / (self.loss_k + wall + valve_k)

    def flow(self, head_m: float, valve_k: float = 0.0) -> tuple[float, float]:
        """Flow that a head drives [m3/s], zero for no head, and its slope [m3/s per m].

        `valve_k` is the loss coefficient of a valve on top of `loss_k`.
        Newton's method on ln h over ln v, which is nearly a straight line of slope 1 to 2.
        """
        if head_m <= 0.0:
            rest = self.loss(0.0)[1]
            return 0.0, 1.0 / rest if rest > 0.0 else 0.0
        d, ratio = self.bore_m, self.length_m / self.bore_m
        roughness, to_re = self.roughness_m / d, d / self.kinematic_m2_s
        drive, fixed = 2.0 * GRAVITY_M_S2 * head_m, self.loss_k + valve_k
        v = min(sqrt(drive / (fixed + 0.02 * ratio)), drive * to_re / (64.0 * ratio))
        low, high, power = 0.0, float("inf"), 2.0
        for _ in range(60):
            factor, exponent = darcy(v * to_re, roughness)
            wall = factor * ratio
            total = fixed + wall
            power = 2.0 + exponent * wall / total
            excess = drive / (total * v * v)
            if abs(excess - 1.0) < 1e-14:
                break
            if excess > 1.0:
                low = v
            else:
                high = v
            step: float = v * excess ** (1.0 / power)
            if not low <= step <= high:
                step = sqrt(low * high) if low > 0.0 and high < float("inf") else v
            if step == v:
                break
            v = step
        flow = v * self.area_m2
        return flow, flow / (power * head_m)
