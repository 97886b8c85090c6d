"""The pages of a chamber: its level, its allowed level, its freeboard, and its margin."""

from __future__ import annotations

from collections.abc import Sequence

from rules.explain.doubts import put_margin_band
from rules.explain.ground import Ground
from rules.explain.page import FLOW, METRE, RATIO, SQUARE_METRE, VOLUME, Page
from rules.explain.volumes import put_between, put_plan
from rules.figures import LEVEL_TOLERANCE_M, allowed_level_m
from rules.site.passages import Comb, EmergencyDrain, Weir


def _put_flows(
    page: Page, ground: Ground, keys: list[str], names: tuple[str, str], title: str
) -> float:
    """Flows of passages while all runs, and their sum; returns it [m3/s].

    `names` are the letters that each of them, and the sum, has on the page.
    """
    flows, parts = ground.flows_m3_s, []
    for i, key in enumerate(keys, start=1):
        parts.append(f"{names[0]}{i}")
        page.given(parts[-1], flows[key], FLOW, f"the {ground.site.label(key)}", f"{key}.flow")
    whole = sum(flows[key] for key in keys)
    page.step(title, names[1], " + ".join(parts) or "0", whole, FLOW)
    return whole


def level(ground: Ground, key: str) -> Page:
    """The page of a chamber's level while all runs."""
    site, chamber, label = ground.site, ground.site.chambers[key], ground.site.label(key)
    page = Page(
        f"{key}.level", f"where the {label} stands while all is clean and runs", ground.units
    )
    page.section("Asked")
    page.say(f"The level at which what leaves the {label} is what reaches it, at mean bores.")
    page.section("Given")
    page.given("zb", chamber.bottom, METRE, "its bottom, above the datum", f"chambers.{key}.bottom")
    leaving = [k for k, p in site.gravity().items() if p.from_ == key]
    at = ground.levels_m[key]
    above = at - chamber.bottom
    held = any(pump.from_ == key for pump in site.pumps.values())
    if held or not leaving:
        why = (
            "a pump draws from it and nothing else holds its level" if held else "nothing leaves it"
        )
        page.given("h", above, METRE, f"its level above its bottom: {why}", f"chambers.{key}.level")
        page.section("Worked")
        page.step("Above the datum", "z", "zb + h", at, METRE)
    else:
        reaching = [k for k, p in site.passages.items() if p.to == key]
        page.section("Worked")
        overfull = key in ground.figures.running.overfull
        if overfull:
            page.given("z", at, METRE, "its rim, above the datum: it can stand no higher")
        else:
            page.trial("z", at, METRE, "The level above the datum, proved by what follows:")
        into = _put_flows(page, ground, reaching, ("Qi", "Qin"), "What reaches it")
        out = _put_flows(page, ground, leaving, ("Qo", "Qout"), "What leaves it at this level")
        if overfull:
            page.step(
                "More reaches it than leaves it: it spills", "Qs", "Qin - Qout", into - out, FLOW
            )
        else:
            page.residual("Qin - Qout", into - out, FLOW)
        page.step("Above its bottom", "h", "z - zb", above, METRE)
    page.range_and_doubt(
        "Found at one flow of the pump; it moves with that flow and with anything that clogs. A "
        f"height read with a ruler may be off by {page.said_length(LEVEL_TOLERANCE_M)}."
    )
    page.result(above, METRE, more=f" above its bottom, {page.quantity(at, METRE)} above the datum")
    return page


def allowed_level(ground: Ground, key: str) -> Page:
    """The page of the highest level at which a chamber still does its work."""
    site, chamber, label = ground.site, ground.site.chambers[key], ground.site.label(key)
    title = f"the highest level at which the {label} still does its work"
    page = Page(f"{key}.allowed-level", title, ground.units)
    page.section("Asked")
    page.say(
        f"What feeds the {label} over a weir or a comb must not be held back, so it may stand no "
        "higher than that edge; and water must stay under its rim by the tolerance of a level."
    )
    page.section("Given")
    page.given("zb", chamber.bottom, METRE, "its bottom, above the datum", f"chambers.{key}.bottom")
    page.given("hr", chamber.rim, METRE, "its rim, above its bottom", f"chambers.{key}.rim")
    page.given("tol", LEVEL_TOLERANCE_M, METRE, "tolerance of a level, read with a ruler")
    page.section("Worked")
    page.step(
        "Its rim less the tolerance",
        "zr",
        "zb + hr - tol",
        chamber.rim_m - LEVEL_TOLERANCE_M,
        METRE,
    )
    limits, i = ["zr"], 0
    for name, passage in site.gravity().items():
        if not isinstance(passage, (Weir, Comb)) or passage.to != key:
            continue
        i += 1
        upper, table = site.chambers[passage.from_], f"chambers.{passage.from_}"
        above = f"bottom of the {site.label(passage.from_)}, above the datum"
        page.given(f"zb{i}", upper.bottom, METRE, above, f"{table}.bottom")
        what = f"the edge of the {site.label(name)}, above that"
        page.given(f"hc{i}", passage.crest, METRE, what, f"passages.{name}.crest")
        title = f"The edge of the {site.label(name)}, above which it would hold that back"
        page.step(title, f"zc{i}", f"zb{i} + hc{i}", upper.above_datum_m(passage.crest), METRE)
        limits.append(f"zc{i}")
    at = allowed_level_m(site, key)
    if i:
        page.step("The lowest of these", "z", f"min({', '.join(limits)})", at, METRE)
    else:
        page.step("Nothing feeds it over an edge", "z", "zr", at, METRE)
    page.step("Above its bottom", "h", "z - zb", at - chamber.bottom, METRE)
    page.range_and_doubt(
        f"Heights read with a ruler may be off by {page.said_length(LEVEL_TOLERANCE_M)}."
    )
    more = f" above its bottom, {page.quantity(at, METRE)} above the datum"
    page.result(at - chamber.bottom, METRE, more=more)
    return page


def freeboard(ground: Ground, key: str) -> Page:
    """The page of the room that is left over a drained chamber's running level."""
    site, drained, band = ground.site, ground.drained(key), ground.doubt.of_chamber(key).freeboard
    label = site.label(key)
    page = Page(f"{key}.freeboard", f"the room over the running level of the {label}", ground.units)
    page.section("Asked")
    page.say(
        f"The water that still fits between the levels while all runs and the rims, in the {label} "
        "and in the tanks that overflow into it, once nothing leaves any more."
    )
    page.section("Given")
    parts = (key, *drained.feeders)
    for i, part in enumerate(parts, start=1):
        said = site.label(part)
        page.given(
            f"z{i}", ground.levels_m[part], METRE, f"the {said}, above the datum", f"{part}.level"
        )
        rim = site.chambers[part].rim_m
        page.given(
            f"zr{i}", rim, METRE, f"rim of the {said}, above the datum", f"chambers.{part}.rim"
        )
    page.section("Worked")
    for i, part in enumerate(parts, start=1):
        heights = ((f"z{i}", ground.levels_m[part]), (f"zr{i}", site.chambers[part].rim_m))
        title = f"Freeboard of the {site.label(part)} as a height"
        page.step(title, f"hf{i}", f"zr{i} - z{i}", heights[1][1] - heights[0][1], METRE)
        put_between(page, site, part, heights, name=f"V{i}", tag=str(i))
    names = [f"V{i}" for i, _ in enumerate(parts, start=1)]
    page.step("Together", "V", " + ".join(names), drained.freeboard_m3, VOLUME)
    page.range_and_doubt(
        f"Heights may be off by {page.said_length(LEVEL_TOLERANCE_M)}, and so may the water's "
        "surface: that over the whole surface is the doubt."
    )
    off = put_surface(page, ground, parts)
    page.step("", "Vlow", f"max(0, V - {off})", band.low, VOLUME)
    page.step("", "Vhigh", f"V + {off}", band.high, VOLUME)
    page.result(drained.freeboard_m3, VOLUME, band=(band.low, band.high))
    return page


def put_surface(page: Page, ground: Ground, parts: Sequence[str], tags: Sequence[str] = ()) -> str:
    """What the tolerance of a level is worth in water over these chambers, as Voff."""
    if not page.knows("tol"):
        page.given("tol", LEVEL_TOLERANCE_M, METRE, "tolerance of a level, read with a ruler")
    site, surfaces, whole = ground.site, [], 0.0
    for tag, part in zip(tags or [str(i + 1) for i in range(len(parts))], parts, strict=True):
        surface = site.chambers[part].plan_m2(ground.above_bottom_m(part))
        if site.chambers[part].fillings is None:
            put_plan(page, site, part, tag)
        else:
            what = f"surface of the {site.label(part)} at its level, less rock and gear"
            page.given(f"A{tag}", surface, SQUARE_METRE, what, f"chambers.{part}.fillings")
        surfaces.append(f"A{tag}")
        whole += surface * LEVEL_TOLERANCE_M
    page.step("", "Voff", f"({' + '.join(surfaces) or '0'}) * tol", whole, VOLUME)
    return "Voff"


def margin(ground: Ground, key: str) -> Page:
    """The page of a drained chamber's margin: firm drain capacity over return flow."""
    site, drained = ground.site, ground.drained(key)
    label = site.label(key)
    page = Page(
        f"{key}.margin", f"drain capacity of the {label} over what reaches it", ground.units
    )
    page.section("Asked")
    page.say(
        f"How many times what reaches the {label} its clean drains can carry at its allowed level, "
        "emergency drains not counted. Under 1 it overflows."
    )
    page.section("Given")
    drains = site.drains_from(key)
    firm = [k for k in drains if not isinstance(drains[k], EmergencyDrain)]
    for i, name in enumerate(firm, start=1):
        said = f"what the {site.label(name)} carries"
        page.given(f"Q{i}", drained.capacity_m3_s[name], FLOW, said, f"{name}.capacity")
    page.section("Worked")
    parts = " + ".join(f"Q{i}" for i, _ in enumerate(firm, start=1)) or "0"
    page.step("What they carry together", "Qfirm", parts, drained.firm_m3_s, FLOW)
    reaching = [k for k, p in site.passages.items() if p.to == key]
    _put_flows(page, ground, reaching, ("Qi", "Qin"), f"What reaches the {label}")
    if drained.inflow_m3_s <= 0.0:
        page.say("Nothing reaches it, so its drains always carry that.")
        page.range_and_doubt("There is no doubt about nothing.")
        page.result(drained.margin, RATIO)
        return page
    page.step("Margin", "M", "Qfirm / Qin", drained.margin)
    put_margin_band(page, ground, key, firm)
    band = ground.doubt.of_chamber(key).margin
    page.result(drained.margin, RATIO, band=(band.low, band.high))
    return page
