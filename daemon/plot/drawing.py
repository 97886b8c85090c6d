"""What every part of the side view draws on: the axes in mm of paper, the layout, the labels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matplotlib.patches import Rectangle

from daemon.plot import key as keys
from daemon.plot import looks, signs
from daemon.plot.labels import Labels, Point, Rect, Spot
from daemon.plot.layout import Layout, lay_out
from daemon.plot.panel import Place
from daemon.plot.routes import Piping, lanes, route

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from rules.plan import Plan

SCALE_MM = 13.0


def layout_of(plan: Plan, place: Place) -> Layout:
    """The layout of a site in `place`, with room for the scale of heights at its left."""
    inside = Place(
        place.left_mm + SCALE_MM, place.bottom_mm, place.width_mm - SCALE_MM, place.height_mm
    )
    return lay_out(plan.site, plan.figures.running.levels_m, inside, lanes(plan.site))


@dataclass(frozen=True, slots=True)
class Drawing:
    """The side view while it is being drawn."""

    axes: Axes
    plan: Plan
    place: Place
    layout: Layout
    piping: Piping
    labels: Labels
    tags: dict[str, str]

    @classmethod
    def of(cls, axes: Axes, plan: Plan, place: Place) -> Drawing:
        """Find the place of everything; nothing is drawn yet."""
        layout = layout_of(plan, place)
        piping, inside = route(plan.site, layout), layout.place
        paper = Rect(
            inside.left_mm - 2.0,
            inside.bottom_mm - 2.0,
            inside.left_mm + inside.width_mm + 2.0,
            inside.bottom_mm + inside.height_mm,
        )
        return cls(axes, plan, place, layout, piping, Labels(paper), keys.tags(plan.site))

    def dry(self, passage: str) -> bool:
        """Whether no water goes this way while all runs."""
        return abs(self.plan.figures.running.flows_m3_s[passage]) < keys.DRY_M3_S

    def kind(self, passage: str) -> str:
        """How a passage is drawn: one of `signs.LOOKS`."""
        if passage not in self.plan.site.gravity():
            return "up"
        return "dry" if self.dry(passage) else "down"

    def colour(self, passage: str) -> str:
        """The colour of a passage."""
        colour: str = signs.LOOKS[self.kind(passage)]["color"]
        return colour

    def y_mm(self, chamber: str, height_m: float) -> float:
        """A height above a chamber's bottom, on paper."""
        return self.layout.y_mm(self.plan.site.chambers[chamber].above_datum_m(height_m))

    def line(self, points: list[Point], **look: Any) -> None:
        """Draw a line of straight runs."""
        xs, ys = [x for x, _ in points], [y for _, y in points]
        self.axes.plot(xs, ys, **{"solid_capstyle": "butt", "solid_joinstyle": "round", **look})

    def put_tag(self, owner: str, text: str, spots: list[Spot]) -> Spot:
        """Write a tag and a text at the best of some spots of `tag_size`."""
        spot = self.labels.put(owner, spots)
        (x, y), tag = spot.box.centre, self.tags.get(owner, owner)
        width = spot.box.top - spot.box.bottom if spot.upright else spot.box.right - spot.box.left
        tag_mm = tag_width(tag)
        along = (0.0, 1.0) if spot.upright else (1.0, 0.0)
        self.axes.add_patch(_backing(spot.box))
        start = -width / 2 + tag_mm / 2
        signs.draw_tag(self.axes, (x + along[0] * start, y + along[1] * start), tag)
        after = -width / 2 + tag_mm + 0.5
        self.axes.text(
            x + along[0] * after,
            y + along[1] * after,
            text,
            ha="center" if spot.upright else "left",
            va="bottom" if spot.upright else "center_baseline",
            rotation=90 if spot.upright else 0,
            fontsize=looks.SMALL_PT,
            color=self.colour(owner),
            zorder=9,
        )
        return spot


def tag_width(tag: str) -> float:
    """How wide a tag is with its frame [mm]."""
    return looks.width_mm(tag, looks.SMALL_PT) + 1.9


def tag_size(tag: str, text: str) -> tuple[float, float]:
    """Width and height of a tag with a text behind it [mm]."""
    return tag_width(tag) + looks.width_mm(text, looks.SMALL_PT) + 1.4, 3.2


def _backing(box: Rect) -> Rectangle:
    return Rectangle(
        (box.left, box.bottom),
        box.right - box.left,
        box.top - box.bottom,
        facecolor=looks.PAPER,
        edgecolor="none",
        zorder=8,
    )
