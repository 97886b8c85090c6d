"""The pipes of the side view: drains, pumps and their branches, the top-off."""

from __future__ import annotations

from itertools import pairwise
from math import hypot

from daemon.plot import looks, signs
from daemon.plot.drawing import Drawing, tag_size
from daemon.plot.key import TOP_OFF
from daemon.plot.labels import Point, Rect, Spot
from daemon.plot.routes import Pipe
from rules.site import show
from rules.site.passages import Branch, Drain

PUMP_MM = 2.3


def _runs(pipe: Pipe) -> list[tuple[Point, Point]]:
    return [(a, b) for a, b in pairwise(pipe.corners) if a != b]


def draw_pipe(drawing: Drawing, pipe: Pipe) -> None:
    """One pipe, with bars at its mouth and outlet and an arrow in the direction of flow."""
    key, corners, axes = pipe.passage, list(pipe.corners), drawing.axes
    passage, kind, colour = drawing.plan.site.passages[key], drawing.kind(key), drawing.colour(key)
    look = signs.LOOKS[kind]
    # a pale edge: pumped pipes pass over the others, and no pipe melts into a wall
    edge = {"linewidth": look["linewidth"] + 2.0, "zorder": look["zorder"] - 0.1}
    drawing.line(corners, color=looks.PAPER, **edge)
    signs.draw_line(axes, corners, kind, gid=f"pipe-{key}")
    drawing.labels.line(key, corners, 12.0)
    (x0, y0), (x1, y1) = _runs(pipe)[-1]
    length = hypot(x1 - x0, y1 - y0)
    towards = ((x1 - x0) / length, (y1 - y0) / length)
    signs.draw_head(axes, (x1, y1), towards, colour, 2.0)
    if isinstance(passage, Drain):
        signs.draw_bar(axes, corners[0], colour, gid=f"mouth-{key}")
    if isinstance(passage, (Branch, Drain)):
        signs.draw_bar(axes, corners[-1], colour, gid=f"outlet-{key}")
    if isinstance(passage, Branch) and passage.siphon_break is not None:
        signs.draw_break(axes, (x1, drawing.y_mm(passage.to, passage.siphon_break)))


def draw_pump(drawing: Drawing, pump: str, at: Point) -> None:
    """A pump: a circle with a triangle, at the height of its intake."""
    (x, y), r = at, PUMP_MM
    drawing.axes.plot(
        [x],
        [y],
        marker="o",
        markersize=2 * r / looks.POINT_MM,
        markerfacecolor=looks.PAPER,
        markeredgecolor=looks.UP,
        markeredgewidth=1.2,
        zorder=7,
        gid=f"pump-{pump}",
    )
    signs.draw_head(drawing.axes, (x, y + r * 0.8), (0.0, 1.0), looks.UP, 1.5 * r)
    drawing.labels.taken.append(Rect.around(at, 2 * r, 2 * r))


def tag_pump(drawing: Drawing, pump: str, at: Point) -> None:
    """The pump's tag and its whole flow, beside it."""
    flow = show.flow(drawing.plan.figures.lift(pump).flow_m3_s, drawing.plan.site.site.units)
    wide, high = tag_size(drawing.tags[pump], flow)
    shift = PUMP_MM + 0.6
    places = [(shift + wide / 2, 0.0), (-shift - wide / 2, 0.0), (0.0, -shift - high / 2)]
    places += [(s * (shift + wide / 2), up) for up in (3.5, -3.5, 7.0) for s in (1.0, -1.0)]
    spots = [
        Spot(Rect.around((at[0] + x, at[1] + y), wide, high), 0.5 * i)
        for i, (x, y) in enumerate(places)
    ]
    drawing.put_tag(pump, flow, spots)


def draw_top_off(drawing: Drawing) -> list[Point]:
    """The way of the fresh water from the reservoir, dotted; returns its corners."""
    top_off = drawing.plan.site.top_off
    if top_off is None:
        return []
    layout = drawing.layout
    source, to = layout.boxes[top_off.reservoir], layout.boxes[top_off.to]
    over = max(source.rim_mm, to.rim_mm) + 2.0
    x0, x1 = source.across(0.3), to.across(0.84)
    corners = [(x0, source.level_mm - 4.0), (x0, over), (x1, over), (x1, to.rim_mm - 4.0)]
    signs.draw_line(drawing.axes, corners, "fresh", gid="top-off")
    signs.draw_head(drawing.axes, corners[-1], (0.0, -1.0), looks.UP, 1.8)
    drawing.labels.line(TOP_OFF, corners, 12.0)
    return corners


def tag_top_off(drawing: Drawing, corners: list[Point]) -> None:
    """The tag of the top-off, and what flows while its valve is open."""
    top_off = drawing.plan.site.top_off
    if top_off is not None:
        flow = show.flow(top_off.rate, drawing.plan.site.site.units)
        drawing.put_tag(TOP_OFF, flow, _spots_along(corners, *tag_size(TOP_OFF, flow)))


def tag_pipe(drawing: Drawing, key: str, pipe: Pipe) -> None:
    """The tag and flow of a pipe, on one of its runs."""
    flow = show.flow(drawing.plan.figures.running.flows_m3_s[key], drawing.plan.site.site.units)
    wide, high = tag_size(drawing.tags[key], flow)
    drawing.put_tag(key, flow, _spots_along(list(pipe.corners), wide, high))


def _spots_along(corners: list[Point], wide: float, high: float) -> list[Spot]:
    """Spots on the runs of a pipe: on level runs, on upright ones, there upright if need be."""
    spots = []
    for (x0, y0), (x1, y1) in pairwise(corners):
        level, length = y0 == y1, abs(x1 - x0) + abs(y1 - y0)
        for step in range(1, 12):
            share = step / 12.0
            centre = (x0 + share * (x1 - x0), y0 + share * (y1 - y0))
            dislike = 2.0 * abs(share - 0.5)
            if level:
                short = 20.0 if length < wide + 2.0 else 0.0
                spots.append(Spot(Rect.around(centre, wide, high), dislike + short))
                continue
            short = 20.0 if length < high + 2.0 else 0.0
            spots.append(Spot(Rect.around(centre, wide, high), dislike + short + 1.5))
            if length >= wide + 2.0:
                spots.append(Spot(Rect.around(centre, high, wide), dislike + 5.0, upright=True))
    return spots
