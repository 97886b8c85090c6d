"""Where each chamber stands on paper: groups side by side, tiers one over the other, heights true.

Everything is derived from which passage leads where and at which height, never from names.
Places are in mm on the page, from its lower left corner.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from daemon.plot.panel import Place
from rules.hydraulics.steady import downhill
from rules.site.chambers import Chamber
from rules.site.model import Site
from rules.site.passages import (
    Comb,
    EmergencyDrain,
    Gravity,
    Hole,
    OpenDrain,
    Screen,
    SiphonDrain,
    UnderBaffle,
    Weir,
)

NARROWEST_MM = 7.0
GAP_MM = 8.0
NAME_MM = 6.5
LANE_MM = 2.6
TOP_LANE_MM = 3.2


@dataclass(frozen=True, slots=True)
class Box:
    """A chamber on paper."""

    chamber: str
    left_mm: float
    right_mm: float
    bottom_mm: float
    rim_mm: float
    level_mm: float

    def across(self, share: float) -> float:
        """A place between its left (0) and right (1) wall."""
        return self.left_mm + share * (self.right_mm - self.left_mm)


@dataclass(frozen=True, slots=True)
class Layout:
    """The plumbing on paper.

    `tiers` holds, from the floor up, the groups of chambers that share walls. Height h above the
    datum is at `floor_mm + h * scale_mm_m`. `corridors_mm` are the free heights above each tier.
    """

    place: Place
    floor_mm: float
    scale_mm_m: float
    widths_true: bool
    boxes: dict[str, Box]
    tiers: tuple[tuple[tuple[str, ...], ...], ...]
    corridors_mm: tuple[tuple[float, float], ...]

    def y_mm(self, height_m: float) -> float:
        """A height above the datum, on paper."""
        return self.floor_mm + height_m * self.scale_mm_m

    def tier_of(self, chamber: str) -> int:
        """Which tier a chamber stands in; 0 is the lowest."""
        return next(
            i for i, tier in enumerate(self.tiers) if any(chamber in group for group in tier)
        )


def edge_m(site: Site, passage: Gravity) -> float:
    """The height at which water enters a passage [m above datum]."""
    above = site.chambers[passage.from_].above_datum_m
    match passage:
        case Weir() | Comb():
            return above(passage.crest)
        case SiphonDrain() | OpenDrain() | EmergencyDrain():
            return above(passage.mouth)
        case Screen() | UnderBaffle():
            return above(passage.bottom)
        case Hole():
            return above(passage.centre)


def through_a_wall(site: Site, passage: Gravity) -> bool:
    """True where a passage leads through or over a wall that both of its chambers share."""
    if isinstance(passage, (SiphonDrain, OpenDrain, EmergencyDrain)):
        return False
    upper, lower = site.chambers[passage.from_], site.chambers[passage.to]
    edge = edge_m(site, passage)
    return edge <= lower.rim_m and lower.bottom < upper.rim_m and upper.bottom < lower.rim_m


def width_m(chamber: Chamber) -> float:
    """Width of a chamber in the drawing: its length, or the side of a square of as much area."""
    if chamber.length is not None:
        return chamber.length
    return sqrt(chamber.volume_m3(chamber.rim) / chamber.rim / (1.0 - chamber.displacement))


def groups(site: Site) -> list[tuple[str, ...]]:
    """Chambers that share walls, side by side, in the order in which water runs.

    Water runs to the left where it leaves by drains, and to the right where a pump takes it: so
    the drains fall at the left of the drawing and the pump's pipes rise at its right.
    """
    walls = [{p.from_, p.to} for p in site.gravity().values() if through_a_wall(site, p)]
    pending = downhill(site)
    sources = {pump.from_ for pump in site.pumps.values()}
    found = []
    while pending:
        row, waiting = [pending.pop(0)], list(pending)
        while waiting:
            chamber = next((c for c in waiting if any({c, r} in walls for r in row)), None)
            if chamber is None:
                break
            beside_last = {chamber, row[-1]} in walls
            if not beside_last and {chamber, row[0]} in walls:
                row.insert(0, chamber)
            else:
                row.append(chamber)
            waiting.remove(chamber)
        pending = [c for c in pending if c not in row]
        drained = any(site.drains_from(c) for c in row)
        if drained and not sources & set(row):
            row.reverse()
        found.append(tuple(row))
    order = list(site.chambers)
    return sorted(found, key=lambda group: min(order.index(c) for c in group))


def tiers(site: Site) -> tuple[tuple[tuple[str, ...], ...], ...]:
    """Groups whose heights overlap stand in one tier, side by side; tiers from the floor up.

    In a tier: what pumps draw from, what leads on by gravity, then the rest.
    """
    sources = {pump.from_ for pump in site.pumps.values()}
    leading = {p.from_ for p in site.gravity().values()}

    def bottom(group: tuple[str, ...]) -> float:
        return min(site.chambers[c].bottom for c in group)

    def rank(group: tuple[str, ...]) -> int:
        return 0 if sources & set(group) else 1 if leading & set(group) else 2

    rows: list[list[tuple[str, ...]]] = []
    top = float("-inf")
    for group in sorted(groups(site), key=bottom):
        if rows and bottom(group) < top:
            rows[-1].append(group)
        else:
            rows.append([group])
        top = max(top, *(site.chambers[c].rim_m for c in group))
    order = list(site.chambers)
    return tuple(
        tuple(sorted(row, key=lambda g: (rank(g), min(order.index(c) for c in g)))) for row in rows
    )


def span_m(site: Site) -> tuple[float, float]:
    """From which height to which the drawing reaches [m above datum].

    The datum is left out where it lies so far below that the tanks would become small.
    """
    lowest = min(c.bottom for c in site.chambers.values())
    highest = max(c.rim_m for c in site.chambers.values())
    return (0.0 if 0.0 < lowest < highest / 3.0 else lowest), highest


def _scale_across(
    site: Site, rows: tuple[tuple[tuple[str, ...], ...], ...], room_mm: float, most_mm_m: float
) -> float:
    """The scale at which the widest tier just fits; no more than that of the heights."""

    def wide(scale: float) -> float:
        return max(
            sum(
                max(NARROWEST_MM, scale * width_m(site.chambers[c])) for group in row for c in group
            )
            + GAP_MM * (len(row) - 1)
            for row in rows
        )

    low, high = 0.0, most_mm_m
    if wide(high) <= room_mm:
        return high
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if wide(middle) <= room_mm else (low, middle)
    return low


def lay_out(site: Site, levels_m: dict[str, float], place: Place, lanes: Lanes) -> Layout:
    """Find the place of every chamber; `lanes` is the room that pipes need around them."""
    rows = tiers(site)
    lowest, highest = span_m(site)
    over_mm = 6.0 + TOP_LANE_MM * lanes.top
    scale = (place.height_mm - over_mm) / (highest - lowest)
    floor = place.bottom_mm - lowest * scale
    left = place.left_mm + LANE_MM * lanes.left + NAME_MM
    room = place.width_mm - LANE_MM * (lanes.left + lanes.right) - NAME_MM - 2.0
    across = _scale_across(site, rows, room, scale)
    boxes = {}
    for row in rows:
        sizes = {
            c: max(NARROWEST_MM, across * width_m(site.chambers[c])) for group in row for c in group
        }
        spare = room - sum(sizes.values()) - GAP_MM * (len(row) - 1)
        gap = GAP_MM + min(10.0, max(0.0, spare) / (len(row) + 1))
        used = sum(sizes.values()) + gap * (len(row) - 1)
        x = left + max(0.0, (room - used) / 2)
        for group in row:
            for c in group:
                chamber = site.chambers[c]
                boxes[c] = Box(
                    c,
                    x,
                    x + sizes[c],
                    floor + chamber.bottom * scale,
                    floor + chamber.rim_m * scale,
                    floor + levels_m[c] * scale,
                )
                x += sizes[c]
            x += gap
    spans = [
        (
            min(boxes[c].bottom_mm for g in row for c in g),
            max(boxes[c].rim_mm for g in row for c in g),
        )
        for row in rows
    ]
    ceilings = [low for low, _ in spans[1:]] + [place.bottom_mm + place.height_mm]
    corridors = tuple((top, up) for (_, top), up in zip(spans, ceilings, strict=True))
    true = across == scale and all(
        across * width_m(chamber) >= NARROWEST_MM for chamber in site.chambers.values()
    )
    return Layout(place, floor, scale, true, boxes, rows, corridors)


@dataclass(frozen=True, slots=True)
class Lanes:
    """How many pipes pass at the left, at the right, and above the highest tier."""

    left: int
    right: int
    top: int
