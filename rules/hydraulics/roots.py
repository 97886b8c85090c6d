"""Where a rising function crosses zero, and small systems of linear equations."""

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


def highest(holds: Callable[[float], bool], low: float, high: float) -> float:
    """The highest place between `low` and `high` where `holds` is still true.

    It must be true below that place and false above; fifty halvings find it.
    """
    if holds(high):
        return high
    for _ in range(50):
        middle = 0.5 * (low + high)
        if holds(middle):
            low = middle
        else:
            high = middle
    return low


def solve_linear(matrix: list[list[float]], right: list[float]) -> list[float]:
    """Solution of a small square system by elimination with row exchange; both are left alone.

    Raises ValueError when the matrix is singular.
    """
    n = len(right)
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for i in range(n):
        pivot = max(range(i, n), key=lambda k: abs(rows[k][i]))
        if rows[pivot][i] == 0.0:
            raise ValueError("the equations have no single solution")
        rows[i], rows[pivot] = rows[pivot], rows[i]
        for k in range(i + 1, n):
            if factor := rows[k][i] / rows[i][i]:
                rows[k] = [a - factor * b for a, b in zip(rows[k], rows[i], strict=True)]
    found = [0.0] * n
    for i in reversed(range(n)):
        known = sum(rows[i][k] * found[k] for k in range(i + 1, n))
        found[i] = (rows[i][n] - known) / rows[i][i]
    return found
