"""The signs of the side view, drawn alike in the drawing and in its key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from daemon.plot import looks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from daemon.plot.labels import Point

LOOKS: Final[dict[str, dict[str, Any]]] = {
    "down": {"color": looks.DOWN, "linewidth": 1.5, "zorder": 4.6},
    "dry": {"color": looks.DRY, "linewidth": 1.1, "linestyle": (0, (3, 1.6)), "zorder": 4.6},
    "up": {"color": looks.UP, "linewidth": 2.6, "zorder": 5.1},
    "fresh": {"color": looks.UP, "linewidth": 1.0, "linestyle": (0, (1, 1.4)), "zorder": 5.1},
}
"""Lines for water that runs down, ways that are dry, pumped water, and fresh water."""
HOLLOW_PT: Final = 1.1

SIGNS: Final = {
    "down": "water runs down here now",
    "dry": "dry on a good day",
    "up": "the pump lifts water here",
    "fresh": "fresh water, only while the top-off valve is open",
    "level": "level while all runs; its height above the chamber's bottom stands under the name",
    "float": "float, at the height where it turns",
    "bar": "crest, mouth or outlet",
    "break": "siphon break",
}


def draw_line(axes: Axes, points: Sequence[Point], kind: str, **more: Any) -> None:
    """A line of one kind of `LOOKS`; a pumped one is hollow, so that it needs no colour."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    style = {"solid_capstyle": "butt", "solid_joinstyle": "miter", **LOOKS[kind]}
    axes.plot(xs, ys, **style, **more)
    if kind == "up":
        core = {"color": looks.PAPER, "linewidth": HOLLOW_PT, "zorder": style["zorder"] + 0.1}
        axes.plot(xs, ys, **{**style, **core})


def draw_head(axes: Axes, tip: Point, towards: Point, colour: str, size_mm: float) -> None:
    """A filled arrow head with its point at `tip`."""
    (x, y), (dx, dy) = tip, towards
    base = (x - dx * size_mm, y - dy * size_mm)
    side = (-dy * size_mm * 0.42, dx * size_mm * 0.42)
    axes.fill(
        [x, base[0] + side[0], base[0] - side[0]],
        [y, base[1] + side[1], base[1] - side[1]],
        color=colour,
        linewidth=0,
        zorder=7,
    )


def draw_surface(axes: Axes, at: Point) -> None:
    """The mark of a free surface: an open triangle on it."""
    x, y = at
    axes.fill(
        [x - 1.0, x + 1.0, x],
        [y + 1.6, y + 1.6, y],
        facecolor=looks.PAPER,
        edgecolor=looks.SURFACE,
        linewidth=0.7,
        zorder=4,
    )


def draw_float(axes: Axes, tip: Point, **more: Any) -> None:
    """A float: a filled triangle that points to the left, its height at its point."""
    x, y = tip
    axes.fill(
        [x, x + 1.9, x + 1.9],
        [y, y + 1.1, y - 1.1],
        color=looks.FLOAT,
        linewidth=0,
        zorder=8,
        **more,
    )


def draw_bar(axes: Axes, at: Point, colour: str, **more: Any) -> None:
    """A short bar at a height."""
    x, y = at
    axes.plot([x - 1.3, x + 1.3], [y, y], color=colour, linewidth=1.1, zorder=6, **more)


def draw_break(axes: Axes, at: Point) -> None:
    """A siphon break: a small hole in the pipe."""
    axes.plot(
        [at[0]],
        [at[1]],
        marker="o",
        markersize=2.6,
        markerfacecolor=looks.PAPER,
        markeredgecolor=looks.UP,
        markeredgewidth=0.8,
        zorder=7,
    )


def draw_tag(axes: Axes, centre: Point, tag: str) -> None:
    """A tag: the numbers of ways in a round frame, floats and the rest in none."""
    numbered = tag[0].isdigit()
    colour = looks.INK if numbered else looks.FLOAT if tag[0].islower() else looks.UP
    shape = "circle,pad=0.16" if len(tag) == 1 else "round,pad=0.2,rounding_size=0.7"
    frame = {"boxstyle": shape, "fc": looks.PAPER, "ec": colour, "linewidth": 0.6}
    axes.text(
        *centre,
        tag,
        ha="center",
        va="center_baseline",
        fontsize=looks.SMALL_PT - 0.6,
        fontweight="bold",
        color=colour,
        bbox=frame if numbered else None,
        zorder=9,
    )


def draw_sign(axes: Axes, centre: Point, sign: str) -> None:
    """One sign of the key."""
    x, y = centre
    match sign:
        case "level":
            draw_surface(axes, (x, y - 0.7))
            axes.plot([x - 2.4, x + 2.4], [y - 0.7, y - 0.7], color=looks.SURFACE, linewidth=0.9)
        case "float":
            draw_float(axes, (x - 1.0, y))
        case "bar":
            draw_bar(axes, centre, looks.INK)
        case "break":
            draw_line(axes, [(x - 2.4, y), (x + 2.4, y)], "up")
            draw_break(axes, centre)
        case _:
            draw_line(axes, [(x - 2.4, y), (x + 1.4, y)], sign)
            draw_head(axes, (x + 2.6, y), (1.0, 0.0), LOOKS[sign]["color"], 1.8)
