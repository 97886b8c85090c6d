"""The index of a report: every drill with its verdict and what came of it, group by group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.site import show
from rules.site.model import Site
from simulator.report import axes, curves, wording
from simulator.report.axes import Scale, Window
from simulator.report.figure import close_up, whole
from simulator.report.markup import Html, el, join
from simulator.report.page import document, patterns, stamp
from simulator.report.told import KEEPERS, Told
from simulator.story.drill import GROUPS

SPARK_PX = 44.0
SPARK_WIDE_PX = 150


@dataclass(frozen=True, slots=True)
class Line:
    """One drill in the index; `file` is None where there is no page to lead to.

    `failed` is the first statement that did not hold, with what was seen.
    """

    title: str
    group: str
    file: str | None
    cells: tuple[tuple[str, Html], ...]
    held: bool | None
    failed: str
    floor_m3: dict[str, float]


def line(told: Told, file: str) -> Line:
    """A drill that was run; what it takes from the nights is small, so that they can be let go."""
    units = told.site.site.units
    guard = told.guard
    to_cut = guard.cause_to_cut_s
    failed = next((f"{f.statement}: {f.detail}" for f in guard.findings if not f.held), "")
    cells: list[tuple[str, Html]] = [
        ("verdict", stamp(guard)),
        ("cause to cut", Html("no cut" if to_cut is None else show.duration(to_cut))),
    ]
    floors = {keeper: wording.floor_m3(told.nights[keeper]) for keeper in told.keepers}
    if told.foremost is None:
        cells.append(("level", Html("a recording: no water")))
        return Line(told.drill.title, told.group, file, tuple(cells), guard.passed, failed, {})
    for keeper, volume in floors.items():
        kind = "dry" if wording.water(volume, units) == "nothing" else "wet"
        cells.append(
            (
                f"floor, {KEEPERS[keeper].name}",
                el("span", wording.water(volume, units), class_=kind),
            )
        )
    cells.append((f"level of the {told.site.label(told.foremost)}", spark(told, told.foremost)))
    return Line(told.drill.title, told.group, file, tuple(cells), guard.passed, failed, floors)


def not_here(title: str, group: str, why: str) -> Line:
    """A drill that is about something this site lacks."""
    cells = (("verdict", el("span", f"not on this site: {why}", class_="faint")),)
    return Line(title, group, None, cells, None, "", {})


def spark(told: Told, chamber: str) -> Html:
    """The level of a chamber in every night, against its rim."""
    window = _spark_window(told)
    seen = [
        level
        for course in told.courses.values()
        for t, level in zip(course.t_s, course.level_m(chamber), strict=False)
        if window.holds(t)
    ]
    rim = told.site.chambers[chamber].rim
    low = min(seen, default=0.0)
    scale = Scale(low - 0.1 * (rim - low), max(rim, *seen) + 1e-4, SPARK_PX, axes.Measure(1.0, ""))
    paths = [
        curves.bare(curves.thinned(course.t_s, course.level_m(chamber), window,
                                   3 * curves.near(scale)), window, scale, f"line {keeper}")
        for keeper, course in reversed(list(told.courses.items()))
    ]  # fmt: skip
    y = scale.y(rim)
    words = f"level of the {told.site.label(chamber)} in every night, up to its rim"
    return el(
        "svg",
        el("title", words),
        el("line", class_="rim", x1=0, x2="100%", y1=y, y2=y),
        curves.stretched(SPARK_PX, *paths),
        class_="spark",
        width=SPARK_WIDE_PX,
        height=SPARK_PX,
        role="img",
        aria_label=words,
    )


def _spark_window(told: Told) -> Window:
    """The close-up, or the whole night where there is none or the floor is wet only later."""
    close = close_up(told)
    wet = [t for course in told.courses.values() if (t := course.first_wet_s) is not None]
    if close is None or not all(close[1].holds(t_s) for t_s in wet):
        return whole(told)
    return close[1]


def index_page(site: Site, lines: Sequence[Line], seed: int, count: int) -> str:
    """The index of as many drills as have been run, of `count`."""
    known = [group for group in GROUPS if any(found.group == group for found in lines)]
    groups = list(dict.fromkeys([*known, *(found.group for found in lines)]))
    return document(
        f"Drills — {site.site.name}",
        patterns(),
        el(
            "main",
            el("header", el("h1", f"Drills on {site.site.name}"), _gist(site, lines, seed, count)),
            *(_group(group, [x for x in lines if x.group == group]) for group in groups),
            class_="index",
        ),
        script=False,
    )


def _gist(site: Site, lines: Sequence[Line], seed: int, count: int) -> Html:
    units = site.site.units
    run = [found for found in lines if found.held is not None]
    held = sum(1 for found in run if found.held)
    floors = [
        f"{wording.water(sum(f.floor_m3.get(k, 0.0) for f in run), units)} {keeper.said}"
        for k, keeper in KEEPERS.items()
        if any(k in found.floor_m3 for found in run)
    ]
    absent = len(lines) - len(run)
    words = f"{held} of {len(run)} drills held."
    if floors:
        words += f" On the floor, all nights together: {', '.join(floors)}."
    if absent:
        words += f" {absent} {'is' if absent == 1 else 'are'} about something this site lacks."
    keys = [
        el("span", el("svg", el("line", class_=f"line {k}", x1=0, x2=26, y1=5, y2=5),
                      width=26, height=10, aria_hidden="true"), " ", keeper.said, class_="key")
        for k, keeper in KEEPERS.items()
        if any(k in found.floor_m3 for found in run)
    ]  # fmt: skip
    if len(lines) < count:
        words += f" Not finished: {len(lines)} of {count} drills were run so far."
    return join(
        el("p", wording.unbroken(words), class_="gist"),
        el("p", f"Simulated nights, seed {seed}. The small drawings show a level in every night:",
           class_="faint"),
        el("p", *keys, class_="keys"),
    )  # fmt: skip


def _group(group: str, lines: list[Line]) -> Html:
    floors = [f"floor, {keeper.name}" for keeper in KEEPERS.values()]
    heads = ["drill", "verdict", "cause to cut", *floors, "level"]
    rows = []
    for found in lines:
        name = el("a", found.title, href=found.file) if found.file else join(found.title)
        if found.failed:
            name = join(name, el("small", found.failed))
        cells = list(found.cells)
        span = len(heads) - len(cells) if len(cells) < len(heads) - 1 else None
        rows.append(
            el(
                "tr",
                el("th", name, scope="row"),
                *(
                    el(
                        "td",
                        cell,
                        data_label=label,
                        colspan=str(span) if span and i == len(cells) - 1 else None,
                    )
                    for i, (label, cell) in enumerate(cells)
                ),
            )
        )
    head = el("tr", *(el("th", said, scope="col") for said in heads))
    return el(
        "section",
        el("h2", group[:1].upper() + group[1:]) if group else Html(""),
        el("table", el("thead", head), el("tbody", *rows), class_="drills"),
    )
