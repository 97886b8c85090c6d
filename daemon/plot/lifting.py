"""A pump's curve, its system's curve, and the operating point where they cross."""

from __future__ import annotations

from typing import TYPE_CHECKING

from daemon.plot import looks
from daemon.plot.panel import End, Panel, Place
from rules.hydraulics.pump import PumpCurve
from rules.site import show

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

    from rules.hydraulics.network import Hydraulics
    from rules.plan import Plan

STEPS = 240
SPEED_MOST = 1.6


def lowest_lift_m(plan: Plan, pump: str) -> float:
    """The head at which the pump's lowest branch begins to run, while all else runs [m]."""
    site, levels = plan.site, plan.figures.running.levels_m
    return (
        min(
            max(site.chambers[b.to].above_datum_m(b.outlet), levels[b.to])
            for b in site.branches(pump).values()
        )
        - levels[site.pumps[pump].from_]
    )


def system_curve(plan: Plan, hydraulics: Hydraulics, pump: str) -> list[tuple[float, float]]:
    """Points (flow [m3/s], head [m]) of what the branches need, at the levels while all runs.

    At any speed the pump runs where its curve crosses that of the system, so one speed after
    another gives the system's curve point by point. A low flow needs the lowest lift alone.
    """
    points = [(0.0, max(0.0, lowest_lift_m(plan, pump)))]
    for i in range(1, STEPS + 1):
        speed = SPEED_MOST * i / STEPS / plan.site.pumps[pump].speed
        point = hydraulics.pump_point(pump, plan.figures.running.levels_m, speed=speed)
        if point.flow_m3_s > 0.0:
            points.append((point.flow_m3_s, point.head_m))
    return points


def pump_curve(plan: Plan, pump: str, *, new: bool) -> list[tuple[float, float]]:
    """Points (flow [m3/s], head [m]) of the pump's curve: as in its catalogue, or as it runs.

    As it runs, at its speed and worn: flow times both, head times the square of the speed.
    """
    table = plan.site.pumps[pump]
    curve = PumpCurve.through([(point.flow, point.head) for point in table.curve])
    low, high = table.curve[0].flow, table.curve[-1].flow
    flows = [low + (high - low) * i / STEPS for i in range(STEPS + 1)]
    speed, left = (1.0, 1.0) if new else (table.speed, 1.0 - table.worn)
    return [(flow * speed * left, curve.head(flow)[0] * speed * speed) for flow in flows]


def _draw_curves(panel: Panel, plan: Plan, hydraulics: Hydraulics, pump: str) -> list[End]:
    """Draw the pump's curve with its tolerance, the catalogue's points, and the system's curve."""
    table, axes = plan.site.pumps[pump], panel.axes
    lpm, metre = looks.flows(plan.site.site.units).factor, looks.heads(plan.site.site.units).factor
    right, top = panel.most
    ends = []

    def draw(points: list[tuple[float, float]], name: str, colour: str, look: object) -> None:
        flows, heads = [q * lpm for q, _ in points], [h * metre for _, h in points]
        axes.plot(flows, heads, color=colour, linewidth=1.6, linestyle=look, gid=f"{name}-{pump}")

    def at_end(points: list[tuple[float, float]], name: str, colour: str) -> End:
        return End((points[-1][0] * lpm, points[-1][1] * metre), name, colour)

    new, now = (pump_curve(plan, pump, new=new) for new in (True, False))
    draw(now, "pump", looks.DOWN, "-")
    axes.fill_betweenx(
        [h * metre for _, h in now],
        [q * lpm * (1.0 - table.tolerance) for q, _ in now],
        [q * lpm * (1.0 + table.tolerance) for q, _ in now],
        color=looks.DOWN,
        alpha=0.13,
        linewidth=0,
    )
    name = "catalogue curve"
    if new != now:
        draw(new, "catalogue", looks.FAINT, (0, (1, 1.5)))
        ends.append(at_end(new, name, looks.FAINT))
        name = "as it runs"
    ends.append(at_end(now, name, looks.DOWN))
    axes.plot(
        [point.flow * lpm for point in table.curve],
        [point.head * metre for point in table.curve],
        marker="s",
        markersize=3.5,
        linestyle="none",
        color=looks.DOWN,
        clip_on=False,
    )
    need = system_curve(plan, hydraulics, pump)
    need = [(q, h) for q, h in need if q * lpm <= right and h * metre <= top]
    draw(need, "system", looks.DRY, (0, (5, 1.5)))
    ends.append(at_end(need, "what its pipes need", looks.DRY))
    return ends


def _draw_point(panel: Panel, pump: str, flow: float, head: float) -> None:
    """The operating point, with lines to both axes."""
    axes = panel.axes
    corner = [(0.0, head), (flow, head), (flow, 0.0)]
    axes.plot(
        [x for x, _ in corner],
        [y for _, y in corner],
        color=looks.FAINT,
        linewidth=0.6,
        linestyle=(0, (2, 2)),
    )
    axes.plot([flow], [head], gid=f"operating-point-{pump}", **looks.OPERATING_POINT)


def draw_pump(
    plan: Plan, hydraulics: Hydraulics, pump: str, page: FigureBase, place: Place
) -> None:
    """Draw one pump against its own pipes."""
    site, units, lift = plan.site, plan.site.site.units, plan.figures.lift(pump)
    lpm, metre = looks.flows(units), looks.heads(units)
    flow, head = lift.flow_m3_s * lpm.factor, lift.head_m * metre.factor
    new = pump_curve(plan, pump, new=True)
    right = 1.05 * max(flow, *(q * lpm.factor for q, _ in new))
    lift_m = lowest_lift_m(plan, pump)
    top = 1.08 * max(head, lift_m * metre.factor, *(h * metre.factor for _, h in new))
    said = f"{show.flow(lift.flow_m3_s, units)} against {head:.2f} {metre.name}"
    if len(lift.branches) > 1:
        shares = (f"{site.label(key)} {show.flow(q, units)}" for key, q in lift.branches.items())
        # a name stays with its figure
        parts = ", ".join(share.replace(" ", looks.NO_BREAK) for share in shares)
        said += f", of which {parts}"
    heading = (f"Pump: {site.label(pump)}", said)
    panel = Panel(page, place, f"pump-{pump}", heading=heading, most=(right, top))
    ends = _draw_curves(panel, plan, hydraulics, pump)
    _draw_point(panel, pump, flow, head)
    panel.ends(ends)
    panel.axis_names(f"flow [{lpm.name}]", f"head [{metre.name}]")
