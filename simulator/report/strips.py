"""Strips with curves: levels against rims and floats, flow against capacity, water on the floor."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite

from rules.site import show
from rules.site.chambers import Chamber
from rules.site.sensors import FloatSwitch
from rules.site.show import Units
from simulator.report import axes, curves
from simulator.report.axes import Scale, Window
from simulator.report.markup import Html, el, join
from simulator.report.rows import Scene, grid, gutter, lines_of_print, row, ruled
from simulator.report.told import KEEPERS, Told

LEVEL_PX = 118.0
FLOW_PX = 118.0
FLOOR_PX = 86.0
LEAST_SPAN_M = 0.012
"""A strip shows no less than this: still water is to look still."""

REACH = 3.0
"""A rim or a float is on the strip if that makes it no more than so many times as high."""

DUTIES = {
    "spill-edge": "high float",
    "drain-watch": "drain-watch float",
    "dry-run": "low float",
    "top-off": "top-off float",
}


def key(kind: str, said: str) -> Html:
    """A line's look and its meaning."""
    line = el("line", class_=f"line {kind}", x1=0, x2=26, y1=5, y2=5)
    return el(
        "span",
        el("svg", line, width=26, height=10, aria_hidden="true"),
        " ",
        said,
        class_="key",
    )


# --- levels -----------------------------------------------------------------------------------


def _levels(told: Told, chamber: str, window: Window) -> dict[str, tuple[float, float]]:
    """The lowest and highest level of every night within a window [m]."""
    found = {}
    for keeper, course in told.courses.items():
        seen = [
            level
            for t_s, level in zip(course.t_s, course.level_m(chamber), strict=False)
            if window.holds(t_s)
        ]
        if seen:
            found[keeper] = (min(seen), max(seen))
    return found


def _level_scale(
    levels: dict[str, tuple[float, float]], heights_m: list[float], rim_m: float, units: Units
) -> Scale:
    """From the lowest level to the highest, with the rim and the floats that are not far off."""
    low = min(low for low, _ in levels.values())
    high = max(high for _, high in levels.values())
    off = max(0.0, (LEAST_SPAN_M - (high - low)) / 2)
    low, high = max(low - off, min(low, 0.0)), high + off
    for height in sorted([*heights_m, rim_m], key=lambda h: max(low - h, h - high)):
        reached = (min(low, height), max(high, height))
        if reached[1] - reached[0] <= max(REACH * (high - low), 4 * LEAST_SPAN_M):
            low, high = reached
    if high >= rim_m:
        high += 0.12 * (high - low)  # room for what is over the rim
    return Scale(low, high, LEVEL_PX, axes.heights(units))


def level_row(scene: Scene, chamber: str) -> Html:
    """A chamber's level in every night, against its rim and its floats."""
    told, window = scene.told, scene.window
    site, units = told.site, told.site.site.units
    tank, floats = site.chambers[chamber], site.floats(chamber)
    levels = _levels(told, chamber, window)
    scale = _level_scale(levels, [f.height for f in floats.values()], tank.rim, units)
    lines, said = _fixed_lines(tank, floats, scale)
    drawn = {
        keeper: curves.thinned(course.t_s, course.level_m(chamber), window, curves.near(scale))
        for keeper, course in told.courses.items()
    }
    water = [
        curves.area(
            piece, [(t, scale.low - 1.0) for t, _ in (piece[0], piece[-1])], window, scale, "water"
        )
        for piece in drawn["guard"]
    ]
    paths = [
        curves.path(drawn[keeper], window, scale, KEEPERS[keeper].name, keeper)
        for keeper in reversed(told.keepers)  # the guard's own is drawn last, over the others
    ]
    strip = join(
        _over_the_rim(tank.rim, scale),
        ruled(scale),
        grid(scene, LEVEL_PX),
        curves.stretched(LEVEL_PX, *water),
        lines,
        curves.stretched(LEVEL_PX, *paths),
        _small_print(said),
    )
    name = join(
        el("b", site.label(chamber)),
        el("span", f"level in {scale.measure.name}; rim {show.length(tank.rim, units)}"),
    )
    return row(
        name, gutter(scale), strip, LEVEL_PX, told=_level_told(told, chamber, levels), kind="curve"
    )


def _over_the_rim(rim_m: float, scale: Scale) -> Html:
    y = scale.y(rim_m)
    if rim_m >= scale.high or y <= 0:
        return Html("")
    return el("rect", class_="over", x=0, y=0, width="100%", height=y)


def _fixed_lines(
    tank: Chamber, floats: dict[str, FloatSwitch], scale: Scale
) -> tuple[Html, list[tuple[float, Html]]]:
    """The rim and the floats: their lines, and what is said beside them and where."""
    wanted = [("rim", tank.rim, "rim")]
    wanted += [("float", f.height, DUTIES[f.duty]) for f in floats.values()]
    lines, said = [], []
    for kind, height, name in wanted:
        if scale.low <= height <= scale.high:
            y = scale.y(height)
            lines.append(el("line", class_=kind, x1=0, x2="100%", y1=y, y2=y))
            said.append((y - 3.5, Html(name)))
        elif height > scale.high:
            far = (height - scale.high) * scale.measure.factor
            said.append((9.0, Html(f"{name} {far:.3g} {scale.measure.name} above ↑")))
        else:
            far = (scale.low - height) * scale.measure.factor
            said.append((scale.height_px, Html(f"{name} {far:.3g} {scale.measure.name} below ↓")))
    return join(*lines), lines_of_print(said, scale.height_px)


def _small_print(said: list[tuple[float, Html]]) -> Html:
    return join(
        *(el("text", words, x="99.4%", y=y, text_anchor="end", class_="note") for y, words in said)
    )


def _level_told(told: Told, chamber: str, levels: dict[str, tuple[float, float]]) -> str:
    units = told.site.site.units
    parts = [
        f"{KEEPERS[keeper].said} from {show.length(low, units)} to {show.length(high, units)}"
        for keeper, (low, high) in levels.items()
    ]
    rim = show.length(told.site.chambers[chamber].rim, units)
    return f"Level of the {told.site.label(chamber)}, rim at {rim}: {'; '.join(parts)}."


# --- flow -------------------------------------------------------------------------------------


def flow_chambers(told: Told) -> tuple[str, ...]:
    """The drained chambers of this night: those it is about, else the one with the least margin."""
    course = told.courses["guard"]
    drained = [k for k in told.site.drained_chambers() if course.values(f"{k}.capacity_m3_s")]

    def least_margin(chamber: str) -> float:
        pairs = zip(
            course.values(f"{chamber}.capacity_m3_s"),
            course.values(f"{chamber}.return_m3_s"),
            strict=True,
        )
        return min((c / r for c, r in pairs if r > 1e-9 and isfinite(c)), default=float("inf"))

    short = [key for key in drained if least_margin(key) < 1.0]
    ranked = sorted(
        drained, key=lambda k: (k not in short, k not in told.chambers, least_margin(k))
    )
    return tuple(ranked[: max(1, min(2, len(short)))])


def flow_row(scene: Scene, chamber: str) -> Html:
    """What comes back from the pump against what the drains are computed to carry."""
    told, window = scene.told, scene.window
    units, course = told.site.site.units, told.courses["guard"]
    comes = course.values(f"{chamber}.return_m3_s")
    carries = course.values(f"{chamber}.capacity_m3_s")
    least, most = told.bands.get(chamber, (1.0, 1.0))
    finite = [v for v in carries if isfinite(v)]
    top = 1.06 * max([*comes, *(v * most for v in finite)], default=0.0)
    scale = Scale(0.0, max(top, 1e-6), FLOW_PX, axes.flows(units))
    fine = curves.near(scale)
    carried = curves.thinned(course.t_s, carries, window, fine)
    come = curves.thinned(course.t_s, comes, window, fine)
    short = [min(a, b) for a, b in zip(comes, carries, strict=True)]
    missing = curves.thinned(course.t_s, short, window, fine)
    band = [
        curves.area(
            [(t, v * most) for t, v in piece], [(t, v * least) for t, v in piece],
            window, scale, "band",
        )
        for piece in carried
    ]  # fmt: skip
    lacking = [
        curves.area(above, below, window, scale, "lacking")
        for above, below in zip(come, missing, strict=False)
    ]
    strip = join(
        ruled(scale),
        grid(scene, FLOW_PX),
        curves.stretched(
            FLOW_PX,
            *band,
            *lacking,
            curves.path(carried, window, scale, "capacity", "capacity"),
            curves.path(come, window, scale, "return flow", "guard"),
        ),
    )
    doubt = "" if (least, most) == (1.0, 1.0) else f", {_off(least)} to {_off(most)}"
    name = join(
        el("b", f"flow into the {told.site.label(chamber)}"),
        el("span", f"in {scale.measure.name}"),
        key("guard", "return flow, as read"),
        key("capacity", f"drains carry at most{doubt}"),
    )
    told_words = (
        f"Return flow into the {told.site.label(chamber)} against the computed capacity of its "
        f"drains: {_between(comes, units)} come, {_between(finite, units)} are carried."
    )
    return row(name, gutter(scale), strip, FLOW_PX, told=told_words, kind="curve")


def _off(share: float) -> str:
    sign = "−" if share < 1.0 else "+"
    return f"{sign}{abs(share - 1.0) * 100:.0f}\N{NO-BREAK SPACE}%"


def _between(values: list[float] | tuple[float, ...], units: Units) -> str:
    if not values:
        return "none"
    return f"{show.flow(min(values), units)} to {show.flow(max(values), units)}"


# --- the floor --------------------------------------------------------------------------------


def floor_row(scene: Scene) -> Html:
    """All the water on the floor, in every night."""
    told = scene.told
    if all(course.first_wet_s is None for course in told.courses.values()):
        return el("p", "The floor stays dry, whoever keeps the pump.", class_="keys")
    units = told.site.site.units
    return _rising(
        scene,
        {keeper: course.floor_m3 for keeper, course in told.courses.items()},
        axes.volumes(units),
        "water on the floor",
        said=lambda value: show.volume(value, units),
        least_top=0.002,
    )


def dry_row(scene: Scene) -> Html:
    """For how long the pumps have drawn air, in every night; nothing where none did."""
    told = scene.told
    values = {keeper: course.values("dry_s") for keeper, course in told.courses.items()}
    if not any(seen and seen[-1] > 0.0 for seen in values.values()):
        return Html("")
    return _rising(
        scene,
        values,
        axes.Measure(1.0, "s"),
        "pump has run dry",
        said=show.duration,
        least_top=10.0,
    )


def _rising(
    scene: Scene,
    values: dict[str, tuple[float, ...]],
    measure: axes.Measure,
    what: str,
    *,
    said: Callable[[float], str],
    least_top: float,
) -> Html:
    """Something that only ever grows, night beside night."""
    told, window = scene.told, scene.window
    ends = {
        keeper: max(
            (v for t, v in zip(told.courses[keeper].t_s, seen, strict=False) if t <= window.to_s),
            default=0.0,
        )
        for keeper, seen in values.items()
    }
    scale = Scale(0.0, max(1.1 * max(ends.values()), least_top), FLOOR_PX, measure)
    paths = [
        curves.path(
            curves.thinned(told.courses[keeper].t_s, values[keeper], window, curves.near(scale)),
            window,
            scale,
            KEEPERS[keeper].name,
            keeper,
        )
        for keeper in reversed(told.keepers)
        if values[keeper]
    ]
    strip = join(ruled(scale), grid(scene, FLOOR_PX), curves.stretched(FLOOR_PX, *paths))
    name = join(el("b", what), el("span", f"in {measure.name}, all told"))
    words = "; ".join(f"{KEEPERS[k].said} {said(v)}" for k, v in ends.items())
    return row(
        name, gutter(scale), strip, FLOOR_PX, told=f"{what.capitalize()}: {words}.", kind="curve"
    )
