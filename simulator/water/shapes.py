"""How high the water stands in chambers that hold so much of it: boxes, cylinders, odd shapes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import pi, sqrt

from rules.site.chambers import Chamber, Filling


def rim_length_m(chamber: Chamber) -> float:
    """Length of the edge over which a chamber spills [m]; that of a square when only its area, or
    only its fillings, are known."""
    if chamber.length is not None and chamber.width is not None:
        return 2.0 * (chamber.length + chamber.width)
    if chamber.diameter is not None:
        return pi * chamber.diameter
    return 4.0 * sqrt(chamber.plan_m2(chamber.rim))


def least_plan_m2(chamber: Chamber, above_m: float) -> float:
    """The smallest plan that its water has anywhere from `above_m` over its bottom up [m2]."""
    lowest = max(0.0, above_m)
    heights = [line.level for line in (chamber.fillings or ())[:-1] if line.level > lowest]
    return min(chamber.plan_m2(height) for height in (lowest, *heights))


class Shapes:
    """The shapes of all chambers of a site, in its order; surfaces are heights above the datum."""

    def __init__(self, chambers: Iterable[Chamber]) -> None:
        self._chambers = list(chambers)
        self.bottom_m = [chamber.bottom for chamber in self._chambers]
        self.rim_m = [chamber.rim_m for chamber in self._chambers]
        self.rim_plan_m2 = [chamber.plan_m2(chamber.rim) for chamber in self._chambers]
        self._odd = [
            (i, _OddShape(chamber, chamber.fillings))
            for i, chamber in enumerate(self._chambers)
            if chamber.fillings is not None
        ]

    def volume_m3(self, place: int, level_m: float) -> float:
        """What one chamber holds with the level at `level_m` above its bottom [m3]."""
        return self._chambers[place].volume_m3(level_m)

    def surfaces_m(self, volumes_m3: Sequence[float]) -> list[float]:
        """The surface of every chamber [m above the datum], given what each one holds."""
        surfaces = [
            bottom + volume / plan
            for bottom, volume, plan in zip(
                self.bottom_m, volumes_m3, self.rim_plan_m2, strict=True
            )
        ]
        for place, shape in self._odd:
            surfaces[place] = shape.surface_m(volumes_m3[place])
        return surfaces

    def plans_m2(self, surfaces_m: Sequence[float]) -> list[float]:
        """The area of every surface at these heights [m2]."""
        plans = list(self.rim_plan_m2)
        for place, _ in self._odd:
            plans[place] = self._chambers[place].plan_m2(surfaces_m[place] - self.bottom_m[place])
        return plans


class _OddShape:
    """Straight pieces between the lines of a table; the last one goes on over the rim."""

    def __init__(self, chamber: Chamber, fillings: Sequence[Filling]) -> None:
        free = 1.0 - chamber.displacement
        self._volumes = [line.volume * free for line in fillings]
        self._surfaces = [chamber.bottom + line.level for line in fillings]
        self._slopes = [
            (high - low) / (full - empty)
            for (low, high), (empty, full) in zip(
                pairwise(self._surfaces), pairwise(self._volumes), strict=True
            )
        ]
        self._piece = 0  # the one that held last time: levels seldom leave it

    def surface_m(self, volume_m3: float) -> float:
        """Height of its surface above the datum [m]."""
        volumes, i = self._volumes, self._piece
        if not volumes[i] <= volume_m3 < volumes[i + 1]:
            i = min(max(bisect_right(volumes, volume_m3) - 1, 0), len(self._slopes) - 1)
            self._piece = i
        return self._surfaces[i] + self._slopes[i] * (volume_m3 - volumes[i])
