"""Volumes of chambers on a page, upright ones and those of an odd shape."""

from __future__ import annotations

from bisect import bisect_right

from rules.explain.page import METRE, SHARE, SQUARE_METRE, VOLUME, Named, Page
from rules.site.chambers import Chamber, Filling
from rules.site.model import Site


def put_plan(page: Page, site: Site, key: str, tag: str = "") -> None:
    """The surface of an upright chamber less rock and gear, as A, once on a page."""
    chamber, table = site.chambers[key], f"chambers.{key}"
    if page.knows(f"A{tag}") or chamber.fillings is not None:
        return
    label = site.label(key)
    if chamber.length is not None and chamber.width is not None:
        page.given(f"l{tag}", chamber.length, METRE, f"length of the {label}", f"{table}.length")
        page.given(f"w{tag}", chamber.width, METRE, "its width", f"{table}.width")
        formula = f"l{tag} * w{tag}"
    elif chamber.diameter is not None:
        what = f"diameter of the {label}"
        page.given(f"dc{tag}", chamber.diameter, METRE, what, f"{table}.diameter")
        formula = f"pi / 4 * dc{tag}^2"
    else:
        assert chamber.area is not None
        page.given(f"a{tag}", chamber.area, SQUARE_METRE, f"plan of the {label}", f"{table}.area")
        formula = f"a{tag}"
    if chamber.displacement > 0.0:
        _put_displacement(page, chamber, table, tag)
        formula += f" * (1 - d{tag})"
    title = f"Surface of the {label}, less rock and gear"
    page.step(title, f"A{tag}", formula, chamber.plan_m2(0.0), SQUARE_METRE)


def _put_displacement(page: Page, chamber: Chamber, table: str, tag: str) -> None:
    if not page.knows(f"d{tag}"):
        what, source = "share that rock and gear take away", f"{table}.displacement"
        page.given(f"d{tag}", chamber.displacement, SHARE, what, source)


def _put_lines(
    page: Page, key: str, lines: tuple[Filling, Filling], tag: str
) -> tuple[str, str, str, str]:
    """Two lines of a table of levels and volumes; returns their symbols."""
    table = f"chambers.{key}.fillings"
    low, high = lines
    names = (f"la{tag}", f"va{tag}", f"lb{tag}", f"vb{tag}")
    page.given(names[0], low.level, METRE, "next lower level of the table", table)
    page.given(names[1], low.volume, VOLUME, "volume there", table)
    page.given(names[2], high.level, METRE, "next higher level of the table", table)
    page.given(names[3], high.volume, VOLUME, "volume there", table)
    return names


def put_volume(
    page: Page, site: Site, key: str, level: Named, *, name: str, tags: tuple[str, str] = ("", "")
) -> float:
    """The water in a chamber with its level (above its bottom) so high, on the page as `name`.

    `tags` tell this chamber and this level from others on the page.
    """
    chamber, (tag, at) = site.chambers[key], tags
    said, level_m = level
    value = chamber.volume_m3(level_m)
    title = f"Water in the {site.label(key)} with its level at {said}"
    if chamber.fillings is None:
        put_plan(page, site, key, tag)
        formula = f"A{tag} * {said}" if level_m >= 0.0 else "0"
        page.step(title, name, formula, value, VOLUME)
        return value
    i = bisect_right(chamber.fillings, max(0.0, level_m), key=lambda line: line.level)
    i = min(max(1, i), len(chamber.fillings) - 1)
    lines = chamber.fillings[i - 1], chamber.fillings[i]
    la, va, lb, vb = _put_lines(page, key, lines, f"{tag}{at}")
    formula = f"({va} + ({vb} - {va}) * (max(0, {said}) - {la}) / ({lb} - {la}))"
    if chamber.displacement > 0.0:
        _put_displacement(page, chamber, f"chambers.{key}", tag)
        formula += f" * (1 - d{tag})"
    page.step(title, name, formula, value, VOLUME)
    return value


def put_level_of(
    page: Page, site: Site, key: str, volume: Named, *, name: str, tags: tuple[str, str] = ("", "")
) -> float:
    """The level of a chamber (above its bottom) with so much water in it, as `name`."""
    chamber, (tag, at) = site.chambers[key], tags
    said, volume_m3 = volume
    value = chamber.level_m(volume_m3)
    title = f"Level of the {site.label(key)} with {said} in it"
    if chamber.fillings is None:
        put_plan(page, site, key, tag)
        page.step(title, name, f"max(0, {said}) / A{tag}", value, METRE)
        return value
    whole = max(0.0, volume_m3) / (1.0 - chamber.displacement)
    i = bisect_right(chamber.fillings, whole, key=lambda line: line.volume)
    i = min(max(1, i), len(chamber.fillings) - 1)
    lines = chamber.fillings[i - 1], chamber.fillings[i]
    la, va, lb, vb = _put_lines(page, key, lines, f"{tag}{at}")
    share = f"max(0, {said})"
    if chamber.displacement > 0.0:
        _put_displacement(page, chamber, f"chambers.{key}", tag)
        share += f" / (1 - d{tag})"
    formula = f"{la} + ({lb} - {la}) * ({share} - {va}) / ({vb} - {va})"
    page.step(title, name, formula, value, METRE)
    return value


def put_between(
    page: Page, site: Site, key: str, heights: tuple[Named, Named], *, name: str, tag: str = ""
) -> float:
    """The water between two heights above the datum, low and high, on the page as `name`."""
    chamber = site.chambers[key]
    (low, low_m), (high, high_m) = heights
    value = chamber.between_m3(low_m, high_m)
    title = f"Water of the {site.label(key)} from {low} up to {high}"
    if high_m <= low_m:
        page.step(f"{title}: {high} is no higher, so none", name, "0", value, VOLUME)
        return value
    if chamber.fillings is None and low_m >= chamber.bottom:
        put_plan(page, site, key, tag)
        page.step(title, name, f"A{tag} * ({high} - {low})", value, VOLUME)
        return value
    bottom = f"zb{tag}"
    if not page.knows(bottom):
        what = f"bottom of the {site.label(key)}, above the datum"
        page.given(bottom, chamber.bottom, METRE, what, f"chambers.{key}.bottom")
    levels = []
    for end, (said, at_m) in zip(("l", "h"), heights, strict=True):
        level = f"h{end}{name}"
        page.step("", level, f"{said} - {bottom}", at_m - chamber.bottom, METRE)
        named, tags = (level, at_m - chamber.bottom), (tag, f"{end}{name}")
        put_volume(page, site, key, named, name=f"{name}{end}", tags=tags)
        levels.append(f"{name}{end}")
    page.step(title, name, f"{levels[1]} - {levels[0]}", value, VOLUME)
    return value
