"""The pages of what a stop of a pump sends down, what takes it, and what the pump has to draw."""

from __future__ import annotations

from rules.explain.chambers import put_surface
from rules.explain.ground import Ground
from rules.explain.page import METRE, VOLUME, Page
from rules.explain.volumes import put_between
from rules.figures import LEVEL_TOLERANCE_M, edges_m, emptied, feeding_pump, pipes_m3
from rules.site.passages import Branch, SiphonDrain
from rules.site.pumps import Trunk


def drain_down(ground: Ground, key: str) -> Page:
    """The page of what runs down after a stop, with open and with plugged siphon breaks."""
    site, lift, label = ground.site, ground.figures.lift(key), ground.site.label(key)
    page = Page(f"{key}.drain-down", f"what runs down after a stop of the {label}", ground.units)
    page.section("Asked")
    page.say(
        f"The water that runs down to the chambers below once the {label} stops: from every "
        "chamber above, what stands over the lowest edge or open end that empties it."
    )
    page.section("Given")
    chambers = emptied(site, key)
    for i, chamber in enumerate(chambers, start=1):
        what = f"the {site.label(chamber)}, above the datum"
        page.given(f"z{i}", ground.levels_m[chamber], METRE, what, f"{chamber}.level")
    page.section("Worked")
    _put_pipes(page, ground, key)
    page.say("With every siphon break open:")
    _put_case(page, ground, chambers, True, ("Vdown", lift.drain_down_m3))
    page.say("With every siphon break plugged, a branch runs back down to its open end:")
    _put_case(page, ground, chambers, False, ("Vplugged", lift.plugged_m3))
    page.range_and_doubt(
        "Pipes are counted whole, the stretches under the lower water too: the unfavourable side. "
        "The doubt is the tolerance of a level over the surfaces of what the pump feeds and of "
        "what the drains leave:"
    )
    band = ground.doubt.of_pump(key).drain_down
    fed = {branch.to for branch in site.branches(key).values()}
    tags = [str(i) for i, c in enumerate(chambers, start=1) if c in fed or site.drains_from(c)]
    off = put_surface(page, ground, [chambers[int(tag) - 1] for tag in tags], tags)
    page.step("", "Vlow", f"max(0, Vdown - {off})", band.low, VOLUME)
    page.step("", "Vhigh", f"Vdown + {off}", band.high, VOLUME)
    more = f"; {page.said_volume(lift.plugged_m3)} with plugged siphon breaks"
    page.result(lift.drain_down_m3, VOLUME, band=(band.low, band.high), more=more)
    return page


def _put_case(
    page: Page, ground: Ground, chambers: tuple[str, ...], breaks: bool, total: tuple[str, float]
) -> None:
    """What each chamber loses, with siphon breaks open or plugged, and the sum."""
    site, mark, parts = ground.site, "" if breaks else "p", []
    for i, chamber in enumerate(chambers, start=1):
        edges = edges_m(site, chamber, breaks)
        names = []
        for j, (passage, height) in enumerate(edges.items(), start=1):
            names.append(f"ze{i}{mark}{j}")
            page.given(names[-1], height, METRE, *_edge(ground, passage, breaks))
        rest, title = min(edges.values()), f"Where the {site.label(chamber)} comes to rest"
        lowest = names[0] if len(names) == 1 else f"min({', '.join(names)})"
        page.step(title, f"zs{i}{mark}", lowest, rest, METRE)
        parts.append(f"V{i}{mark}")
        heights = ((f"zs{i}{mark}", rest), (f"z{i}", ground.levels_m[chamber]))
        put_between(page, site, chamber, heights, name=parts[-1], tag=str(i))
    page.step("Together", total[0], " + ".join(["Vpipes", *parts]), total[1], VOLUME)


def _put_pipes(page: Page, ground: Ground, pump: str) -> None:
    """What stands in the pipes of a pump and in the siphons that it feeds, as Vpipes."""
    site, parts = ground.site, []
    runs: dict[str, tuple[str, Trunk | Branch | SiphonDrain]] = {
        f"passages.{key}": (site.label(key), branch) for key, branch in site.branches(pump).items()
    }
    trunk = site.pumps[pump].trunk
    if trunk is not None:
        runs[f"pumps.{pump}.trunk"] = f"trunk of the {site.label(pump)}", trunk
    for chamber in site.drained_chambers():
        if feeding_pump(site, chamber) == pump:
            for key, drain in site.drains_from(chamber).items():
                if isinstance(drain, SiphonDrain):
                    runs[f"passages.{key}"] = site.label(key), drain
    for i, (table, (label, run)) in enumerate(runs.items(), start=1):
        page.given(f"D{i}", run.pipe.bore_m, METRE, f"mean bore of the {label}", f"{table}.pipe")
        page.given(f"L{i}", run.length, METRE, "its length", f"{table}.length")
        parts.append(f"D{i}^2 * L{i}")
    title = "Water in the pipes"
    formula = f"pi / 4 * ({' + '.join(parts)})"
    page.step(title, "Vpipes", formula, pipes_m3(site, pump), VOLUME)


def _edge(ground: Ground, key: str, breaks: bool) -> tuple[str, str]:
    """What the edge of a passage is, in words, and where it stands in the site file."""
    passage, label = ground.site.passages[key], ground.site.label(key)
    keys = {
        "weir": "crest",
        "baffle": "crest",
        "comb": "crest",
        "screen": "bottom",
        "under-baffle": "bottom",
        "hole": "centre, diameter",
    }
    name = keys.get(passage.kind, "mouth")
    if isinstance(passage, Branch):
        broken = breaks and passage.siphon_break is not None
        name = "siphon_break" if broken else "outlet"
    return f"{label}: down to there, above the datum", f"passages.{key}.{name}"


def room(ground: Ground, key: str) -> Page:
    """The page of what the chambers below can take."""
    site, lift, label = ground.site, ground.figures.lift(key), ground.site.label(key)
    title = f"what fits below when the {label} stops"
    page = Page(f"{key}.room", title, ground.units)
    page.section("Asked")
    page.say(
        "What the chambers that take a drain-down can hold on top of what they hold while all "
        "runs, filled together to the lowest of their rims less the tolerance of a level."
    )
    page.section("Given")
    page.given("tol", LEVEL_TOLERANCE_M, METRE, "tolerance of a level, read with a ruler")
    rims = []
    for i, chamber in enumerate(lift.below, start=1):
        said, rim = site.label(chamber), site.chambers[chamber].rim_m
        at = ground.levels_m[chamber]
        page.given(f"z{i}", at, METRE, f"the {said}, above the datum", f"{chamber}.level")
        rims.append(f"zr{i}")
        what = f"rim of the {said}, above the datum"
        page.given(rims[-1], rim, METRE, what, f"chambers.{chamber}.rim, bottom")
    page.section("Worked")
    full = min(site.chambers[chamber].rim_m for chamber in lift.below) - LEVEL_TOLERANCE_M
    lowest = rims[0] if len(rims) == 1 else f"min({', '.join(rims)})"
    page.step("How high all may stand", "zfull", f"{lowest} - tol", full, METRE)
    for i, chamber in enumerate(lift.below, start=1):
        heights = ((f"z{i}", ground.levels_m[chamber]), ("zfull", full))
        put_between(page, site, chamber, heights, name=f"V{i}", tag=str(i))
    parts = [f"V{i}" for i, _ in enumerate(lift.below, start=1)]
    page.step("Together", "V", " + ".join(parts), lift.room_m3, VOLUME)
    page.range_and_doubt("The doubt is the tolerance of a level over the surfaces below:")
    band = ground.doubt.of_pump(key).room
    off = put_surface(page, ground, lift.below)
    page.step("", "Vlow", f"max(0, V - {off})", band.low, VOLUME)
    page.step("", "Vhigh", f"V + {off}", band.high, VOLUME)
    page.result(lift.room_m3, VOLUME, band=(band.low, band.high))
    return page


def over_intake(ground: Ground, key: str) -> Page:
    """The page of the water above a pump's intake, which it can draw until it runs dry."""
    site, lift, pump = ground.site, ground.figures.lift(key), ground.site.pumps[key]
    chamber, label = site.chambers[pump.from_], site.label(pump.from_)
    title = f"the water over the intake of the {site.label(key)}"
    page = Page(f"{key}.over-intake", title, ground.units)
    page.section("Asked")
    page.say(f"What the pump can draw from the {label} before it draws air, if nothing comes back.")
    page.section("Given")
    at, intake = ground.levels_m[pump.from_], chamber.above_datum_m(pump.intake)
    page.given("z1", at, METRE, f"the {label}, above the datum", f"{pump.from_}.level")
    page.given("zi", intake, METRE, "its intake, above the datum", f"pumps.{key}.intake")
    page.section("Worked")
    put_between(page, site, pump.from_, (("zi", intake), ("z1", at)), name="V", tag="1")
    page.range_and_doubt("The doubt is the tolerance of a level over its surface:")
    band = ground.doubt.of_pump(key).dry
    off = put_surface(page, ground, (pump.from_,))
    page.step("", "Vlow", f"max(0, V - {off})", band.low, VOLUME)
    page.step("", "Vhigh", f"V + {off}", band.high, VOLUME)
    page.result(lift.dry_m3, VOLUME, band=(band.low, band.high))
    return page
