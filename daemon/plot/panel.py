"""One graph on a page: its place, its heading, and labels that keep clear of each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from daemon.plot.looks import (
    FAINT,
    HEAD_PT,
    PAGE_MM,
    SMALL_PT,
    TEXT_PT,
    height_mm,
    width_mm,
    wrapped,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

LEFT_MM, BOTTOM_MM, ENDS_MM = 14.0, 12.0, 30.0
FLAG_MM = 3.4


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle on the page [mm], from its lower left corner."""

    left_mm: float
    bottom_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Flag:
    """A line at one place of the lower axis, named above the graph."""

    at: float
    text: str
    look: dict[str, Any]


@dataclass(frozen=True, slots=True)
class End:
    """What a curve or line is, said beside its right end at `at`, in the graph's units."""

    at: tuple[float, float]
    text: str
    colour: str


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Centres as near to `wanted` (rising) as they can be without overlap, from `low` to `high`.

    Where all do not fit they keep their order and overlap evenly.
    """
    squeeze = min(1.0, (high - low) / sum(sizes)) if sizes else 1.0
    sizes = [size * squeeze for size in sizes]

    def start(members: Sequence[int]) -> float:
        """Where a row of neighbours begins: where they are nearest to their wishes on average."""
        offset, wishes = 0.0, 0.0
        for i in members:
            wishes += wanted[i] - sizes[i] / 2 - offset
            offset += sizes[i]
        return max(low, min(wishes / len(members), high - offset))

    placed: list[list[int]] = []
    for i in range(len(sizes)):
        members = [i]
        while placed and start(placed[-1]) + sum(sizes[k] for k in placed[-1]) > start(members):
            members = placed.pop() + members
        placed.append(members)
    centres = []
    for members in placed:
        at = start(members)
        for i in members:
            centres.append(at + sizes[i] / 2)
            at += sizes[i]
    return centres


def rows_for(spans: Sequence[tuple[float, float]]) -> list[int]:
    """A row for each text (rising ends), so that none overlaps a text or a line beside it.

    The line of each rises at its end to its row, past the rows below: what reaches over the line
    of one before it must stand higher than that.
    """
    found: list[int] = []
    for start, _ in spans:
        under = [row for (_, end), row in zip(spans, found, strict=False) if end > start]
        found.append(max(under, default=-1) + 1)
    return found


class Panel:
    """A graph with a heading above, flags over it, and the names of its curves at the right."""

    def __init__(
        self,
        page: FigureBase,
        place: Place,
        name: str,
        *,
        heading: tuple[str, str],
        most: tuple[float, float],
        flags: Sequence[Flag] = (),
    ) -> None:
        """`heading` is a title and a line of figures; both axes begin at zero, end at `most`."""
        self.page, self.place, self.most = page, place, most
        figures = wrapped(heading[1], SMALL_PT, place.width_mm - 4.0)
        self._flags = sorted(flags, key=lambda flag: flag.at)
        self._spans = [self._span(flag) for flag in self._flags]
        self._rows = rows_for(self._spans)
        self._top_mm = 8.5 + height_mm(SMALL_PT, len(figures))
        self._top_mm += FLAG_MM * (max(self._rows, default=-1) + 1)
        box = (
            (place.left_mm + LEFT_MM) / PAGE_MM[0],
            (place.bottom_mm + BOTTOM_MM) / PAGE_MM[1],
            self.width_mm / PAGE_MM[0],
            self.height_mm / PAGE_MM[1],
        )
        self.axes: Axes = page.add_axes(box)
        self.axes.set_gid(name)
        self.axes.set_xlim(0.0, most[0])
        self.axes.set_ylim(0.0, most[1])
        self.axes.spines[["top", "right"]].set_visible(False)
        self._draw_heading(heading[0], figures)
        self._draw_flags()

    def _span(self, flag: Flag) -> tuple[float, float]:
        """From where to where a flag's text reaches, from the left end of the graph [mm]."""
        wide = width_mm(flag.text, SMALL_PT) + 1.2
        # it ends at its line, but does not leave the page at the left
        end = max(flag.at / self.most[0] * self.width_mm, wide - LEFT_MM)
        return end - wide, end

    @property
    def width_mm(self) -> float:
        """Width of the graph itself."""
        return self.place.width_mm - LEFT_MM - ENDS_MM

    @property
    def height_mm(self) -> float:
        """Height of the graph itself."""
        return self.place.height_mm - BOTTOM_MM - self._top_mm

    def _draw_heading(self, title: str, figures: Sequence[str]) -> None:
        left, top = self.place.left_mm, self.place.bottom_mm + self.place.height_mm
        for text, size, down, weight in (
            (title, HEAD_PT, 1.5, "bold"),
            ("\n".join(figures), SMALL_PT, 5.6, "normal"),
        ):
            self.page.text(
                (left + 2.0) / PAGE_MM[0],
                (top - down) / PAGE_MM[1],
                text,
                va="top",
                fontsize=size,
                fontweight=weight,
            )

    def _draw_flags(self) -> None:
        """Draw upright lines, each with its text above the graph in a row of its own if needed."""
        across = self.axes.get_xaxis_transform()
        for flag, span, row in zip(self._flags, self._spans, self._rows, strict=True):
            up = 1.0 + (FLAG_MM * row + 1.2) / self.height_mm
            self.axes.axvline(flag.at, **flag.look)
            self.axes.plot(
                [flag.at, flag.at],
                [1.0, up + 2.0 / self.height_mm],
                transform=across,
                clip_on=False,
                color=FAINT,
                linewidth=0.4,
            )
            self.axes.text(
                (span[1] - 0.6) * self.most[0] / self.width_mm,
                up,
                flag.text,
                transform=across,
                ha="right",
                va="bottom",
                fontsize=SMALL_PT,
                color=flag.look["color"],
            )

    def ends(self, ends: Sequence[End]) -> None:
        """Say what each curve is, beside its right end, in its colour."""
        ends = sorted(ends, key=lambda end: end.at[1])
        texts = [wrapped(end.text, SMALL_PT, ENDS_MM - 5.0) for end in ends]
        sizes = [height_mm(SMALL_PT, len(lines)) + 0.8 for lines in texts]
        wanted = [end.at[1] / self.most[1] * self.height_mm for end in ends]
        middles = spread(wanted, sizes, -4.0, self.height_mm + 3.0)
        for end, lines, wish, middle in zip(ends, texts, wanted, middles, strict=True):
            self.axes.plot(
                [end.at[0] / self.most[0], 1.0, 1.0 + 3.0 / self.width_mm],
                [wish / self.height_mm, wish / self.height_mm, middle / self.height_mm],
                transform=self.axes.transAxes,
                clip_on=False,
                color=end.colour,
                linewidth=0.5,
            )
            self.axes.text(
                1.0 + 3.6 / self.width_mm,
                middle / self.height_mm,
                "\n".join(lines),
                transform=self.axes.transAxes,
                va="center",
                linespacing=1.05,
                fontsize=SMALL_PT,
                color=end.colour,
            )

    def axis_names(self, across: str, up: str) -> None:
        """Name both axes, with their units."""
        self.axes.set_xlabel(across, fontsize=TEXT_PT, labelpad=3.0)
        self.axes.set_ylabel(up, fontsize=TEXT_PT, labelpad=2.5)
        self.axes.tick_params(length=2.0, pad=1.5)
