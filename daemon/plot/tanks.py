"""The chambers of the side view: height scale, water, walls, and what leads through the walls."""

from __future__ import annotations

from itertools import pairwise
from math import ceil, floor

from matplotlib.patches import Rectangle

from daemon.plot import looks, signs
from daemon.plot.drawing import Drawing, tag_size
from daemon.plot.labels import Point, Rect, Spot
from daemon.plot.layout import Box, edge_m, span_m, through_a_wall
from rules.site import show
from rules.site.passages import Comb, Gravity, Hole, Screen, UnderBaffle, Weir

WALL_PT = 1.5
ARROW_MM = 2.6


def draw_scale(drawing: Drawing) -> None:
    """Heights above the datum at the left, and faint lines across."""
    layout, place = drawing.layout, drawing.place
    unit = looks.heights(drawing.plan.site.site.units)
    x, right = place.left_mm + 9.0, place.left_mm + place.width_mm
    low, high = (height * unit.factor for height in span_m(drawing.plan.site))
    step = _step(high - low)
    first, last = ceil(low / step), floor(high / step)
    for i in range(first, last + 1):
        y = layout.y_mm(i * step / unit.factor)
        drawing.line([(x - 1.2, y), (x, y)], color=looks.INK, linewidth=0.6)
        faint = {"color": looks.FAINT, "linewidth": 0.25, "linestyle": (0, (1, 4))}
        drawing.line([(x, y), (right, y)], zorder=0.2, **faint)
        drawing.axes.text(
            x - 1.8, y, f"{i * step:g}", ha="right", va="center", fontsize=looks.SMALL_PT
        )
    ends = [(x, layout.y_mm(value / unit.factor)) for value in (low, high)]
    drawing.line(ends, color=looks.INK, linewidth=0.6)
    if low <= 0.0 <= high:
        datum = layout.y_mm(0.0)
        drawing.line([(x, datum), (right, datum)], color=looks.INK, linewidth=0.9, zorder=0.3)
    drawing.axes.text(
        place.left_mm - 1.5,
        (ends[0][1] + ends[1][1]) / 2,
        f"height above the datum [{unit.name}]",
        rotation=90,
        ha="center",
        va="center",
        fontsize=looks.SMALL_PT,
    )


def _step(span: float) -> float:
    """A round step that gives about ten ticks."""
    rough, power = span / 10.0, 1.0
    while power * 10.0 <= rough:
        power *= 10.0
    while power > rough:
        power /= 10.0
    return next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough)


def draw_water(drawing: Drawing, box: Box) -> None:
    """The water of one chamber, up to its running level, with the mark of a surface."""
    wide = box.right_mm - box.left_mm
    drawing.axes.add_patch(
        Rectangle(
            (box.left_mm, box.bottom_mm),
            wide,
            box.level_mm - box.bottom_mm,
            facecolor=looks.WATER,
            edgecolor="none",
            zorder=0.5,
            gid=f"water-{box.chamber}",
        )
    )
    surface = [(box.left_mm, box.level_mm), (box.right_mm, box.level_mm)]
    drawing.line(surface, color=looks.SURFACE, linewidth=0.9, zorder=0.8)
    drawing.labels.line("", surface, 9.0)


def draw_surface_mark(drawing: Drawing, box: Box) -> None:
    """The mark of a free surface, where nothing else stands."""
    y = box.level_mm
    spots = [
        Spot(Rect.around((box.across(share), y + 0.9), 2.4, 1.8), abs(share - 0.5))
        for share in (0.5, 0.35, 0.65, 0.2, 0.8)
    ]
    x = drawing.labels.put(box.chamber, spots).box.centre[0]
    signs.draw_surface(drawing.axes, (x, y))


def draw_walls(drawing: Drawing, group: tuple[str, ...]) -> None:
    """Bottoms, outer walls up to the rims, and between chambers the walls up to their crests."""
    boxes = [drawing.layout.boxes[chamber] for chamber in group]
    for box in boxes:
        _wall(drawing, [(box.left_mm, box.bottom_mm), (box.right_mm, box.bottom_mm)])
    first, last = boxes[0], boxes[-1]
    _wall(drawing, [(first.left_mm, first.bottom_mm), (first.left_mm, first.rim_mm)])
    _wall(drawing, [(last.right_mm, last.bottom_mm), (last.right_mm, last.rim_mm)])
    for left, right in pairwise(boxes):
        _shared_wall(drawing, left, right)


def _wall(drawing: Drawing, points: list[Point]) -> None:
    look = {"color": looks.INK, "linewidth": WALL_PT, "solid_capstyle": "projecting"}
    drawing.line(points, zorder=3, **look)
    drawing.labels.line("", points, 14.0)


def _between(drawing: Drawing, left: Box, right: Box) -> dict[str, Gravity]:
    site, pair = drawing.plan.site, {left.chamber, right.chamber}
    return {
        k: p
        for k, p in site.gravity().items()
        if {p.from_, p.to} == pair and through_a_wall(site, p)
    }


def _shared_wall(drawing: Drawing, left: Box, right: Box) -> None:
    """The wall between two chambers, as high as what leads through it leaves it."""
    x, bottom = left.right_mm, min(left.bottom_mm, right.bottom_mm)
    rim = min(left.rim_mm, right.rim_mm)
    passages = _between(drawing, left, right).values()
    crests = [p for p in passages if isinstance(p, (Weir, Comb))]
    screens = [p for p in passages if isinstance(p, Screen)]
    tops = [drawing.y_mm(p.from_, p.crest) for p in crests]
    tops = tops or [drawing.y_mm(p.from_, p.top) for p in screens] or [rim]
    top = max(tops)
    _wall(drawing, [(x, bottom), (x, top)])
    if any(not isinstance(p, Weir) or p.kind == "weir" for p in crests):
        # beside the edge the wall goes on to the rim
        dots = {"color": looks.INK, "linewidth": 1.2, "linestyle": (0, (1, 1))}
        drawing.line([(x, top), (x, rim)], zorder=3, **dots)
    for screen in screens:
        low, high = (drawing.y_mm(screen.from_, h) for h in (screen.bottom, screen.top))
        drawing.axes.add_patch(
            Rectangle(
                (x - 0.9, low),
                1.8,
                high - low,
                facecolor=looks.PAPER,
                edgecolor=looks.INK,
                linewidth=0.6,
                hatch="xxxxxx",
                zorder=3.2,
            )
        )
    for passage in passages:
        if isinstance(passage, Hole):
            half = passage.diameter / 2
            heights = (passage.centre - half, passage.centre + half)
        elif isinstance(passage, UnderBaffle):
            heights = (passage.bottom, passage.bottom + passage.gap)
        else:
            continue
        low, high = (drawing.y_mm(passage.from_, height) for height in heights)
        opening = {"color": looks.WATER, "linewidth": WALL_PT + 0.8}
        drawing.line([(x, low), (x, high)], zorder=3.3, **opening)


def draw_wall_passages(drawing: Drawing) -> dict[str, Point]:
    """An arrow through each wall passage; returns where each of them is."""
    site, places = drawing.plan.site, {}
    for key, passage in site.gravity().items():
        if not through_a_wall(site, passage):
            continue
        source, to = (drawing.layout.boxes[c] for c in (passage.from_, passage.to))
        rightwards = source.left_mm < to.left_mm
        x = source.right_mm if rightwards else source.left_mm
        y = _water_way(drawing, passage, source)
        step = ARROW_MM if rightwards else -ARROW_MM
        end = x + step
        adjacent = source.right_mm == to.left_mm or source.left_mm == to.right_mm
        if not adjacent:
            end = (to.left_mm if rightwards else to.right_mm) + step
        tip = (end + step * 0.3, y)
        way = [(x - step, y), (end, y)]
        signs.draw_line(drawing.axes, way, drawing.kind(key), gid=f"way-{key}")
        signs.draw_head(drawing.axes, tip, (step / ARROW_MM, 0.0), drawing.colour(key), 1.8)
        drawing.labels.line(key, [(x - step, y), (end + step * 0.3, y)], 12.0)
        if isinstance(passage, (Weir, Comb)):
            crest = (x, drawing.y_mm(passage.from_, passage.crest))
            signs.draw_bar(drawing.axes, crest, looks.INK, gid=f"crest-{key}")
        places[key] = (x, y)
    return places


def _water_way(drawing: Drawing, passage: Gravity, source: Box) -> float:
    """The middle height of the water that goes through a wall, on paper."""
    edge = drawing.layout.y_mm(edge_m(drawing.plan.site, passage))
    if isinstance(passage, Hole):
        return edge
    if isinstance(passage, (Screen, UnderBaffle)):
        over = passage.top if isinstance(passage, Screen) else passage.bottom + passage.gap
        top = min(drawing.y_mm(passage.from_, over), source.level_mm)
        return (edge + max(edge, top)) / 2
    return max(edge + 0.9, (edge + source.level_mm) / 2)


def tag_wall_passage(drawing: Drawing, key: str, at: Point) -> None:
    """The tag and flow of a wall passage, beside it, with a thin line to it if far off."""
    flow = show.flow(drawing.plan.figures.running.flows_m3_s[key], drawing.plan.site.site.units)
    wide, high = tag_size(drawing.tags[key], flow)
    spots = []
    for up in (0.0, 3.4, -3.4, 5.5, 8.0, -6.0, 11.0, -9.0, 14.0, -12.0, 17.0):
        for side in (0.0, 1.0, -1.0):
            across = side * (wide / 2 + ARROW_MM + 1.6)
            if up == 0.0 == side:
                continue
            box = Rect.around((at[0] + across, at[1] + up), wide, high)
            spots.append(Spot(box, 0.5 * abs(up) + (1.0 if side else 0.0)))
    spot = drawing.put_tag(key, flow, spots)
    box = spot.box
    near = (min(max(at[0], box.left), box.right), min(max(at[1], box.bottom), box.top))
    if abs(near[0] - at[0]) + abs(near[1] - at[1]) > 3.6:
        drawing.line([near, at], color=looks.FAINT, linewidth=0.4, zorder=5)


def name_chamber(drawing: Drawing, box: Box) -> None:
    """The chamber's name and running level, inside it where there is room."""
    site = drawing.plan.site
    height = drawing.plan.figures.running.levels_m[box.chamber] - site.chambers[box.chamber].bottom
    level = show.length(height, site.site.units).replace(" ", looks.NO_BREAK)
    spots = _name_spots(box, site.label(box.chamber), level)
    spot = drawing.labels.put(box.chamber, spots)
    if spot.box.bottom > box.rim_mm:
        middle = spot.box.centre[0]
        leader = [(middle, spot.box.bottom), (middle, box.level_mm)]
        drawing.line(leader, color=looks.FAINT, linewidth=0.4, zorder=2)
    drawing.axes.text(
        *spot.box.centre,
        "\n".join(spot.lines),
        ha="center",
        va="center",
        rotation=90 if spot.upright else 0,
        linespacing=1.1,
        fontsize=looks.NAME_PT,
        zorder=9,
    )


def _inside(box: Box, x: float, wide: float) -> float:
    """The place nearest to `x` at which something so wide stands between the walls."""
    return min(max(x, box.left_mm + wide / 2), box.right_mm - wide / 2)


def _name_spots(box: Box, name: str, level: str) -> list[Spot]:
    """Where a chamber's name may stand: in it, broken into lines; over it; upright beside it."""
    wide, high = box.right_mm - box.left_mm, box.rim_mm - box.bottom_mm
    spots = []
    for upright, part in ((False, 1.0), (False, 0.6), (False, 0.35), (True, 1.0)):
        room = part * (high if upright else wide) - 1.4
        size = looks.NAME_PT
        lines = (*looks.wrapped(name, size, room), *looks.wrapped(level, size, room))
        length = max(looks.width_mm(line, size) for line in lines) + 0.6
        thick = looks.height_mm(size, len(lines)) + 0.4
        w, h = (thick, length) if upright else (length, thick)
        dislike = 7.0 * upright + 15.0 * (w > wide or h > high) + len(lines)
        for i in range(9):
            y = box.bottom_mm + 0.6 + h / 2 + (high - h - 0.6) * i / 8
            for share in (0.5, 0.35, 0.65, 0.2, 0.8):
                x = _inside(box, box.across(share), w + 0.8)
                worse = dislike + 0.6 * abs(i - 3) + abs(share - 0.5)
                spots.append(Spot(Rect.around((x, y), w, h), worse, upright, lines))
        middle = (box.bottom_mm + box.rim_mm) / 2
        if upright:
            for x in (box.left_mm - w / 2 - 0.8, box.right_mm + w / 2 + 0.8):
                spots.append(Spot(Rect.around((x, middle), w, h), 9.0, upright, lines))
        else:
            for up in (1.0, 4.0, 7.0):
                centre = (box.across(0.5), box.rim_mm + up + h / 2)
                spots.append(Spot(Rect.around(centre, w, h), 6.0 + up + len(lines), False, lines))
    return spots


def draw_float(drawing: Drawing, key: str, chamber: str, height_m: float) -> None:
    """A float: a small triangle at its height, and its letter."""
    box, y = drawing.layout.boxes[chamber], drawing.y_mm(chamber, height_m)
    tag = drawing.tags[key]
    wide = 3.2 + looks.width_mm(tag, looks.SMALL_PT)
    spots = []
    for share in (1.0, 0.0, 0.75, 0.25, 0.5):
        x = _inside(box, box.across(share), wide + 1.2)
        spots.append(Spot(Rect.around((x, y), wide, 2.4), 0.5 * (share not in (0.0, 1.0))))
    left = drawing.labels.put(chamber, spots).box.left
    signs.draw_float(drawing.axes, (left, y), gid=f"float-{key}")
    drawing.axes.text(
        left + 2.4,
        y,
        tag,
        va="center_baseline",
        fontsize=looks.SMALL_PT,
        fontweight="bold",
        color=looks.FLOAT,
        zorder=9,
    )
