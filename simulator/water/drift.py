"""Long stretches in which next to nothing moves: flows held as they will be at their end.

A step that holds flows as they are now must be far shorter than the time in which the smallest
chamber comes to rest, a second or so, or levels swing. So flows are taken as they will be at the
end of the stretch, to first order in the levels: Euler's method, linearly implicit (Hairer and
Wanner, Solving Ordinary Differential Equations II, IV.7; from memory). Water moves by these flows,
from chamber to chamber, so none is lost whatever the slopes are worth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import mul

RUNGS_S = tuple(0.1 * 2.0**k for k in range(10))  # a stretch has one of these lengths
NEAR_S = 0.8  # the longest in which a level may come past an edge: a mouth, an intake, a rim
MOST_M = 1e-4  # no level moves further in one stretch
OFF_M = 2e-6  # by so much it may come out wrong: no sensor sees it
STEP_M = 2e-5  # levels are moved by so much to see how flows change

Slopes = Sequence[tuple[int, float]]
"""How a flow changes with levels: pairs of a chamber's place and m3/s per metre."""

Ends = tuple[int, int]
"""The places of the two chambers that a flow joins; a floor has the place after the last."""


def _inverse(rows: list[list[float]]) -> list[list[float]]:
    """The inverse of a matrix whose diagonal outweighs the rest of each column (Gauss, Jordan)."""
    size = len(rows)
    work = [row + [float(i == j) for j in range(size)] for i, row in enumerate(rows)]
    for i in range(size):
        pivot = work[i][i]
        head = work[i] = [value / pivot for value in work[i]]
        for j in range(size):
            factor = work[j][i]
            if j != i and factor != 0.0:
                work[j] = [a - factor * b for a, b in zip(work[j], head, strict=True)]
    return [row[size:] for row in work]


def _applied(rows: Sequence[Sequence[float]], values: Sequence[float]) -> list[float]:
    return [sum(map(mul, row, values)) for row in rows]


class Drift:
    """Foresees how levels drift, and how long flows may be held for that.

    `edges_m` are the heights at each chamber where some flow begins or ends.
    """

    def __init__(self, edges_m: Sequence[Sequence[float]]) -> None:
        self._edges_m = [
            (place, edge) for place, edges in enumerate(edges_m) for edge in sorted(set(edges))
        ]
        self._rung = 0
        self._slopes: list[Slopes] = []
        self._gains: list[list[float]] = []  # rise of each level per net flow of each chamber
        self._by_rung: dict[int, list[list[float]]] = {}
        self._foreseen: list[float] | None = None

    def forget(self) -> None:
        """What was foreseen no longer holds."""
        self._foreseen = None

    def judge(self, net_m3_s: Sequence[float]) -> bool:
        """Compare what came with what was foreseen; False if slopes are to be looked at anew."""
        foreseen, self._foreseen = self._foreseen, None
        if not self._slopes:
            return False
        if foreseen is None:
            return True
        off_m3_s = [a - b for a, b in zip(net_m3_s, foreseen, strict=True)]
        off_m = max(map(abs, _applied(self._by_rung[self._rung], off_m3_s)))
        if off_m <= OFF_M:
            if off_m <= 0.25 * OFF_M:  # it grows as the square of the length
                self._rung = min(self._rung + 1, len(RUNGS_S) - 1)
            return True
        self._rung = max(0, self._rung - (1 if off_m < 4.0 * OFF_M else 2))
        return False

    def look(self, ends: Sequence[Ends], slopes: list[Slopes], plans_m2: Sequence[float]) -> None:
        """Take how each flow changes with the levels, and the plan of each chamber's surface."""
        self._slopes = slopes
        size = len(plans_m2)
        self._gains = [[0.0] * size for _ in range(size)]
        self._by_rung = {}
        for (upper, lower), pairs in zip(ends, slopes, strict=True):
            for place, slope in pairs:
                self._gains[upper][place] -= slope / plans_m2[upper]
                if lower < size:
                    self._gains[lower][place] += slope / plans_m2[lower]
        self._plans_m2 = list(plans_m2)

    def _matrix(self, rung: int) -> list[list[float]]:
        """Levels after a stretch of this rung's length, per net flow that there is now [s/m2]."""
        found = self._by_rung.get(rung)
        if found is None:
            lasts_s = RUNGS_S[rung]
            rows = [
                [float(i == j) - lasts_s * gain for j, gain in enumerate(row)]
                for i, row in enumerate(self._gains)
            ]
            found = [
                [lasts_s * value / plan for value, plan in zip(row, self._plans_m2, strict=True)]
                for row in _inverse(rows)
            ]
            self._by_rung[rung] = found
        return found

    def stretch(
        self, surface_m: Sequence[float], net_m3_s: Sequence[float], longest_s: float
    ) -> tuple[float, list[float]]:
        """The length of the next stretch [s] and how far each level moves in it [m]; 0 if none."""
        while self._rung > 0 and RUNGS_S[self._rung] > longest_s:
            self._rung -= 1
        while RUNGS_S[self._rung] <= longest_s:
            moves_m = _applied(self._matrix(self._rung), net_m3_s)
            if max(map(abs, moves_m)) <= MOST_M and (
                RUNGS_S[self._rung] <= NEAR_S or not self._passes(surface_m, moves_m)
            ):
                return RUNGS_S[self._rung], moves_m
            if self._rung == 0:
                break
            self._rung -= 1
        return 0.0, []

    def _passes(self, surface_m: Sequence[float], moves_m: Sequence[float]) -> bool:
        """True if a level comes past an edge."""
        for place, edge in self._edges_m:
            above = surface_m[place] - edge
            if above * (above + moves_m[place]) < 0.0:
                return True
        return False

    def then(self, flows_m3_s: Sequence[float], moves_m: Sequence[float]) -> list[float]:
        """The flows once the levels have moved so; none turns round."""
        found = []
        for flow, pairs in zip(flows_m3_s, self._slopes, strict=True):
            later = flow
            for place, slope in pairs:
                later += slope * moves_m[place]
            found.append(later if later * flow > 0.0 else 0.0)
        return found

    def foresee(self, net_m3_s: list[float]) -> None:
        """Keep what the next look at the flows should find, if the slopes are right."""
        self._foreseen = net_m3_s


def slopes_between(
    flow: Callable[[float, float], float], up: float, down: float, upper: int, lower: int
) -> Slopes:
    """How the flow of a passage changes with the levels of its two sides."""
    at_up = (flow(up + STEP_M, down) - flow(up - STEP_M, down)) / (2.0 * STEP_M)
    at_down = (flow(up, down + STEP_M) - flow(up, down - STEP_M)) / (2.0 * STEP_M)
    return [(place, slope) for place, slope in ((upper, at_up), (lower, at_down)) if slope != 0.0]
