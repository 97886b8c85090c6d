"""Flow against level in a drained chamber: each drain, all of them, and where the water stands."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from daemon.plot import looks
from daemon.plot.panel import End, Flag, Panel, Place
from rules.site import show
from rules.site.passages import EmergencyDrain

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

    from rules.figures import Drained
    from rules.hydraulics.network import Hydraulics
    from rules.plan import Plan

STEPS = 240


@dataclass(frozen=True, slots=True)
class Curve:
    """A flow over the levels of a `Capacities`, and the ends of its doubt [m3/s]."""

    flow: tuple[float, ...]
    least: tuple[float, ...]
    most: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Capacities:
    """What the clean drains of a chamber carry, over its level [m above its bottom]."""

    levels_m: tuple[float, ...]
    drains: dict[str, Curve]
    firm: Curve
    every: Curve


def _sum(curves: Iterable[Curve], count: int) -> Curve:
    """All together; their doubts add, for they come from the same coefficients."""
    found = list(curves)

    def added(part: str) -> tuple[float, ...]:
        return tuple(sum(getattr(curve, part)[i] for curve in found) for i in range(count))

    return Curve(added("flow"), added("least"), added("most"))


def capacities(plan: Plan, hydraulics: Hydraulics, drained: Drained) -> Capacities:
    """Capacity of every drain of a chamber from its bottom to its rim."""
    chamber = plan.site.chambers[drained.chamber]
    tables = plan.site.drains_from(drained.chamber)
    levels = {i * chamber.rim / STEPS for i in range(STEPS + 1)}
    levels |= {drain.mouth for drain in tables.values()}  # where a curve bends
    ordered = tuple(sorted(levels))
    drains = {}
    for key, drain in tables.items():
        below = plan.figures.running.levels_m[drain.to]
        flow, least, most = [], [], []
        for level in ordered:
            up = chamber.above_datum_m(level)
            carried = hydraulics.capacity(key, up)
            doubt = hydraulics.passages[key].uncertainty(up, below) if carried > 0 else 0.0
            flow.append(carried)
            least.append(carried * (1.0 - min(1.0, doubt)))
            most.append(carried * (1.0 + doubt))
        drains[key] = Curve(tuple(flow), tuple(least), tuple(most))
    firm = [c for k, c in drains.items() if not isinstance(tables[k], EmergencyDrain)]
    count = len(ordered)
    return Capacities(ordered, drains, _sum(firm, count), _sum(drains.values(), count))


def _flags(plan: Plan, drained: Drained) -> list[Flag]:
    """The heights that matter in the chamber, as lines."""
    site, units = plan.site, plan.site.site.units
    chamber, mm = site.chambers[drained.chamber], looks.heights(units).factor

    def flag(height_m: float, name: str, colour: str, dashes: object, width: float) -> Flag:
        look = {"color": colour, "linestyle": dashes, "linewidth": width, "zorder": 2.0}
        return Flag(height_m * mm, f"{name} {show.length(height_m, units)}", look)

    found = [
        flag(drained.level_m - chamber.bottom, "running level", looks.SURFACE, "-", 0.8),
        flag(drained.allowed_m - chamber.bottom, "allowed level", looks.INK, (0, (6, 2)), 0.8),
        flag(chamber.rim, "rim", looks.INK, "-", 1.6),
    ]
    for key, sensor in site.floats(drained.chamber).items():
        found.append(flag(sensor.height, site.label(key), looks.FLOAT, (0, (1, 1.5)), 1.0))
    return found


def _draw(panel: Panel, plan: Plan, drained: Drained, carried: Capacities) -> list[End]:
    """Draw the curves; returns what to say at their ends."""
    units, axes, tables = plan.site.site.units, panel.axes, plan.site.gravity()
    mm, lpm = looks.heights(units).factor, looks.flows(units).factor
    levels = [level * mm for level in carried.levels_m]
    ends = []

    def draw(key: str, name: str, curve: Curve, capacity_m3_s: float, look: looks.Line) -> None:
        gid, (colour, dashes, width) = f"{key}-of-{drained.chamber}", look
        flow = [q * lpm for q in curve.flow]
        axes.plot(levels, flow, color=colour, linestyle=dashes, linewidth=width, gid=gid)
        least, most = ([q * lpm for q in side] for side in (curve.least, curve.most))
        axes.fill_between(levels, least, most, color=colour, alpha=0.13, linewidth=0)
        said = show.flow(capacity_m3_s, units).replace(" ", looks.NO_BREAK)
        ends.append(End((levels[-1], flow[-1]), f"{name} {said}", colour))

    firm = [k for k in carried.drains if not isinstance(tables[k], EmergencyDrain)]
    spare = len(firm) < len(carried.drains)
    for i, (key, curve) in enumerate(carried.drains.items()):
        name = plan.site.label(key)
        if spare and firm == [key]:
            name += ", all but emergency"
        draw(key, name, curve, drained.capacity_m3_s[key], looks.LINES[i % len(looks.LINES)])
    if spare and len(firm) > 1:
        draw("firm", "all but emergency", carried.firm, drained.firm_m3_s, looks.SUM)
    if len(carried.drains) > 1:
        look = looks.SUM_WITH_SPARE if spare else looks.SUM
        draw("all", "all drains", carried.every, drained.all_m3_s, look)
    return ends


def _return_flow(panel: Panel, plan: Plan, drained: Drained, carried: Capacities) -> End:
    """The return flow as a line, the shading under it, and the operating point on it."""
    units, axes = plan.site.site.units, panel.axes
    mm, lpm = looks.heights(units).factor, looks.flows(units).factor
    chamber, inflow = plan.site.chambers[drained.chamber], drained.inflow_m3_s * lpm
    levels, every = [m * mm for m in carried.levels_m], [q * lpm for q in carried.every.flow]
    axes.axhline(inflow, color=looks.UP, linewidth=1.1, linestyle=(0, (8, 2)))
    axes.fill_between(
        levels,
        every,
        inflow,
        where=[q < inflow for q in every],
        interpolate=True,
        facecolor="none",
        edgecolor=looks.FAINT,
        hatch="////",
        linewidth=0,
        gid=f"short-{drained.chamber}",
    )
    axes.plot(
        [(drained.level_m - chamber.bottom) * mm],
        [inflow],
        **looks.OPERATING_POINT,
        gid=f"operating-point-{drained.chamber}",
    )
    _say_short(panel, carried, inflow)
    said = show.flow(drained.inflow_m3_s, units).replace(" ", looks.NO_BREAK)
    return End((panel.most[0], inflow), f"return flow {said}", looks.UP)


def _say_short(panel: Panel, carried: Capacities, inflow: float) -> None:
    """Name the hatched part, where it is wide enough before the first drain begins to run."""
    pairs = zip(carried.levels_m, carried.every.flow, strict=True)
    dry = max((level for level, flow in pairs if flow <= 0.0), default=0.0)
    share = dry / carried.levels_m[-1]
    text = "short of the return flow"
    wide = looks.width_mm(text, looks.SMALL_PT) + 3.0
    high = inflow / panel.most[1] * panel.height_mm
    if share * panel.width_mm > wide and high > 5.0:
        panel.axes.text(
            share / 2 * panel.most[0],
            inflow / 2,
            text,
            ha="center",
            va="center",
            fontsize=looks.SMALL_PT,
            bbox={"facecolor": looks.PAPER, "edgecolor": "none", "pad": 1.5},
        )


def _figures_line(plan: Plan, drained: Drained) -> str:
    """Margin, and the worst single block."""
    margin = "no flow" if math.isinf(drained.margin) else f"margin {drained.margin:.2f}"
    worst = min(drained.blocked, key=lambda one: (one.spill_s, one.left_m3_s))
    left = show.flow(worst.left_m3_s, plan.site.site.units)
    spills = (
        "no spill" if math.isinf(worst.spill_s) else f"spills after {show.duration(worst.spill_s)}"
    )
    return f"{margin}; {plan.site.label(worst.drain)} blocked: {left} left, {spills}"


def draw_drains(
    plan: Plan, hydraulics: Hydraulics, drained: Drained, page: FigureBase, place: Place
) -> None:
    """Draw one drained chamber; `hydraulics` is the site's with the least bore of its drains."""
    units = plan.site.site.units
    carried, lpm = capacities(plan, hydraulics, drained), looks.flows(units)
    most = max(*carried.every.flow, drained.inflow_m3_s, 1e-9) * lpm.factor
    rim = plan.site.chambers[drained.chamber].rim * looks.heights(units).factor
    name = plan.site.label(drained.chamber)
    heading = (f"Drains: {name}", _figures_line(plan, drained))
    gid = f"drains-{drained.chamber}"
    flags = _flags(plan, drained)
    panel = Panel(page, place, gid, heading=heading, most=(rim, 1.12 * most), flags=flags)
    ends = _draw(panel, plan, drained, carried)
    ends.append(_return_flow(panel, plan, drained, carried))
    panel.ends(ends)
    panel.axis_names(
        f"level above the chamber's bottom [{looks.heights(units).name}]", f"flow [{lpm.name}]"
    )
