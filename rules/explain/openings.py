"""Water through an opening of some height on a page: screen, slot under a baffle, and hole."""

from __future__ import annotations

from math import sqrt

from rules.explain.asked import Sides
from rules.explain.page import FLOW, METRE, PLAIN, Named, Page, Unit
from rules.explain.pipe import put_gravity
from rules.hydraulics.friction import GRAVITY_M_S2
from rules.hydraulics.hole import HoleFlow
from rules.hydraulics.opening import SHARP_EDGE, STRAIGHT_M, UnderBaffleFlow, root_head
from rules.hydraulics.screen import ScreenFlow

INTEGRAL = Unit("m^1.5")
STRENGTH = Unit("m3/s per m^1.5")


def put_integral(
    page: Page, edges: tuple[Named, Named], sides: Sides, name: str, tag: str = ""
) -> float:
    """The integral of the root of the head over an opening's wet height; returns it [m^1.5].

    `edges` are its lower and its upper edge above the datum.
    """
    (bottom, bottom_m), (top, top_m) = edges
    high, low = sides.high, sides.low
    value = root_head(bottom_m, top_m, high[1], low[1])
    if high[1] <= bottom_m or high[1] <= low[1]:
        page.step("", name, "0", value, INTEGRAL)
        return value
    if low[1] <= bottom_m and high[1] >= top_m:  # wet all over, and free
        above = f"({high[0]} - {bottom})^1.5 - ({high[0]} - {top})^1.5"
        page.step("", name, f"2 / 3 * ({above})", value, INTEGRAL)
        return value
    drives = f"({high[0]} - max({low[0]}, {bottom}))"
    straight = high[1] - max(low[1], bottom_m) <= STRAIGHT_M
    rooted = f"{drives} / {sqrt(STRAIGHT_M):g}" if straight else f"sqrt{drives}"
    if low[1] >= top_m:  # under water on both sides
        page.step("", name, f"({top} - {bottom}) * {rooted}", value, INTEGRAL)
        return value
    wet_top = min(high[1], top_m)
    free_from = min(max(low[1], bottom_m), wet_top)
    page.step("", f"zt{tag}", f"min({high[0]}, {top})", wet_top, METRE)
    formula = f"min(max({low[0]}, {bottom}), zt{tag})"
    page.step("", f"zf{tag}", formula, free_from, METRE)
    above = f"({high[0]} - zf{tag})^1.5 - ({high[0]} - zt{tag})^1.5"
    formula = f"(zf{tag} - {bottom}) * {rooted} + 2 / 3 * ({above})"
    page.step("", name, formula, value, INTEGRAL)
    return value


def _say_integral(page: Page) -> None:
    page.say(
        "Every strip of the opening passes water by the root of its own head: under the lower "
        "water the difference of the levels, above it its own depth. I is that root, summed over "
        "the wet height; where only a part is wet or free, zt is how high it is wet, and zf where "
        "its free part begins."
    )


def put_screen(
    page: Page,
    table: str,
    flow: ScreenFlow,
    seen: tuple[float, float],
    *,
    sides: Sides,
    name: str,
) -> None:
    """The flow of a screen, on the page as `name`; `seen`: loss [m], at a flow [m3/s]."""
    clean_loss_m, at_flow_m3_s = seen
    page.given("zb", flow.bottom_m, METRE, "lower edge above the datum", f"{table}.bottom")
    page.given("zu", flow.top_m, METRE, "upper edge above the datum", f"{table}.top")
    page.given("hs", clean_loss_m, METRE, "difference seen across it clean", f"{table}.clean_loss")
    page.given("Qs", at_flow_m3_s, FLOW, "flow at which it was seen", f"{table}.at_flow")
    page.section("Worked")
    _say_integral(page)
    page.say("When the loss was seen, with the whole height wet:")
    page.step("", "zs", "zu - hs", flow.top_m - clean_loss_m, METRE)
    edges = (("zb", flow.bottom_m), ("zu", flow.top_m))
    seen_sides = Sides(("zu", flow.top_m), ("zs", flow.top_m - clean_loss_m))
    put_integral(page, edges, seen_sides, "Is", "s")
    page.step("Strength of the screen", "k", "Qs / Is", flow.strength, STRENGTH)
    page.say("At the levels asked for:")
    integral = put_integral(page, edges, sides, "I")
    page.step("Flow through the screen", name, "k * I", flow.strength * integral, FLOW)
    page.remark(
        "One loss was seen at one flow; the root is the law of coarse screens. Fine sponge passes "
        "more at large differences."
    )


def put_under_baffle(
    page: Page, table: str, flow: UnderBaffleFlow, sides: Sides, name: str
) -> None:
    """The flow of a slot under a baffle between two levels, on the page as `name`."""
    put_gravity(page)
    page.given("zb", flow.bottom_m, METRE, "lower edge above the datum", f"{table}.bottom")
    page.given("zu", flow.top_m, METRE, "upper edge above the datum", f"{table}.bottom, gap")
    page.given("b", flow.width_m, METRE, "width of the slot", f"{table}.width")
    page.section("Worked")
    _say_integral(page)
    edges = (("zb", flow.bottom_m), ("zu", flow.top_m))
    integral = put_integral(page, edges, sides, "I")
    total = SHARP_EDGE * flow.width_m * sqrt(2.0 * GRAVITY_M_S2) * integral
    title = "Flow through the slot (sharp-edged opening, Cd 0.61)"
    page.step(title, name, "0.61 * b * sqrt(2 * g) * I", total, FLOW)
    page.remark("The floor under the slot hinders the contraction that Cd 0.61 stands for.")


def put_hole(page: Page, table: str, flow: HoleFlow, sides: Sides, name: str) -> None:
    """The flow of a round hole between two levels, on the page as `name`."""
    put_gravity(page)
    page.given("zm", flow.centre_m, METRE, "its centre above the datum", f"{table}.centre")
    page.given("D", flow.diameter_m, METRE, "its diameter", f"{table}.diameter")
    count = len(flow.strips)
    page.given("n", count, PLAIN, "level strips that the circle is cut into")
    page.section("Worked")
    _say_integral(page)
    page.say("Strip by strip, from the lowest, each a rectangle of the same area as its strip:")
    parts, total = [], 0.0
    for i, (bottom, top, width) in enumerate(flow.strips, start=1):
        page.given(f"zb{i}", bottom, METRE, f"lower edge of strip {i}")
        page.given(f"zu{i}", top, METRE, "its upper edge")
        page.given(f"b{i}", width, METRE, "its width")
        edges = ((f"zb{i}", bottom), (f"zu{i}", top))
        total += width * put_integral(page, edges, sides, f"I{i}", str(i))
        parts.append(f"b{i} * I{i}")
    page.step("All strips", "S", " + ".join(parts), total, Unit("m^2.5"))
    page.step(
        "Flow through the hole (sharp-edged orifice, Cd 0.61)",
        name,
        "0.61 * sqrt(2 * g) * S",
        SHARP_EDGE * sqrt(2.0 * GRAVITY_M_S2) * total,
        FLOW,
    )
    page.remark("Old tables have Cd 0.618 to 0.637 for a sharp edge at small heads.")
