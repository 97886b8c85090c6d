"""A round hole through a wall."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import acos, cos, pi, sqrt

from rules.hydraulics.friction import GRAVITY_M_S2
from rules.hydraulics.opening import SHARP_EDGE, root_head

STRIPS = 16
_DOUBT = 0.05
_DOUBT_PARTLY = 0.15


def _area_below(share: float) -> float:
    """Area of a circle of radius 1 below a height of -1 to 1."""
    return acos(-share) + share * sqrt(1.0 - share * share)


@dataclass(frozen=True, slots=True)
class HoleFlow:
    """A sharp-edged round orifice, Q = Cd x integral of width sqrt(2 g head) over its height.

    Cd 0.61 (old tables: 0.618 to 0.637 at small heads). The circle is cut into level strips, each
    a rectangle of the same area, so that it fills evenly; well under water the sum is Cd A
    sqrt(2 g h). Flows back (below zero) when the lower side stands higher.
    """

    centre_m: float
    diameter_m: float
    strips: tuple[tuple[float, float, float], ...]  # bottom, top, width [m]

    @classmethod
    def round(cls, centre_m: float, diameter_m: float) -> HoleFlow:
        """A hole by its centre above the datum and its diameter."""
        radius = 0.5 * diameter_m
        heights = [-cos(pi * i / STRIPS) for i in range(STRIPS + 1)]
        strips = []
        for low, high in pairwise(heights):
            area = (_area_below(min(1.0, high)) - _area_below(max(-1.0, low))) * radius * radius
            strips.append(
                (
                    centre_m + low * radius,
                    centre_m + high * radius,
                    area / ((high - low) * radius),
                )
            )
        return cls(centre_m, diameter_m, tuple(strips))

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        if up_m < down_m:
            return -condition * self._through(down_m, up_m)
        return condition * self._through(up_m, down_m)

    def _through(self, high_m: float, low_m: float) -> float:
        total = sum(
            width * root_head(bottom, top, high_m, low_m) for bottom, top, width in self.strips
        )
        return SHARP_EDGE * sqrt(2.0 * GRAVITY_M_S2) * total

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share; wider while the hole is only partly covered."""
        covered = max(up_m, down_m) >= self.centre_m + 0.5 * self.diameter_m
        return _DOUBT if covered else _DOUBT_PARTLY
