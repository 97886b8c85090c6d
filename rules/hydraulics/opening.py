"""Openings with a height of their own: a slot under a baffle, and what screens share with it."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from rules.hydraulics.friction import GRAVITY_M_S2

SHARP_EDGE = 0.61
"""Discharge coefficient of a sharp-edged slot; two-dimensional jets contract to 0.61."""
STRAIGHT_M = 1e-8
_DOUBT = 0.10


def root(head_m: float) -> float:
    """Square root of a head, made straight under 10 nm, where it would be endlessly steep.

    No level is known to such a fraction; without this, rounding alone would move water.
    """
    return sqrt(head_m) if head_m > STRAIGHT_M else head_m / sqrt(STRAIGHT_M)


def root_head(bottom_m: float, top_m: float, high_m: float, low_m: float) -> float:
    """Integral of sqrt(high - max(z, low)) over the wet part of an upright opening [m^1.5].

    Strips under the lower level see the difference of levels, strips above it their own depth.
    """
    if high_m <= bottom_m or high_m <= low_m:
        return 0.0
    wet_top = min(high_m, top_m)
    free_from = min(max(low_m, bottom_m), wet_top)
    drowned = (free_from - bottom_m) * root(high_m - max(low_m, bottom_m))
    below, above = high_m - free_from, high_m - wet_top
    return drowned + 2.0 / 3.0 * (below * sqrt(below) - above * sqrt(above))


@dataclass(frozen=True, slots=True)
class UnderBaffleFlow:
    """A slot under a baffle: Q = Cd b sqrt(2g) x integral of sqrt(head) over its height, Cd 0.61.

    Flows back (below zero) when the lower side stands higher.
    """

    bottom_m: float
    top_m: float
    width_m: float

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        scale = condition * SHARP_EDGE * self.width_m * sqrt(2.0 * GRAVITY_M_S2)
        if up_m < down_m:
            return -scale * root_head(self.bottom_m, self.top_m, down_m, up_m)
        return scale * root_head(self.bottom_m, self.top_m, up_m, down_m)

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share: the floor under the slot hinders the contraction."""
        del up_m, down_m
        return _DOUBT
