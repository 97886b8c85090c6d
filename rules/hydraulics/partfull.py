"""A drain run that lies nearly level and is not full: Manning's formula for a round pipe."""

from __future__ import annotations

from math import acos, pi, sin, sqrt

PLASTIC_N = 0.010
"""Manning's n of smooth plastic drain pipe, 0.009 to 0.011 in handbooks (from memory)."""


def full_run_flow(bore_m: float, slope: float, roughness_n: float = PLASTIC_N) -> float:
    """Flow of a pipe that is just full, under no pressure [m3/s].

    Q = (1/n) A R^(2/3) sqrt(S), R = D/4; slope = fall / length, above 0 to 0.1. Manning 1891.

    >>> round(full_run_flow(8 * 0.0254, 0.005, 0.013) / 0.3048**3, 3)
    0.854
    """
    if not 0.0 < slope <= 0.1:
        raise ValueError(f"a slope of {slope:g} is outside what a near-level run has, 0 to 0.1")
    if bore_m <= 0.0 or roughness_n <= 0.0:
        raise ValueError("the bore and Manning's n must be above zero")
    radius: float = (0.25 * bore_m) ** (2.0 / 3.0)
    return 0.25 * pi * bore_m * bore_m * radius * sqrt(slope) / roughness_n


def part_full_share(depth_share: float) -> float:
    """Flow at a depth of y/D as a share of the flow just full, by Manning with n constant.

    Q/Q_full = (theta - sin theta)^(5/3) / (2 pi theta^(2/3)), theta = 2 acos(1 - 2 y/D). It peaks
    at 1.076 for y/D 0.938; a run cannot be relied on for more than 1.

    >>> round(part_full_share(0.5), 6)
    0.5
    """
    if not 0.0 <= depth_share <= 1.0:
        raise ValueError(f"a depth of {depth_share:g} of the bore is outside 0 to 1")
    if depth_share == 0.0:
        return 0.0
    theta = 2.0 * acos(1.0 - 2.0 * depth_share)
    wet: float = (theta - sin(theta)) ** (5.0 / 3.0)
    around: float = theta ** (2.0 / 3.0)
    return wet / (2.0 * pi * around)
