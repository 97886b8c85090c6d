"""Curves: as few points as show the same line, whatever the distance between the samples."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from math import isfinite

from simulator.report.axes import Scale, Window
from simulator.report.markup import Html, el, number

BUCKETS = 220
"""Columns of a strip: of the samples in one, the first, least, greatest and last are kept."""

WIDE = 1000.0
"""A strip's own width; it is stretched to that of the page."""

NEAR_PX = 0.35
"""A point is left out where the line between its neighbours passes so near to it."""

Point = tuple[float, float]


def _within(t_s: Sequence[float], values: Sequence[float], window: Window) -> list[Point]:
    """The samples of a window, and the one before and after it."""
    first = max(0, bisect_left(t_s, window.from_s) - 1)
    last = min(len(t_s), bisect_right(t_s, window.to_s) + 1)
    return list(zip(t_s[first:last], values[first:last], strict=True))


def _extremes(points: list[Point], buckets: int) -> list[Point]:
    """The first, least, greatest and last point of each of `buckets` columns."""
    if len(points) <= 2 * buckets:
        return points
    start, span = points[0][0], points[-1][0] - points[0][0]
    columns: dict[int, list[Point]] = {}
    for point in points:
        columns.setdefault(int((point[0] - start) / span * buckets), []).append(point)
    kept: list[Point] = []
    for column in columns.values():
        least, most = min(column, key=lambda p: p[1]), max(column, key=lambda p: p[1])
        kept += sorted({column[0], least, most, column[-1]})
    return kept


def _straightened(points: list[Point], near: float) -> list[Point]:
    """The points without those that a straight line passes within `near`: a swinging door."""
    if len(points) < 3:
        return points
    kept = [points[0]]
    low, high = float("-inf"), float("inf")
    for before, point in pairwise(points[1:]):
        run = before[0] - kept[-1][0]
        if run > 0:
            low = max(low, (before[1] - near - kept[-1][1]) / run)
            high = min(high, (before[1] + near - kept[-1][1]) / run)
        ahead = point[0] - kept[-1][0]
        slope = (point[1] - kept[-1][1]) / ahead if ahead > 0 else float("inf")
        if not low <= slope <= high or run <= 0:
            kept.append(before)
            low, high = float("-inf"), float("inf")
    return [*kept, points[-1]]


def _pieces(points: Iterable[Point]) -> Iterator[list[Point]]:
    """The stretches in which every value is a number."""
    piece: list[Point] = []
    for point in points:
        if isfinite(point[1]):
            piece.append(point)
        elif piece:
            yield piece
            piece = []
    if piece:
        yield piece


def thinned(
    t_s: Sequence[float], values: Sequence[float], window: Window, near: float
) -> list[list[Point]]:
    """The line through the samples of a window, as pieces of few points; `near` is in its unit."""
    return [
        _straightened(_extremes(piece, BUCKETS), near)
        for piece in _pieces(_within(t_s, values, window))
    ]


def near(scale: Scale) -> float:
    """What cannot be told apart on a strip, in the unit of its values."""
    return NEAR_PX * (scale.high - scale.low) / scale.height_px


def _x(t_s: float, window: Window) -> str:
    return f"{(t_s - window.from_s) / (window.to_s - window.from_s) * WIDE:.1f}"


def _drawn(points: list[Point], window: Window, scale: Scale) -> str:
    """Points as the words of a path."""
    return "M" + "L".join(f"{_x(t, window)} {number(round(scale.y(v), 1))}" for t, v in points)


def bare(pieces: list[list[Point]], window: Window, scale: Scale, kind: str) -> Html:
    """A line to look at only."""
    return el("path", class_=kind, d="".join(_drawn(piece, window, scale) for piece in pieces))


def path(pieces: list[list[Point]], window: Window, scale: Scale, name: str, kind: str) -> Html:
    """A line; its data let the cursor say the value under it, in the unit of the page."""
    factor = scale.measure.factor
    at_0, at_1 = scale.y(scale.low), scale.y(scale.high)
    per_px = (scale.high - scale.low) * factor / (at_1 - at_0)
    return el(
        "path",
        class_=f"line {kind}",
        d="".join(_drawn(piece, window, scale) for piece in pieces),
        data_name=name,
        data_zero=f"{scale.low * factor - per_px * at_0:.5g}",
        data_px=f"{per_px:.5g}",
        data_unit=scale.measure.name,
    )


def area(upper: list[Point], lower: list[Point], window: Window, scale: Scale, kind: str) -> Html:
    """What lies between two lines."""
    points = [*upper, *reversed(lower)]
    return el("path", class_=kind, d=_drawn(points, window, scale) + "Z") if points else Html("")


def stretched(height_px: float, *inside: str) -> Html:
    """A drawing of curves, stretched to whatever width there is."""
    return el(
        "svg",
        *inside,
        class_="curves",
        viewBox=f"0 0 {WIDE:.0f} {number(height_px)}",
        width="100%",
        height=height_px,
        preserveAspectRatio="none",
    )


def runs(
    t_s: Sequence[float], on: Sequence[float], moments: Sequence[float]
) -> list[tuple[float, float]]:
    """When something was on [s]. A change between two samples is put at the first of `moments`,
    the times at which anything was decided, that lies between them; else at the later sample.
    """
    found: list[tuple[float, float]] = []
    since: float | None = None
    before = float("-inf")
    for when, state in zip(t_s, on, strict=True):
        if (state >= 0.5) is (since is None):
            turned = next((m for m in moments if before < m <= when), when)
            if since is None:
                since = turned
            else:
                found.append((since, turned))
                since = None
        before = when
    if since is not None:
        found.append((since, t_s[-1]))
    return found
