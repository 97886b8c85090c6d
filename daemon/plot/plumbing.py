"""The plumbing from the side: chambers at their true heights, water, pipes, floats and flows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from daemon.plot import pipes, tanks
from daemon.plot.drawing import Drawing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from daemon.plot.panel import Place
    from rules.plan import Plan


def draw_plumbing(axes: Axes, plan: Plan, place: Place) -> Drawing:
    """Draw the side view of a site on axes that count in mm of paper."""
    drawing = Drawing.of(axes, plan, place)
    layout, piping = drawing.layout, drawing.piping
    tanks.draw_scale(drawing)
    for box in layout.boxes.values():
        tanks.draw_water(drawing, box)
    for tier in layout.tiers:
        for group in tier:
            tanks.draw_walls(drawing, group)
    through = tanks.draw_wall_passages(drawing)
    for pipe in piping.pipes.values():
        pipes.draw_pipe(drawing, pipe)
    for pump, at in piping.pumps.items():
        pipes.draw_pump(drawing, pump, at)
    fresh = pipes.draw_top_off(drawing)
    for key, sensor in plan.site.floats().items():
        tanks.draw_float(drawing, key, sensor.chamber, sensor.height)
    # what has the fewest places comes first
    for key, at in through.items():
        tanks.tag_wall_passage(drawing, key, at)
    for pump, at in piping.pumps.items():
        pipes.tag_pump(drawing, pump, at)
    for box in sorted(layout.boxes.values(), key=lambda b: b.right_mm - b.left_mm):
        tanks.name_chamber(drawing, box)
    pipes.tag_top_off(drawing, fresh)
    for key, pipe in piping.pipes.items():
        pipes.tag_pipe(drawing, key, pipe)
    for box in layout.boxes.values():
        tanks.draw_surface_mark(drawing, box)
    return drawing
