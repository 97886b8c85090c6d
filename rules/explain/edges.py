"""Water over an edge on a page: weir, baffle and comb."""

from __future__ import annotations

from rules.explain.asked import Sides
from rules.explain.page import FLOW, METRE, PLAIN, Named, Page
from rules.explain.pipe import put_gravity
from rules.hydraulics.weir import (
    FULL_WIDTH,
    HEAD_LEAST_M,
    CombFlow,
    WeirFlow,
    rectangular,
    villemonte,
)


def remark_range(page: Page, limits: dict[str, bool]) -> None:
    """Say which limits of a formula's range hold."""
    broken = [limit for limit, holds in limits.items() if not holds]
    kept = [limit for limit, holds in limits.items() if holds]
    if not broken:
        page.remark(f"Inside the range of the formula: {', '.join(kept)}.")
    else:
        also = f" It does have {', '.join(kept)}." if kept else ""
        page.remark(
            f"Outside the range of the formula, which asks for {', '.join(broken)}: "
            f"extrapolated.{also}"
        )


def _put_head(page: Page, high: Named, crest_m: float) -> float:
    head = high[1] - crest_m
    page.step("Head over the edge", "h", f"{high[0]} - zc", head, METRE)
    return head


def put_weir(page: Page, table: str, flow: WeirFlow, sides: Sides, name: str) -> None:
    """The flow of a weir or a baffle between two levels, on the page as `name`."""
    crest_height = flow.lower_height_m if sides.from_below else flow.upper_height_m
    put_gravity(page)
    page.given("zc", flow.crest_m, METRE, "the edge, above the datum", f"{table}.crest")
    page.given("b", flow.width_m, METRE, "length of the edge", f"{table}.width")
    page.given("P", crest_height, METRE, "the edge above the floor where the water comes from")
    kind = "full width" if flow.kind == FULL_WIDTH else "notch in a wide wall"
    at_rest, slope, edge_width = flow.kind
    source = f"Kindsvater-Carter, {kind}"
    page.given("c", at_rest, PLAIN, "coefficient at no head", source)
    page.given("s", slope, PLAIN, "how it grows with h / P", source)
    page.given("kb", edge_width, METRE, "added to the width", source)
    page.section("Worked")
    head = _put_head(page, sides.high, flow.crest_m)
    if head <= 0.0:
        page.step("The water does not reach the edge: none flows", name, "0", 0.0, FLOW)
        return
    if head < 2.0 * crest_height:
        page.step("Head over height of the edge", "r", "h / P", head / crest_height)
    else:
        page.step("Head over height of the edge, counted as 2 at most", "r", "2", 2.0)
    counts = head + 0.001 * min(1.0, head / 0.003)
    page.step("Head that counts", "he", "h + 0.001 * min(1, h / 0.003)", counts, METRE)
    free = rectangular(head, flow.width_m, crest_height, flow.kind)
    title = "Free flow over the edge (Kindsvater and Carter 1957)"
    formula = "2 / 3 * sqrt(2 * g) * (c + s * r) * max(0, b + kb) * he^1.5"
    page.step(title, "Qw", formula, free, FLOW)
    held = _put_held(page, head, sides.low, flow.crest_m)
    page.step("Flow over the edge", name, "Qw * V", free * held, FLOW)
    remark_range(
        page,
        {
            "h from 0.03 m": head >= HEAD_LEAST_M,
            "b over 0.15 m": flow.width_m > 0.15,
            "P over 0.1 m": crest_height > 0.1,
            "h / P under 2": head < 2.0 * crest_height,
        },
    )
    if flow.kind != FULL_WIDTH:
        page.remark("The constants of a notch in a wide wall are from memory.")


def _put_held(page: Page, head: float, low: Named, crest_m: float) -> float:
    """What the lower level leaves of the free flow, on the page as V; returns it."""
    lower = low[1] - crest_m
    held = villemonte(head, lower)
    if lower <= 0.0:
        page.step("The lower water stays under the edge and holds nothing back", "V", "1", held)
        return held
    page.step("Head of the lower water over the edge", "h2", f"{low[0]} - zc", lower, METRE)
    if held <= 0.0:
        page.step("Both stand at the same level: none flows", "V", "0", held)
    elif lower / head <= 1.0 - 1e-6:
        title = "Share of the free flow that the lower water leaves (Villemonte 1947)"
        page.step(title, "V", "(1 - (h2 / h)^1.5)^0.385", held)
    else:
        how = (
            "Share of the free flow that the lower water leaves (Villemonte 1947, made straight "
            "where the levels differ by less than a millionth of the head):"
        )
        page.given("V", held, PLAIN, how)
    return held


def put_comb(page: Page, table: str, flow: CombFlow, sides: Sides, name: str) -> None:
    """The flow of a comb between two levels, on the page as `name`."""
    put_gravity(page)
    high, low = sides.high, sides.low
    page.given("zc", flow.crest_m, METRE, "foot of the slots, above the datum", f"{table}.crest")
    page.given("n", flow.slots, PLAIN, "how many slots", f"{table}.slots")
    page.given("b", flow.slot_width_m, METRE, "width of a slot", f"{table}.slot_width")
    page.given("a", flow.slot_height_m, METRE, "height of a slot", f"{table}.slot_height")
    page.section("Worked")
    head = _put_head(page, sides.high, flow.crest_m)
    page.remark(
        "Slots so narrow, and heads so low, lie outside what any weir formula was tested for: "
        "extrapolated."
    )
    if head <= 0.0:
        page.step("The water does not reach the slots: none flows", name, "0", 0.0, FLOW)
        return
    slot = flow.slot(high[1], low[1])
    title = "Width less the contraction at both ends, which grows until h = b / 3"
    page.step(title, "bc", "b - 0.2 * min(h, b / 3)", slot.clear_m, METRE)
    over = max(0.0, head - flow.slot_height_m)
    page.step("Head over the top of the slots", "ho", "max(0, h - a)", over, METRE)
    title = "Free flow of one slot (Francis), less what would pass above its top"
    page.step(title, "Q1", "1.84 * bc * (h^1.5 - ho^1.5)", slot.free_m3_s, FLOW)
    held = _put_held(page, head, sides.low, flow.crest_m)
    total = flow.slots * min(slot.free_m3_s * held, slot.drowned_m3_s)
    if low[1] <= flow.crest_m:
        page.step("Flow of all slots", name, "n * Q1 * V", total, FLOW)
        return
    page.step("Difference of the levels", "dz", f"{high[0]} - {low[0]}", high[1] - low[1], METRE)
    title = "Most that a drowned slot passes (sharp-edged opening, Cd 0.61)"
    formula = "0.61 * b * min(h, a) * sqrt(2 * g * dz)"
    page.step(title, "Qd", formula, slot.drowned_m3_s, FLOW)
    page.step("Flow of all slots", name, "n * min(Q1 * V, Qd)", total, FLOW)
