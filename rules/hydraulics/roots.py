"""Where a rising function crosses zero, found without a derivative."""

from __future__ import annotations

from collections.abc import Callable

TRIES = 120
"""More than bisection alone would need for the whole range of a float in metres."""


def crossing(
    rising: Callable[[float], float], low: float, high: float, tolerance: float = 1e-14
) -> float:
    """The place between `low` and `high` where `rising` goes from below zero to zero or above.

    Inverse quadratic steps where they help, halving where they do not (Chandrupatla 1997), so a
    kink or a flat stretch only costs steps. Stops when the bracket is narrower than `tolerance`.
    Raises ValueError when `low` and `high` do not enclose the place.
    """
    a, b = high, low
    at_a, at_b = rising(a), rising(b)
    if at_b > 0.0 or at_a < 0.0:
        raise ValueError("the two ends do not enclose the crossing")
    if at_b == 0.0:
        return b
    if at_a == 0.0:
        return a
    c, at_c, t = a, at_a, 0.5
    for _ in range(TRIES):
        x = a + t * (b - a)
        at_x = rising(x)
        if (at_x >= 0.0) == (at_a >= 0.0):
            c, at_c = a, at_a
        else:
            c, at_c = b, at_b
            b, at_b = a, at_a
        a, at_a = x, at_x
        least = min(0.5, (tolerance + 4e-16 * abs(a)) / (abs(b - c) or 1.0))
        if at_a == 0.0 or abs(b - a) <= 2.0 * tolerance + 8e-16 * abs(a):
            break
        t = 0.5
        if at_c not in (at_a, at_b) and b != c:
            xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
            if phi * phi < xi and (1.0 - phi) * (1.0 - phi) < 1.0 - xi:
                t = at_a / (at_b - at_a) * at_c / (at_b - at_c) + (c - a) / (b - a) * at_a / (
                    at_c - at_a
                ) * at_b / (at_c - at_b)
        t = min(1.0 - least, max(least, t))
    return a if abs(at_a) <= abs(at_b) else b
