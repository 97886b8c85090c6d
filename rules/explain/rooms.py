"""Rooms over a float on a page: how high it may hang for what must still fit."""

from __future__ import annotations

from rules.assessment.failures import Result
from rules.assessment.heights import Place, with_room_m
from rules.explain.ground import Ground
from rules.explain.page import METRE, VOLUME, Named, Page
from rules.explain.volumes import put_between
from rules.figures import LEVEL_TOLERANCE_M


def put_level(page: Page, ground: Ground, chamber: str) -> None:
    """The level of a chamber while all runs, as h above its bottom."""
    what = f"the {ground.site.label(chamber)} while all runs, above its bottom"
    page.given("h", ground.above_bottom_m(chamber), METRE, what, f"{chamber}.level")


def _put_bottom(page: Page, ground: Ground, chamber: str) -> float:
    """The bottom of a chamber, as zb; returns it [m above the datum]."""
    bottom = ground.site.chambers[chamber].bottom
    what = f"bottom of the {ground.site.label(chamber)}, above the datum"
    page.given("zb", bottom, METRE, what, f"chambers.{chamber}.bottom")
    return bottom


def put_watch(page: Page, ground: Ground, place: Place, drained: str, needs: Named) -> None:
    """The height over which what still arrives fits, in a drained chamber and its feeders."""
    feeders = ground.drained(drained).feeders
    chamber = ground.site.chambers[drained]
    watch_m = place.most_m + LEVEL_TOLERANCE_M + _put_bottom(page, ground, drained)
    how = "The highest level, above the datum, over which that still fits; what follows proves it:"
    page.trial("zw", watch_m, METRE, how)
    tops = [(key, ground.site.chambers[key].rim_m) for key in (drained, *feeders)]
    room = _put_rooms(page, ground, ("zw", watch_m), tops, drained)
    _say_fit(page, room, needs, watch_m >= chamber.rim_m)
    page.step("At the most", "hmost", "zw - zb - tol", place.most_m, METRE)
    page.step("At the least", "hleast", "h + 2 * tol", place.least_m, METRE)


def put_sump_high(page: Page, ground: Ground, place: Place, pump: str) -> None:
    """Dry after a stop, and wet while a drain-down still fits below and nothing else cuts."""
    needs, bounds = ground.doubt.of_pump(pump).drain_down.high, ground.own_highs[pump]
    page.given("Vn", needs, VOLUME, "a drain-down, at the most", f"{pump}.drain-down")
    what = "stepped in time, a stop: where the drain-down leaves this chamber, above the datum"
    page.given("zs", bounds.rests_m, METRE, what, f"{pump}.drain-down")
    site, below = ground.site, ground.figures.lift(pump).below
    most = _put_fit(page, ground, place.chamber, below, needs, said="a drain-down")
    zb = site.chambers[place.chamber].bottom
    if bounds.hides_m is None:
        page.step("At the most", "hmost", "zw - zb", most - zb, METRE)
    else:
        what = (
            f"how high it stands when water that backs up turns the "
            f"{site.label(bounds.before or '')}, which stops the pump; above the datum"
        )
        page.given("zc", bounds.hides_m, METRE, what)
        page.step("At the most", "hmost", "min(zw, zc - tol) - zb", place.most_m, METRE)
    page.step("At the least", "hleast", "zs + tol - zb", place.least_m, METRE)


def put_before_way(page: Page, ground: Ground, place: Place, way: Result) -> None:
    """The height over which all fits that still comes before a way that has blocked."""
    what = f"stepped in time, the {way.failure.title}: what still comes once it has turned"
    page.given("Vn", way.comes_m3, VOLUME, what)
    _put_fit(page, ground, place.chamber, way.behind, way.comes_m3, said="all that")
    page.step("At the most", "hmost", "zw - zb", place.most_m, METRE)
    page.step("At the least", "hleast", "h + 2 * tol", place.least_m, METRE)


def _put_fit(
    page: Page, ground: Ground, chamber: str, below: tuple[str, ...], needs: float, *, said: str
) -> float:
    """The highest level over which Vn fits in some chambers that fill up together; returns it."""
    site = ground.site
    rims = [f"zr{i}" for i, _ in enumerate(below, start=1)]
    for rim, key in zip(rims, below, strict=True):
        what, source = f"rim of the {site.label(key)}, above the datum", f"chambers.{key}.rim"
        page.given(rim, site.chambers[key].rim_m, METRE, what, source)
    full = min(site.chambers[key].rim_m for key in below) - LEVEL_TOLERANCE_M
    lowest = rims[0] if len(rims) == 1 else f"min({', '.join(rims)})"
    page.step("How high all below may stand", "zfull", f"{lowest} - tol", full, METRE)
    _put_bottom(page, ground, chamber)
    high_m = with_room_m(site, ground.figures, chamber, below, needs)
    how = (
        f"The highest level, above the datum, over which {said} still fits; what follows proves it:"
    )
    page.trial("zw", high_m, METRE, how)
    room = _put_rooms(page, ground, ("zw", high_m), [(key, full) for key in below], "")
    _say_fit(page, room, ("Vn", needs), high_m >= full)
    return high_m


def _put_rooms(
    page: Page, ground: Ground, over: Named, tops: list[tuple[str, float]], own: str
) -> float:
    """What fits over a level in each chamber, up to its top, as V; returns it [m3].

    A chamber other than `own` stands no lower than while all runs.
    """
    site, whole, parts = ground.site, 0.0, []
    for i, (key, top_m) in enumerate(tops, start=1):
        label, low = site.label(key), over
        if key != own:
            at = ground.levels_m[key]
            what = f"the {label} while all runs, above the datum"
            page.given(f"z{i}", at, METRE, what, f"{key}.level")
            low = f"zl{i}", max(over[1], at)
            title = f"The {label} stands no lower than that"
            page.step(title, low[0], f"max({over[0]}, z{i})", low[1], METRE)
        top = "zfull" if page.knows("zfull") else f"zr{i}"
        if not page.knows(top):
            what, source = f"rim of the {label}, above the datum", f"chambers.{key}.rim"
            page.given(top, top_m, METRE, what, source)
        parts.append(f"V{i}")
        whole += put_between(page, site, key, (low, (top, top_m)), name=parts[-1], tag=str(i))
    page.step("What fits over it", "V", " + ".join(parts), whole, VOLUME)
    return whole


def _say_fit(page: Page, room: float, needs: Named, at_top: bool) -> None:
    """How near the room is to what must fit."""
    if at_top and room > needs[1]:
        page.say("More fits than must, even at the top.")
    elif room < needs[1] * (1.0 - 1e-6):
        page.say("It does not fit even over the lowest height.")
    else:
        page.residual(f"V - {needs[0]}", room - needs[1], VOLUME)
