"""The picture of a campaign: water and stops by what kept watch, how soon faults are named."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import matplotlib.style
from matplotlib.figure import Figure

from daemon.campaign.table import KEEPERS
from daemon.plot.looks import (
    DOWN,
    DRY,
    FAINT,
    HEAD_PT,
    INCH_MM,
    INK,
    LINES,
    PAGE_MM,
    SMALL_PT,
    STYLE,
    SURFACE,
    TITLE_PT,
    UP,
)
from daemon.plot.sheet import DOTS_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TIMES: Final[tuple[tuple[float, str], ...]] = (
    (0.1, "0.1 s"),
    (1.0, "1 s"),
    (10.0, "10 s"),
    (60.0, "1 min"),
    (600.0, "10 min"),
    (3600.0, "1 h"),
    (36000.0, "10 h"),
)
LITTLE = 0.1  # what is less is nothing, on an axis that knows no nought
FAULTS_MOST = 30
NAMELESS: Final[dict[str, dict[str, Any]]] = {
    "svg": {"Date": None, "Creator": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}


def draw(result: Mapping[str, Any], title: str, kind: str) -> bytes:
    """A campaign's result as a picture: "svg", "png" or "pdf"; the same result, the same bytes."""
    with matplotlib.style.context(["default", STYLE]):
        figure = Figure(figsize=(PAGE_MM[0] / INCH_MM, PAGE_MM[1] / INCH_MM))
        figure.text(0.03, 0.955, title, fontsize=TITLE_PT, fontweight="bold")
        grid = figure.add_gridspec(
            2, 2, left=0.16, right=0.97, top=0.89, bottom=0.08, wspace=0.42, hspace=0.38
        )
        _water(figure.add_subplot(grid[0, 0]), result["beside"])
        _hours(figure.add_subplot(grid[1, 0]), result["beside"])
        _named(figure.add_subplot(grid[0, 1]), result["faults"])
        _lead(figure.add_subplot(grid[1, 1]), result["faults"])
        out = io.BytesIO()
        figure.savefig(out, format=kind, dpi=DOTS_INCH, metadata=NAMELESS[kind])
    return out.getvalue()


def _bars(axes: Axes, rows: list[tuple[str, float, str, str]], label: str) -> None:
    """Lying bars on an axis of powers of ten: name, value, what is written beside it, colour."""
    rows = rows[::-1]
    for place, (_, value, text, colour) in enumerate(rows):
        axes.barh(place, max(value, LITTLE), left=0.0, height=0.62, color=colour)
        axes.annotate(
            text,
            (max(value, LITTLE), place),
            xytext=(3.0, 0.0),
            textcoords="offset points",
            va="center",
            fontsize=SMALL_PT,
        )
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(lambda value, _place: f"{value:g}")
    most = max((value for _, value, _, _ in rows), default=1.0)
    axes.set_xlim(LITTLE, max(most, 1.0) * 30.0)
    axes.set_yticks(range(len(rows)), [name for name, _, _, _ in rows])
    axes.set_xlabel(label)
    _plain(axes)


def _time_axis(axes: Axes, times: Sequence[tuple[float, str]]) -> None:
    """Name round times on the lower axis, and none between."""
    axes.set_xticks([seconds for seconds, _ in times], [name for _, name in times])
    axes.set_xticks([], minor=True)


def _plain(axes: Axes) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _head(axes: Axes, text: str) -> None:
    axes.set_title(text, fontsize=HEAD_PT, fontweight="bold", loc="left", pad=8.0)


def _none(axes: Axes, text: str) -> None:
    axes.set_axis_off()
    axes.text(0.0, 0.5, text, fontsize=SMALL_PT, color=FAINT, transform=axes.transAxes)


def _water(axes: Axes, beside: Mapping[str, Any]) -> None:
    _head(axes, "Water on the floor, by what kept watch")
    if not beside:
        _none(axes, "no night was played with anything else")
        return
    rows = []
    for key, sums in beside.items():
        litres = sums["spilled_l"] + sums["leaked_l"]
        nights = f"{sums['spilled_nights']} over a rim"
        colour = DOWN if key == "guard" else SURFACE
        rows.append((KEEPERS[key], litres, f"{litres:.4g} l; nights: {nights}", colour))
    _bars(axes, rows, f"litres in {beside['guard']['nights']} nights, leaks and spills")


def _hours(axes: Axes, beside: Mapping[str, Any]) -> None:
    _head(axes, "Hours that a pump stood for nothing, and ran dry")
    if not beside:
        _none(axes, "no night was played with anything else")
        return
    rows = []
    for key, sums in beside.items():
        rows.append((KEEPERS[key], sums["needless_h"], f"{sums['needless_h']:.4g} h stood", UP))
        dry_h = sums["dry_s"] / 3600.0
        rows.append(("", dry_h, f"{dry_h:.4g} h dry", DRY))
    _bars(axes, rows, f"hours in {beside['guard']['nights']} nights")


def _named(axes: Axes, faults: Mapping[str, Any]) -> None:
    _head(axes, "From onset to the first alarm that names it")
    found = [(kind, sums) for kind, sums in faults.items() if sums["after"]]
    found.sort(key=lambda pair: pair[1]["after_s"]["median"])
    if not found:
        _none(axes, "no fault was named")
        return
    for place, (_, sums) in enumerate(shown := found[:FAULTS_MOST]):
        after = [max(seconds, LITTLE) for seconds in sums["after"]]
        axes.plot(after, [place] * len(after), "|", color=FAINT, markersize=5.0)
        spread = sums["after_s"]
        ends = (max(spread["median"], LITTLE), max(spread["nine_in_ten"], LITTLE))
        axes.plot(ends, (place, place), "-", color=DOWN, linewidth=1.6)
        axes.plot(ends[0], place, "o", color=DOWN, markersize=3.5)
    axes.set_xscale("log")
    names = [f"{kind} ({1.0 - sums['never_share']:.0%})" for kind, sums in shown]
    axes.set_yticks(range(len(shown)), names, fontsize=SMALL_PT)
    axes.invert_yaxis()
    _time_axis(axes, TIMES)
    axes.set_xlabel("dot: median, line: to nine in ten; in brackets how many are named at all")
    _plain(axes)


def _lead(axes: Axes, faults: Mapping[str, Any]) -> None:
    _head(axes, "From that alarm to the harm there would be with no guard")
    found = sorted(
        ((kind, sums["lead"]) for kind, sums in faults.items() if sums["lead"]),
        key=lambda pair: -len(pair[1]),
    )
    if not found:
        _none(axes, "no night did harm with no guard")
        return
    for (kind, lead), (colour, dashes, width) in zip(found, LINES, strict=False):
        shares = [(rank + 1) / len(lead) for rank in range(len(lead))]
        axes.step(lead, shares, where="post", color=colour, linestyle=dashes, linewidth=width)
        axes.plot([], [], color=colour, linestyle=dashes, linewidth=width, label=kind)
    axes.axvline(0.0, color=INK, linewidth=0.6)
    axes.set_xscale("symlog", linthresh=10.0)
    axes.set_ylim(0.0, 1.02)
    before = [(-seconds, f"-{name}") for seconds, name in reversed(TIMES[2:])]
    _time_axis(axes, [*before, (0.0, "0"), *TIMES[2:]])
    least, most = min(lead[0] for _, lead in found), max(lead[-1] for _, lead in found)
    axes.set_xlim(min(1.5 * least, -5.0), max(1.5 * most, 20.0))
    axes.set_xlabel("left of nought the alarm came after the harm")
    axes.set_ylabel("share of such faults")
    axes.legend(fontsize=SMALL_PT, frameon=False, loc="lower right")
    _plain(axes)
