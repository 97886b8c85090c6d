"""A figure's rows: a name at the left, a scale beside it, and a strip of the shared time."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.report.axes import Scale, Window
from simulator.report.markup import Html, el, join
from simulator.report.told import Told

GUTTER_PX = 44
LABEL_PX = 12.5
"""Least distance between two lines of small print."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment that runs through the whole figure."""

    t_s: float
    kind: str


@dataclass(frozen=True, slots=True)
class Scene:
    """What every row of a figure shows: a night, its stretch in the figure, and the moments."""

    told: Told
    window: Window
    marks: tuple[Mark, ...]


def grid(scene: Scene, height_px: float) -> Html:
    """The lines of the hours or minutes, and the moments that matter."""
    window = scene.window
    lines = [
        el("line", class_="grid", x1=window.percent(t), x2=window.percent(t), y1=0, y2=height_px)
        for t, _ in window.clock_ticks()
    ]
    lines += [
        el(
            "line",
            class_=f"mark {mark.kind}",
            x1=window.percent(mark.t_s),
            x2=window.percent(mark.t_s),
            y1=0,
            y2=height_px,
        )
        for mark in scene.marks
        if window.holds(mark.t_s)
    ]
    return join(*lines)


def row(name: Html, gutter: Html, strip: Html, height_px: float, *, told: str, kind: str) -> Html:
    """One row; `told` says in words what the strip shows."""
    return el(
        "div",
        el("div", name, el("div", class_="read", aria_hidden="true"), class_="name"),
        el("svg", gutter, class_="gutter", width=GUTTER_PX, height=height_px, aria_hidden="true"),
        el(
            "svg",
            strip,
            class_="plot",
            width="100%",
            height=height_px,
            role="img",
            aria_label=told,
        ),
        class_=f"row {kind}",
    )


def gutter(scale: Scale) -> Html:
    """The numbers beside a strip."""
    ticks = [
        el("text", said, x=GUTTER_PX - 6, y=y + 3.5, text_anchor="end", class_="tick")
        for y, said in scale.ticks()
    ]
    return join(*ticks)


def ruled(scale: Scale) -> Html:
    """A faint line at every number."""
    return join(*(el("line", class_="grid", x1=0, x2="100%", y1=y, y2=y) for y, _ in scale.ticks()))


def time_axis(ticks: list[tuple[float, str]], window: Window, said: str, *, above: bool) -> Html:
    """A row of times; every other one may be left out where the page is narrow."""
    height = 20.0
    parts = []
    for i, (t_s, label) in enumerate(ticks):
        share = window.share(t_s)
        anchor = "start" if share < 0.03 else "end" if share > 0.97 else "middle"
        x, spare = window.percent(t_s), "spare" if i % 2 else None
        end = (height - 4, height) if above else (0.0, 4.0)
        parts.append(el("line", class_="rule", x1=x, x2=x, y1=end[0], y2=end[1]))
        y = 12 if above else 15
        parts.append(
            el("text", label, x=x, y=y, text_anchor=anchor, class_=f"tick {spare or ''}".strip())
        )
    edge = height if above else 0.5
    parts.append(el("line", class_="rule", x1=0, x2="100%", y1=edge, y2=edge))
    name = el("span", said, class_="axis")
    return row(name, Html(""), join(*parts), height, told=said, kind="times")


def lines_of_print(wanted: list[tuple[float, Html]], height_px: float) -> list[tuple[float, Html]]:
    """Moves lines of small print apart, so that none covers another; by their height [px]."""
    placed: list[tuple[float, Html]] = []
    floor = 9.0
    for y, said in sorted(wanted, key=lambda line: line[0]):
        at = max(y, floor)
        placed.append((at, said))
        floor = at + LABEL_PX
    ceiling = height_px - 2.0
    for i in range(len(placed) - 1, -1, -1):
        at, said = placed[i]
        placed[i] = (min(at, ceiling), said)
        ceiling = placed[i][0] - LABEL_PX
    return placed
