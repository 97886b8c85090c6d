"""A round hole through a wall."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, pi, sqrt

from rules.hydraulics.friction import GRAVITY_M_S2
from rules.hydraulics.opening import SHARP_EDGE

_DOUBT = 0.05
_DOUBT_PARTLY = 0.15


@dataclass(frozen=True, slots=True)
class HoleFlow:
    """A sharp-edged round orifice: Q = Cd A sqrt(2 g h), Cd 0.61 (old tables: 0.618 to 0.637).

    A is the part of the hole under the higher level; h counts from that level down to the middle
    of that part, or to the lower level where this stands above it. Flows back when the lower side
    stands higher.
    """

    centre_m: float
    diameter_m: float

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        if up_m < down_m:
            return -condition * self._through(down_m, up_m)
        return condition * self._through(up_m, down_m)

    def _through(self, high_m: float, low_m: float) -> float:
        radius = 0.5 * self.diameter_m
        depth = high_m - self.centre_m + radius
        if depth <= 0.0:
            return 0.0
        area, middle = pi * radius * radius, self.centre_m
        if depth < self.diameter_m:
            y = (radius - depth) / radius
            half = acos(y)
            chord = sqrt(1.0 - y * y)
            segment = half - y * chord
            if segment <= 0.0:
                return 0.0
            area = radius * radius * segment
            middle -= radius * 2.0 * chord * chord * chord / (3.0 * segment)
        head = high_m - max(middle, low_m)
        return SHARP_EDGE * area * sqrt(2.0 * GRAVITY_M_S2 * max(0.0, head))

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share; wider while the hole is only partly covered."""
        covered = max(up_m, down_m) >= self.centre_m + 0.5 * self.diameter_m
        return _DOUBT if covered else _DOUBT_PARTLY
