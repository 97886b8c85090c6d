"""One step in time for all volumes at once, as long as its error allows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

from rules.transient.ways import Balance

GAMMA = 1.0 + sqrt(0.5)


@dataclass(frozen=True, slots=True)
class Stride:
    """Where a step leads: the volumes, what went over each rim on it, the error of each volume."""

    volumes_m3: list[float]
    spilled_m3: list[float]
    error_m3: list[float]


class _Factors:
    """A matrix factored by elimination, in the given order.

    More level in one chamber never takes water from another, and all that leaves it arrives or is
    spilled: no column has a positive entry off its diagonal or a sum under 1, so that no exchange
    of rows is needed.
    """

    def __init__(self, rows: list[list[float]]) -> None:
        self._lower: list[list[tuple[int, float]]] = [[] for _ in rows]
        self._upper: list[list[tuple[int, float]]] = []
        self._pivots: list[float] = []
        for i, row in enumerate(rows):
            self._pivots.append(row[i])
            ahead = [(j, row[j]) for j in range(i + 1, len(row)) if row[j]]
            self._upper.append(ahead)
            for k in range(i + 1, len(rows)):
                other = rows[k]
                if other[i]:
                    factor = other[i] / row[i]
                    self._lower[k].append((i, factor))
                    for j, value in ahead:
                        other[j] -= factor * value

    def solve(self, right: Sequence[float]) -> list[float]:
        """The solution for one right side."""
        found = list(right)
        for k, lower in enumerate(self._lower):
            for i, factor in lower:
                found[k] -= factor * found[i]
        for i in range(len(found) - 1, -1, -1):
            known = found[i]
            for j, value in self._upper[i]:
                known -= value * found[j]
            found[i] = known / self._pivots[i]
        return found


def stride(
    volumes_m3: Sequence[float],
    surfaces_m2: Sequence[float],
    now: Balance,
    later: Callable[[list[float]], Balance],
    step_s: float,
) -> Stride:
    """One step of the Rosenbrock method ROS2 (Verwer, Spee, Blom, Hundsdorfer 1999), for dV/dt = f.

    (1 - g h J) k1 = f(V), (1 - g h J) k2 = f(V + h k1) - 2 k1, V' = V + 1.5 h k1 + 0.5 h k2 with
    g = 1 + sqrt(1/2); of second order for any J, which is here the slopes in `now`. The equations
    sum to what goes over the rims, so no water is made or lost. The error is the difference from
    the first-order V + h k1.

    A small chamber, or an edge that is drowned, answers within milliseconds and would force a
    plainly explicit step to be as short. This g is the one for which V + h k1 stops short of where
    such a chamber settles, so that levels on both sides of an edge never swing about each other.
    """
    size, gh = len(volumes_m3), GAMMA * step_s
    spill_slopes = [s / a for s, a in zip(now.spill_slopes, surfaces_m2, strict=True)]
    rows = [
        [-gh * slope / area for slope, area in zip(row, surfaces_m2, strict=True)]
        for row in now.slopes
    ]
    for i in range(size):
        rows[i][i] += 1.0 + gh * spill_slopes[i]
    factors = _Factors(rows)
    k1 = factors.solve([n - s for n, s in zip(now.net, now.spill, strict=True)])
    over1 = [s + gh * a * k for s, a, k in zip(now.spill, spill_slopes, k1, strict=True)]
    then = later([v + step_s * k for v, k in zip(volumes_m3, k1, strict=True)])
    k2 = factors.solve([n - s - 2.0 * k for n, s, k in zip(then.net, then.spill, k1, strict=True)])
    over2 = [
        s - 2.0 * o + gh * a * k
        for s, o, a, k in zip(then.spill, over1, spill_slopes, k2, strict=True)
    ]
    half = 0.5 * step_s
    return Stride(
        [v + half * (3.0 * a + b) for v, a, b in zip(volumes_m3, k1, k2, strict=True)],
        [half * (3.0 * a + b) for a, b in zip(over1, over2, strict=True)],
        [half * (a + b) for a, b in zip(k1, k2, strict=True)],
    )


__all__ = ["Stride", "stride"]
