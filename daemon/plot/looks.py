"""What all drawings share: paper, colours, line styles, sizes of text, and units on an axis."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from rules.site.show import GALLON_M3, INCH_M, Units

PAGE_MM: Final = (297.0, 210.0)
"""A4 on its side; it fits letter paper as well."""
INCH_MM: Final = 25.4
POINT_MM: Final = INCH_MM / 72.0

FONTS: Final = ["DejaVu Sans"]

INK: Final = "#1c1c1c"
FAINT: Final = "#8a8a8a"
PAPER: Final = "#ffffff"
WATER: Final = "#dbe9f2"
SURFACE: Final = "#2f6f9f"
DOWN: Final = "#12507b"
DRY: Final = "#b4560b"
UP: Final = "#6a2c70"
FLOAT: Final = "#8c1c13"

TITLE_PT: Final = 12.0
HEAD_PT: Final = 8.5
TEXT_PT: Final = 7.0
NAME_PT: Final = 6.6
SMALL_PT: Final = 6.2

Line = tuple[str, Any, float]
"""Colour, dashes and width [points] of a line."""

LINES: Final[tuple[Line, ...]] = (
    ("#12507b", "-", 1.3),
    ("#3c7a3a", (0, (7, 2, 1.5, 2)), 1.3),
    ("#b4560b", (0, (3.5, 2)), 1.3),
    ("#6a2c70", (0, (1, 1.6)), 1.3),
    ("#7a7a00", (0, (9, 2, 1.5, 2, 1.5, 2)), 1.3),
)
"""The first, second, ... drain of a chamber; told apart without colour."""

SUM: Final[Line] = (INK, "-", 2.0)
SUM_WITH_SPARE: Final[Line] = (INK, (0, (5, 1.5)), 1.7)

OPERATING_POINT: Final[dict[str, Any]] = {
    "marker": "o",
    "markersize": 6.5,
    "markerfacecolor": PAPER,
    "markeredgecolor": INK,
    "markeredgewidth": 1.5,
    "linestyle": "none",
    "zorder": 6,
    "clip_on": False,
}

STYLE: Final = {
    "font.family": FONTS,
    "font.size": TEXT_PT,
    "axes.linewidth": 0.6,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "text.parse_math": False,
    "xtick.labelsize": TEXT_PT,
    "ytick.labelsize": TEXT_PT,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.35,
    "svg.hashsalt": "weirkeeper",
    "svg.fonttype": "none",
}
"""Settings of the drawing library; the salt makes the same plan give the same bytes."""


NO_BREAK: Final = "\u00a0"


@dataclass(frozen=True, slots=True)
class Measure:
    """A unit in which an axis counts: SI times `factor` gives numbers of it."""

    factor: float
    name: str


def heights(units: Units) -> Measure:
    """The unit of heights inside a site."""
    return Measure(1.0 / INCH_M, "in") if units is Units.US else Measure(1000.0, "mm")


def heads(units: Units) -> Measure:
    """The unit of a pump's head, as catalogues give it."""
    return Measure(1.0 / (12.0 * INCH_M), "ft") if units is Units.US else Measure(1.0, "m")


def flows(units: Units) -> Measure:
    """The unit of flows."""
    if units is Units.US:
        return Measure(3600.0 / GALLON_M3, "gal/h")
    return Measure(60000.0, "l/min")


@functools.lru_cache(maxsize=2000)
def width_mm(text: str, size_pt: float) -> float:
    """How wide a line of text is on paper [mm]."""
    font = FontProperties(family=FONTS, size=size_pt)
    points: float = text_to_path.get_text_width_height_descent(text, font, ismath=False)[0]
    return points * POINT_MM


def height_mm(size_pt: float, lines: int = 1) -> float:
    """How high some lines of text are on paper [mm]."""
    return 1.25 * size_pt * lines * POINT_MM


def wrapped(text: str, size_pt: float, room_mm: float) -> list[str]:
    """`text` in lines that fit `room_mm`; a word that is longer has a line of its own.

    A number and its unit stay together where a no-break space joins them.
    """
    lines: list[str] = []
    for word in filter(None, text.split(" ")):
        if lines and width_mm(f"{lines[-1]} {word}", size_pt) <= room_mm:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return [line.replace(NO_BREAK, " ") for line in lines] or [""]
