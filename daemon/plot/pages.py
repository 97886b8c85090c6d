"""What stands on which page: first the plumbing and its key, then the graphs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import ceil
from typing import TYPE_CHECKING

from daemon.plot import key as keys
from daemon.plot import looks
from daemon.plot.curves import draw_drains
from daemon.plot.drawing import layout_of
from daemon.plot.lifting import draw_pump
from daemon.plot.looks import PAGE_MM
from daemon.plot.panel import Place
from daemon.plot.plumbing import draw_plumbing
from rules.hydraulics.network import Hydraulics

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

    from rules.plan import Plan

MARGIN_MM, TITLE_MM, FOOT_MM = 9.0, 14.0, 12.0
BODY = Place(MARGIN_MM, FOOT_MM, PAGE_MM[0] - 2 * MARGIN_MM, PAGE_MM[1] - TITLE_MM - FOOT_MM)
KEY_MM, KEY_GAP_MM, KEYS_ABREAST = 89.0, 5.0, 3
GRAPHS_MOST = 6
NAME_MOST_MM, BOLD_WIDER = 165.0, 1.15

GRAPHS_FOOT = (
    "Circle: where it runs. Shaded band: how far a curve may be off. Hatched: all drains together "
    "carry less than the return flow, so the level rises.\n"
    "Drains are taken with the narrowest bore that the pipe's standard allows; the figures beside "
    "their curves are at the allowed level."
)


@dataclass(frozen=True, slots=True)
class Page:
    """A page: what it is about, how to draw it, and the small print at its foot."""

    about: str
    draw: Callable[[FigureBase], None]
    foot: str


def paper(page: FigureBase) -> Axes:
    """Axes over the whole page that count in mm from its lower left corner."""
    axes = page.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, PAGE_MM[0])
    axes.set_ylim(0.0, PAGE_MM[1])
    axes.set_axis_off()
    return axes


def _plumbing_foot(*, widths_true: bool) -> str:
    scale = "Drawn to scale" if widths_true else "Heights are drawn to scale, widths only roughly"
    return f"{scale}. A number in a ring and a flow: a way for the water; the key says which."


def _plumbing(plan: Plan) -> list[Page]:
    """The plumbing with its key beside it, or on pages of its own where that is long."""
    beside = Place(BODY.left_mm + BODY.width_mm - KEY_MM, BODY.bottom_mm, KEY_MM, BODY.height_mm)
    columns = keys.columns(keys.rows(plan), beside)
    short = len(columns) == 1
    room = BODY.width_mm - (KEY_MM + KEY_GAP_MM if short else 0.0)
    view = Place(BODY.left_mm, BODY.bottom_mm, room, BODY.height_mm)
    widths_true = layout_of(plan, view).widths_true

    def draw(page: FigureBase) -> None:
        axes = paper(page)
        draw_plumbing(axes, plan, view)
        if short:
            keys.draw_column(axes, beside, columns[0])

    def draw_keys(shown: Sequence[list[keys.Lines]], page: FigureBase) -> None:
        axes, step = paper(page), (BODY.width_mm + KEY_GAP_MM) / KEYS_ABREAST
        for i, column in enumerate(shown):
            left = BODY.left_mm + i * step
            keys.draw_column(axes, Place(left, BODY.bottom_mm, KEY_MM, BODY.height_mm), column)

    about = "the plumbing from the side, with the levels while all runs"
    found = [Page(about, draw, _plumbing_foot(widths_true=widths_true))]
    if not short:
        for i in range(0, len(columns), KEYS_ABREAST):
            part = columns[i : i + KEYS_ABREAST]
            found.append(Page("key to the plumbing", partial(draw_keys, part), ""))
    return found


def _grid(count: int) -> tuple[int, int]:
    """Columns and rows of as many graphs on a page."""
    if count <= 2:
        return 2, 1
    return (2, 2) if count <= 4 else (3, 2)


def _graphs(plan: Plan) -> list[Page]:
    """The drains of every drained chamber, then every pump; up to six on a page."""
    least = Hydraulics(plan.site, bore="least")
    draws: list[Callable[[FigureBase, Place], None]] = []
    for drained in plan.figures.drained:
        draws.append(partial(draw_drains, plan, least, drained))
    for pump in plan.site.pumps:
        draws.append(partial(draw_pump, plan, least, pump))
    sheets = ceil(len(draws) / GRAPHS_MOST)
    each = ceil(len(draws) / sheets)
    found = []
    for first in range(0, len(draws), each):
        shown = draws[first : first + each]
        found.append(Page("what drains and pumps can do", partial(_place_all, shown), GRAPHS_FOOT))
    return found


def _place_all(draws: Sequence[Callable[[FigureBase, Place], None]], page: FigureBase) -> None:
    across, down = _grid(len(draws))
    wide, high = BODY.width_mm / across, BODY.height_mm / down
    for i, draw in enumerate(draws):
        left = BODY.left_mm + (i % across) * wide
        bottom = BODY.bottom_mm + BODY.height_mm - (i // across + 1) * high
        draw(page, Place(left, bottom, wide - 3.0, high - 2.0))


def pages(plan: Plan) -> list[Page]:
    """All pages of a plan."""
    return [*_plumbing(plan), *_graphs(plan)]


def draw_page(page: FigureBase, plan: Plan, what: Page, number: int, count: int) -> None:
    """Draw one page with its title and small print."""
    name = plan.site.site.name
    left, top = MARGIN_MM / PAGE_MM[0], 1.0 - 9.5 / PAGE_MM[1]
    # bold letters are wider than those that are measured
    wide = looks.width_mm(name, looks.TITLE_PT) * BOLD_WIDER
    size = looks.TITLE_PT * min(1.0, NAME_MOST_MM / wide)
    page.text(left, top, name, fontsize=size, fontweight="bold")
    after = min(wide, NAME_MOST_MM) + 5.0
    page.text(left + after / PAGE_MM[0], top, what.about, fontsize=looks.HEAD_PT)
    page.text(1.0 - left, top, f"{number} of {count}", fontsize=looks.SMALL_PT, ha="right")
    page.text(left, 4.0 / PAGE_MM[1], what.foot, fontsize=looks.SMALL_PT, linespacing=1.3)
    what.draw(page)
