"""Places for labels: near what they name, clear of lines and of one another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf

Point = tuple[float, float]
HALF_MM = 0.25


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle on paper [mm]."""

    left: float
    bottom: float
    right: float
    top: float

    @classmethod
    def around(cls, centre: Point, width: float, height: float) -> Rect:
        """The rectangle of this size around a point."""
        x, y = centre
        return cls(x - width / 2, y - height / 2, x + width / 2, y + height / 2)

    @property
    def centre(self) -> Point:
        """Its middle."""
        return (self.left + self.right) / 2, (self.bottom + self.top) / 2

    def shared(self, other: Rect) -> float:
        """The area that it shares with another [mm2]."""
        if self.right <= other.left or other.right <= self.left:
            return 0.0
        across = min(self.right, other.right) - max(self.left, other.left)
        return across * max(0.0, min(self.top, other.top) - max(self.bottom, other.bottom))

    def outside(self, other: Rect) -> float:
        """The area of it that lies outside another [mm2]."""
        whole = (self.right - self.left) * (self.top - self.bottom)
        return whole - self.shared(other)


@dataclass(frozen=True, slots=True)
class Stroke:
    """A level or upright line that labels should not cover; `owner` may be covered by its own."""

    owner: str
    box: Rect
    weight: float


@dataclass(frozen=True, slots=True)
class Spot:
    """A possible place for a label, how much it is disliked in itself, and the lines it holds."""

    box: Rect
    dislike: float
    upright: bool = False
    lines: tuple[str, ...] = ()


@dataclass(slots=True)
class Labels:
    """Places labels one after another, each at the best spot that is left."""

    paper: Rect
    strokes: list[Stroke] = field(default_factory=list)
    taken: list[Rect] = field(default_factory=list)

    def line(self, owner: str, points: Sequence[Point], weight: float) -> None:
        """Remember a line of level and upright runs."""
        for (x0, y0), (x1, y1) in pairwise(points):
            (left, right), (low, high) = sorted((x0, x1)), sorted((y0, y1))
            box = Rect(left - HALF_MM, low - HALF_MM, right + HALF_MM, high + HALF_MM)
            self.strokes.append(Stroke(owner, box, weight))

    def cost(self, owner: str, spot: Spot) -> float:
        """How bad a spot is: text on text is worst, then over another's line."""
        box = spot.box
        clash = sum(box.shared(other) for other in self.taken)
        cost = spot.dislike + (60.0 + 20.0 * clash if clash > 0 else 0.0)
        cost += 50.0 * box.outside(self.paper)
        for stroke in self.strokes:
            if stroke.owner != owner and box.shared(stroke.box) > 0:
                cost += stroke.weight
        return cost

    def put(self, owner: str, spots: Iterable[Spot]) -> Spot:
        """Take the best spot; of equals the one that is least disliked in itself."""
        ranked = sorted(spots, key=lambda spot: spot.dislike)
        best, least = ranked[0], inf
        for spot in ranked:
            if spot.dislike >= least:
                break  # the others can only be worse
            cost = self.cost(owner, spot)
            if cost < least:
                best, least = spot, cost
        self.taken.append(best.box)
        return best
