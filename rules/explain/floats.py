"""The pages of a float: where it should hang, and how long the guard needs once it turns."""

from __future__ import annotations

from rules.assessment.heights import WAVES_M, Place
from rules.explain.ground import Ground
from rules.explain.page import FLOW, METRE, PLAIN, SECOND, VOLUME, Named, Page, number
from rules.explain.rooms import put_before_way, put_level, put_sump_high, put_watch
from rules.explain.volumes import put_level_of, put_volume
from rules.figures import LEVEL_TOLERANCE_M, feeding_pump
from rules.response import RELAY_S, RESERVE, response_s
from rules.signals import TICK_S
from rules.site import show
from rules.site.sensors import FloatSwitch


def _float(ground: Ground, key: str) -> FloatSwitch:
    return ground.site.floats()[key]


def _pump(ground: Ground, sensor: FloatSwitch) -> str:
    """The pump whose water a float watches: the one that draws there, else the one that feeds."""
    site = ground.site
    drawing = [key for key, pump in site.pumps.items() if pump.from_ == sensor.chamber]
    return drawing[0] if drawing else feeding_pump(site, sensor.chamber)


def _put_response(page: Page, ground: Ground, key: str, pump: str) -> float:
    """How long until no more water rises once the float turns, as R; returns it [s]."""
    sensor = _float(ground, key)
    page.given("Tf", sensor.filter, SECOND, "its filter, for waves", f"sensors.{key}.filter")
    page.given("Tt", TICK_S, SECOND, "a tick of the guard")
    page.given("Tr", RELAY_S, SECOND, "a relay opens")
    run_on = ground.site.pumps[pump].run_on if pump else 0.0
    if pump:
        what = f"water still rises after the {ground.site.label(pump)} lost its power"
        page.given("To", run_on, SECOND, what, f"pumps.{pump}.run_on")
    response = response_s(sensor.filter, run_on)
    formula = "Tf + Tt + Tr + To" if pump else "Tf + Tt + Tr"
    page.step("Response: see, decide, act, run on", "R", formula, response, SECOND)
    return response


def response(ground: Ground, key: str) -> Page:
    """The page of a float's response time."""
    sensor, site = _float(ground, key), ground.site
    page = Page(
        f"{key}.response", f"from the {site.label(key)} turning to still water", ground.units
    )
    topping = sensor.duty == "top-off"
    page.section("Asked")
    page.say(
        "How long it takes from the float turning until the top-off's valve has shut."
        if topping
        else "How long it takes from the float turning until no more water rises, at the longest."
    )
    page.section("Worked")
    value = _put_response(page, ground, key, "" if topping else _pump(ground, sensor))
    page.range_and_doubt(
        f"A remedy must have {RESERVE:g} times the time it needs; that reserve is the doubt. "
        "The filter counts time read wet less time read dry, so waves make it longer."
    )
    page.result(value, SECOND)
    return page


def height(ground: Ground, key: str) -> Page:
    """The page of where a float should hang."""
    site, sensor = ground.site, _float(ground, key)
    page = Page(f"{key}.height", f"where the {site.label(key)} should hang", ground.units)
    page.section("Asked")
    found = _place(ground, key)
    if found is None:
        _put_unplaced(page, ground, key)
        return page
    place, owner = found
    page.say(
        "Heights are above the bottom of its chamber.",
        WHY[_reason(ground, place, owner)],
    )
    page.section("Given")
    page.given("tol", LEVEL_TOLERANCE_M, METRE, "tolerance of a level, read with a ruler")
    page.given("Rs", RESERVE, PLAIN, "reserve: so many times the time a remedy needs")
    put_level(page, ground, sensor.chamber)
    page.section("Worked")
    if sensor.duty == "dry-run":
        _put_dry(page, ground, key, place, owner)
    elif place.way is not None:
        put_before_way(page, ground, place, place.way)
    elif owner in site.pumps:
        put_sump_high(page, ground, place, owner)
    elif sensor.duty == "drain-watch":
        put_watch(page, ground, place, owner, _needs(page, ground, key, owner))
    else:
        _put_under_rim(page, ground, key, place, owner)
    page.range_and_doubt(
        "It goes by the unfavourable end of every figure, so no doubt is left to add. Waves are "
        "taken up by its filter, and by the height it keeps from the running level."
    )
    _put_hang(page, ground, place)
    return page


def _reason(ground: Ground, place: Place, owner: str) -> str:
    """Which of the reasons a float's place has."""
    if place.way is not None:
        return "way"
    return "sump" if owner in ground.site.pumps and place.duty == "spill-edge" else place.duty


def _put_hang(page: Page, ground: Ground, place: Place) -> None:
    """The last line of a float that has its place: from where to where, and where it hangs."""
    units = ground.units
    assert place.height_m is not None
    most, least = show.length(place.most_m, units), show.length(place.least_m, units)
    exact = f"{number(place.least_m)} m to {number(place.most_m)} m"
    suits = "that suits" if place.suits else "that does not suit"
    if place.least_m > place.most_m:
        suits = "no height suits"
    hangs = show.length(place.height_m, units)
    page.end(f"{least} to {most} ({exact}); it hangs at {hangs}, {suits}")


def _place(ground: Ground, key: str) -> tuple[Place, str] | None:
    """The narrowest place derived for a float, and the chamber or the pump it is for."""
    site, sensor = ground.site, _float(ground, key)
    places = [place for place in ground.places if place.fitted == key and place.way is None]
    ways = [(p, p.chamber) for p in ground.places if p.fitted == key and p.way is not None]
    drawing = [pump for pump in site.pumps if site.pumps[pump].from_ == sensor.chamber]
    drained = [
        found.chamber
        for found in ground.figures.drained
        if found.inflow_m3_s > 0 and sensor.chamber in (found.feeders or (found.chamber,))
    ]
    owners = {
        "dry-run": drawing,
        "spill-edge": [*drained, *drawing],
        "drain-watch": [sensor.chamber],
        "top-off": [],
    }[sensor.duty]
    found = list(zip(places, owners, strict=True)) if places else []
    found += ways
    if not found:
        return None
    return min(found, key=lambda pair: pair[0].most_m - pair[0].least_m)


def _needs(page: Page, ground: Ground, key: str, drained: str) -> Named:
    """What still arrives at a drained chamber while the guard acts, as Vn."""
    value = ground.doubt.of_chamber(drained).inflow.high
    label = ground.site.label(drained)
    page.given("Qh", value, FLOW, f"what reaches the {label} at the most", f"{drained}.margin")
    pump = ground.drained(drained).pump
    needs = value * RESERVE * _put_response(page, ground, key, pump)
    title = "What still arrives while the guard acts, with every drain blocked"
    page.step(title, "Vn", "Qh * Rs * R", needs, VOLUME)
    return "Vn", needs


def _put_under_rim(page: Page, ground: Ground, key: str, place: Place, drained: str) -> None:
    """The spill edge of a tank: what arrives during the response still fits under its rim."""
    site, chamber = ground.site, ground.site.chambers[place.chamber]
    needs = _needs(page, ground, key, drained)[1]
    page.given(
        "hr", chamber.rim, METRE, "its rim above its bottom", f"chambers.{place.chamber}.rim"
    )
    full = put_volume(page, site, place.chamber, ("hr", chamber.rim), name="Vr", tags=("", "r"))
    page.step("What may be in it when the float speaks", "Vm", "Vr - Vn", full - needs, VOLUME)
    put_level_of(page, site, place.chamber, ("Vm", full - needs), name="hm", tags=("", "m"))
    page.step("At the most", "hmost", "hm - tol", place.most_m, METRE)
    page.given("waves", WAVES_M, METRE, "waves that it must not answer to", "common practice")
    page.step("At the least", "hleast", "h + tol + waves", place.least_m, METRE)


def _put_dry(page: Page, ground: Ground, key: str, place: Place, pump: str) -> None:
    """The low float: what is still drawn during the response stands over the intake."""
    site, intake = ground.site, ground.site.pumps[pump].intake
    flow = ground.doubt.of_pump(pump).flow.high
    page.given("Qh", flow, FLOW, "what the pump lifts at the most", f"{pump}.flow")
    needs = flow * RESERVE * _put_response(page, ground, key, pump)
    page.step("What is still drawn while the guard acts", "Vn", "Qh * Rs * R", needs, VOLUME)
    page.given("hi", intake, METRE, "its intake above the bottom", f"pumps.{pump}.intake")
    under = put_volume(page, site, place.chamber, ("hi", intake), name="Vi", tags=("", "i"))
    page.step("What must be in it when the float speaks", "Vm", "Vi + Vn", under + needs, VOLUME)
    put_level_of(page, site, place.chamber, ("Vm", under + needs), name="hm", tags=("", "m"))
    page.step("At the least", "hleast", "hm + tol", place.least_m, METRE)
    page.step("At the most", "hmost", "h - 2 * tol", place.most_m, METRE)


def _put_unplaced(page: Page, ground: Ground, key: str) -> None:
    """A float that no rule of the assessment places: what its height amounts to."""
    site, sensor = ground.site, _float(ground, key)
    chamber, label = site.chambers[sensor.chamber], site.label(sensor.chamber)
    page.say(
        "No rule says where this float should hang: heights are derived for the first float of "
        "each duty, where one prevents a spill or a dry run. This is what its height in the "
        f"{label} amounts to."
    )
    page.section("Given")
    table = f"sensors.{key}"
    page.given("hf", sensor.height, METRE, "its height above the bottom", f"{table}.height")
    put_level(page, ground, sensor.chamber)
    page.section("Worked")
    above = ground.above_bottom_m(sensor.chamber)
    title = "How far it hangs above the level while all runs"
    page.step(title, "dh", "hf - h", sensor.height - above, METRE)
    page.given(
        "hr", chamber.rim, METRE, "its rim above its bottom", f"chambers.{sensor.chamber}.rim"
    )
    page.step("And under the rim", "dr", "hr - hf", chamber.rim - sensor.height, METRE)
    put_volume(page, site, sensor.chamber, ("hr", chamber.rim), name="Vr", tags=("", "r"))
    put_volume(page, site, sensor.chamber, ("hf", sensor.height), name="Vf", tags=("", "f"))
    room = chamber.volume_m3(chamber.rim) - chamber.volume_m3(sensor.height)
    page.step("What fits between it and the rim", "V", "Vr - Vf", room, VOLUME)
    page.range_and_doubt(
        f"Heights read with a ruler may be off by {page.said_length(LEVEL_TOLERANCE_M)}."
    )
    page.result(sensor.height, METRE, more=f" above the bottom of the {label}, as fitted")


WHY = {
    "spill-edge": "It must stay dry on a good day and speak so early that what still comes while "
    "the guard acts fits under the rim: from the running level and waves, up to the rim less that.",
    "sump": "It must stay dry after a stop, whose drain-down comes down here: so it proves the "
    "siphon break each time, too. And it must speak while another drain-down still fits below, and "
    "before a float further up turns and stops the pump for nothing but too much water.",
    "way": "It must stay dry on a good day, and speak so early that all that still comes once it "
    "has turned fits over it, the way out staying blocked: what the pump lifts until it stands "
    "still, and what then runs down.",
    "drain-watch": "It must stay dry while clean drains carry all, and speak so early that what "
    "still comes while the guard acts fits over it, in its chamber and in the tanks that feed it.",
    "dry-run": "It must stay wet on a good day, and speak so early that the pump does not draw air "
    "while the guard acts.",
}
"""What a float of each duty is for; in the chamber that the pump draws from it is another thing."""
