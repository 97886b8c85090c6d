"""A pump's curve on a page: the head that it gives at a flow."""

from __future__ import annotations

from bisect import bisect_right

from rules.explain.doubts import measured_of
from rules.explain.ground import Ground
from rules.explain.page import FLOW, METRE, PLAIN, SHARE, SLOPE, Named, Page
from rules.hydraulics.pump import PumpCurve


def put_curve(page: Page, ground: Ground, pump: str, flow: Named) -> None:
    """The head of a pump at a flow, on the page as Hp."""
    site, lift = ground.site, ground.figures.lift(pump)
    curve, speed = ground.systems[pump].curve, site.pumps[pump].speed
    left = ground.mean.left[pump]
    at = flow[1] / (left * speed)
    if left == 1.0 and speed == 1.0:
        title = "It runs at full speed and in full condition, as its curve was drawn"
        page.step(title, "q", flow[0], at, FLOW)
        _put_piece(page, curve, pump, at)
        page.step("Head that it gives", "Hp", "Hc", lift.head_m, METRE)
        return
    _put_left(page, ground, pump, left)
    page.given("s", speed, SHARE, "share of its full speed", f"pumps.{pump}.speed")
    title = "The flow of its curve, drawn at full speed and condition (affinity laws)"
    page.step(title, "q", f"{flow[0]} / (c * s)", at, FLOW)
    _put_piece(page, curve, pump, at)
    page.step("Head that it gives (affinity laws)", "Hp", "s^2 * Hc", lift.head_m, METRE)


def _put_left(page: Page, ground: Ground, pump: str, left: float) -> None:
    found = measured_of(ground, pump)
    if found is None:
        worn = ground.site.pumps[pump].worn
        page.given("worn", worn, SHARE, "share of its flow lost to wear", f"pumps.{pump}.worn")
        page.step("Share of its flow that is left at every head", "c", "1 - worn", left)
        return
    table, measured = found
    what = f"flow of the {ground.site.label(measured.of)}, measured on {measured.date}"
    page.given("Qm", measured.flow, FLOW, what, f"measured.{table}.flow")
    how = (
        "Share of its catalogue flow that it has left at every head, such that as much flows as "
        "was measured:"
    )
    page.trial("c", left, PLAIN, how)
    lift = ground.figures.lift(pump)
    found_m3_s = lift.flow_m3_s if measured.of == pump else lift.branches[measured.of]
    page.residual("what flows there - Qm", found_m3_s - measured.flow, FLOW)


def _put_point(page: Page, curve: PumpCurve, i: int, tag: str, said: tuple[str, str]) -> None:
    which, source = said
    page.given(f"q{tag}", curve.flows[i], FLOW, f"flow of the {which} of its curve", source)
    page.given(f"h{tag}", curve.heads[i], METRE, "head there", source)


def _put_piece(page: Page, curve: PumpCurve, pump: str, at: float) -> None:
    """The head at a flow of the catalogue's curve, on the page as Hc."""
    source, last = f"pumps.{pump}.curve", len(curve.flows) - 1
    head = curve.head(at)[0]
    if at <= curve.flows[0]:
        _put_point(page, curve, 0, "a", ("first point", source))
        page.given("ma", curve.slopes[0], SLOPE, "slope of the curve there")
        page.step("Before the first point", "Hc", "ha + ma * (q - qa)", head, METRE)
        return
    if at >= curve.flows[-1]:
        _put_point(page, curve, last, "a", ("last point", source))
        page.given("ma", curve.tail, SLOPE, "the steeper of its last slope and last chord")
        title = "Past the last point, down to no head"
        page.step(title, "Hc", "max(0, ha + ma * (q - qa))", head, METRE)
        return
    i = bisect_right(curve.flows, at) - 1
    _put_point(page, curve, i, "a", ("next lower point", source))
    _put_point(page, curve, i + 1, "b", ("next higher point", source))
    what = "slope of the curve there, so chosen that it falls everywhere"
    for tag, slope in (("a", curve.slopes[i]), ("b", curve.slopes[i + 1])):
        page.given(f"m{tag}", slope, SLOPE, what, "Fritsch and Butland 1984")
    width = curve.flows[i + 1] - curve.flows[i]
    chord = (curve.heads[i + 1] - curve.heads[i]) / width
    page.step(
        "Between two points runs a cubic that keeps their slopes", "w", "qb - qa", width, FLOW
    )
    page.step("", "t", "(q - qa) / w", (at - curve.flows[i]) / width)
    page.step("", "k", "(hb - ha) / w", chord, SLOPE)
    square = 3.0 * chord - 2.0 * curve.slopes[i] - curve.slopes[i + 1]
    page.step("", "k2", "3 * k - 2 * ma - mb", square, SLOPE)
    cube = curve.slopes[i] + curve.slopes[i + 1] - 2.0 * chord
    page.step("", "k3", "ma + mb - 2 * k", cube, SLOPE)
    page.step("", "Hc", "ha + w * t * (ma + t * (k2 + t * k3))", head, METRE)
