"""The pages of the whole site: volume, turnover, evaporation, reservoir, and salinity."""

from __future__ import annotations

from rules.explain.ground import Ground
from rules.explain.page import FLOW, METRE, SHARE, VOLUME, Page, Unit
from rules.explain.volumes import put_volume
from rules.figures import LEVEL_TOLERANCE_M

PER_HOUR = Unit("times an hour", lambda value, _: f"{value:.1f} times an hour")
DAYS = Unit("days", lambda value, _: f"{value:.1f} days")
SALINITY = Unit("g/kg")
SALT_PER_LITRE = Unit("g/kg per litre", lambda value, _: f"{value:.3f} g/kg")


def _put_whole(page: Page, ground: Ground) -> float:
    whole = ground.figures.volume_m3
    page.given("V", whole, VOLUME, "water in all, reservoir apart", "site.volume")
    return whole


def volume(ground: Ground, figure: str) -> Page:
    """The page of all water of the site, the reservoir apart."""
    site = ground.site
    page = Page(figure, "the water in all chambers while all runs, reservoir apart", ground.units)
    page.section("Asked")
    page.say("The water of the circuits: what stands in every chamber at its running level.")
    reservoir = site.top_off.reservoir if site.top_off else None
    chambers = [key for key in site.chambers if key != reservoir]
    page.section("Given")
    for i, key in enumerate(chambers, start=1):
        what = f"the {site.label(key)} while all runs, above its bottom"
        page.given(f"h{i}", ground.above_bottom_m(key), METRE, what, f"{key}.level")
    page.section("Worked")
    for i, key in enumerate(chambers, start=1):
        level = (f"h{i}", ground.above_bottom_m(key))
        put_volume(page, site, key, level, name=f"V{i}", tags=(str(i), ""))
    parts = " + ".join(f"V{i}" for i, _ in enumerate(chambers, start=1))
    page.step("Together", "V", parts, ground.figures.volume_m3, VOLUME)
    page.range_and_doubt(
        "The water in pipes is not counted. How much rock and gear take away is a keeper's "
        f"estimate; levels may be off by {page.said_length(LEVEL_TOLERANCE_M)}."
    )
    page.result(ground.figures.volume_m3, VOLUME)
    return page


def turnover(ground: Ground, figure: str) -> Page:
    """The page of how often an hour the pumps lift the whole volume."""
    site, found = ground.site, ground.upkeep
    page = Page(figure, "how often an hour the pumps lift all the water", ground.units)
    page.section("Asked")
    page.say("The flow of all pumps together, in volumes of the site an hour.")
    page.section("Given")
    names = []
    for i, lift in enumerate(ground.figures.lifts, start=1):
        names.append(f"Q{i}")
        what = f"what the {site.label(lift.pump)} lifts"
        page.given(names[-1], lift.flow_m3_s, FLOW, what, f"{lift.pump}.flow")
    _put_whole(page, ground)
    page.section("Worked")
    lifted = sum(lift.flow_m3_s for lift in ground.figures.lifts)
    page.step("What they lift together", "Q", " + ".join(names), lifted, FLOW)
    title = "Volumes an hour, of 3600 s"
    page.step(title, "n", "Q * 3600 / V", found.turnover_per_h, PER_HOUR)
    page.range_and_doubt("As doubtful as the flow of the pumps.")
    page.result(found.turnover_per_h, PER_HOUR)
    return page


def evaporation(ground: Ground, figure: str) -> Page:
    """The page of what evaporates in a day."""
    found = ground.upkeep
    page = Page(figure, "what evaporates in a day", ground.units)
    page.section("Asked")
    page.say("The fresh water that the top-off must replace each day.")
    page.section("Given")
    _put_share(page, ground)
    _put_whole(page, ground)
    page.section("Worked")
    page.step("In a day", "E", "V * s", found.evaporation_m3_day, VOLUME)
    _doubt_evaporation(page)
    page.result(found.evaporation_m3_day, VOLUME, more=" in a day")
    return page


def _put_share(page: Page, ground: Ground) -> None:
    share = ground.site.water.evaporation
    page.given("s", share, SHARE, "share that evaporates in a day", "water.evaporation")


def _doubt_evaporation(page: Page) -> None:
    page.range_and_doubt(
        "About 1 % a day is common practice, no source; lamps, fans and dry air make it more. What "
        "a week's top-off took tells better."
    )


def reservoir_days(ground: Ground, figure: str) -> Page:
    """The page of how many days of evaporation the reservoir covers."""
    site, found = ground.site, ground.upkeep
    page = Page(figure, "how many days of evaporation the reservoir covers", ground.units)
    page.section("Asked")
    page.say("How long the fresh water in stock replaces what evaporates.")
    page.section("Given")
    assert site.top_off is not None
    reservoir = site.top_off.reservoir
    level = site.chambers[reservoir].level or 0.0
    what = f"the {site.label(reservoir)}, above its bottom"
    page.given("h", level, METRE, what, f"chambers.{reservoir}.level")
    day = found.evaporation_m3_day
    page.given("E", day, VOLUME, "what evaporates in a day", "site.evaporation")
    page.section("Worked")
    put_volume(page, site, reservoir, ("h", level), name="Vr")
    page.step("Days", "T", "Vr / E", found.reservoir_days, DAYS)
    _doubt_evaporation(page)
    page.result(found.reservoir_days, DAYS)
    return page


def salt_per_litre(ground: Ground, figure: str) -> Page:
    """The page of the salinity lost with each litre of salt water that fresh water replaces."""
    found = ground.upkeep.salt_per_litre_g_kg
    title = "salinity lost with each litre of salt water that fresh water replaces"
    page = Page(figure, title, ground.units)
    page.section("Asked")
    page.say(
        "If a water change takes out more than it brings in, the top-off fills up with fresh "
        "water, and the salt of the difference is gone. How much that is for each litre:"
    )
    page.section("Given")
    page.given("S", ground.site.water.salinity, SALINITY, "salinity", "water.salinity")
    page.given("v", 0.001, VOLUME, "one litre")
    _put_whole(page, ground)
    page.section("Worked")
    page.step("Salinity lost, all water mixed", "dS", "S * v / V", found, SALT_PER_LITRE)
    page.range_and_doubt(
        "For a small share of the whole; salt and fresh water are taken as equally heavy (3 %)."
    )
    page.result(found, SALT_PER_LITRE)
    return page
