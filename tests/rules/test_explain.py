"""Derivations: each can be followed with plain arithmetic, and ends in the figure printed."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from math import inf

import pint
import pytest

from daemon import checking, report
from rules import engine
from rules.explain.explain import explain, known
from rules.explain.ground import Ground
from rules.figures import allowed_level_m
from rules.plan import Plan
from rules.site.passages import Branch
from tests.rules.explained_sites import CLASSROOM, TEXTS, ground_of, lines_of, page, plan_of
from tests.rules.nights import edited, site_of, text_of, without_table
from tests.rules.worked_pages import follow, read

DEMOS = ("classroom", "rack")
SECTIONS = ["Asked", "Given", "Worked", "Range and doubt", "Result"]
RESULT = re.compile(r"^(\S+) = (.+?) \((without end|\S+) ?([^)]*)\)")


@cache
def units() -> pint.UnitRegistry[float]:
    """Units, to read printed figures back independently of how they are printed."""
    return pint.UnitRegistry()


# --- every step follows --------------------------------------------------------------------------


@pytest.mark.parametrize("name", TEXTS)
def test_every_step_of_every_figure_can_be_followed(name: str) -> None:
    """Formula, numbers put in and result agree, in plain arithmetic on what is printed."""
    for figure in known(plan_of(name)):
        try:
            follow(page(name, figure))
        except (AssertionError, ValueError) as error:
            pytest.fail(f"{name}, {figure}: {error}")


@pytest.mark.parametrize("name", DEMOS)
def test_rounding_hides_nothing(name: str) -> None:
    """What the digits left out are worth is under a thousandth of every single step."""
    for figure in known(plan_of(name)):
        for symbol, share in follow(page(name, figure)).items():
            assert share < 1e-3, f"{figure}, {symbol}"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("    v = 0.865805", "    v = 0.866805"),  # a value found by trial
        ("       = 0.00108138", "       = 0.00108238"),  # a result
        ("hl = (K + Kv +", "hl = (K + 2 * Kv +"),  # a formula
        ("(2.658 + 25.35498 +", "(2.658 + 25.45498 +"),  # a number put in
        ("  L = 1.3 m", "  L = 1.4 m"),  # a given value
    ],
)
def test_a_page_with_one_thing_wrong_cannot_be_followed(old: str, new: str) -> None:
    """The reader itself: it lets no altered digit through."""
    lines = explain(plan_of("classroom"), "main-drain.capacity")
    assert sum(old in line for line in lines) >= 1
    altered = tuple(line.replace(old, new) for line in lines)
    follow(read(lines))
    with pytest.raises(AssertionError):
        follow(read(altered))


def test_what_was_found_by_trial_leaves_next_to_nothing() -> None:
    """Residuals are printed as computed with all digits: rounding, where water is not spilt."""
    residual = re.compile(r"residual, with all digits: .* = (\S+)")
    found = [
        (abs(float(match[1])), name, figure, line)
        for name in TEXTS
        for figure in known(plan_of(name))
        for line in lines_of(name, figure)
        if (match := residual.search(line))
    ]
    assert len(found) > 400
    assert max(found)[0] < 1e-9, max(found)


# --- the figure itself ---------------------------------------------------------------------------


def of_chamber(plan: Plan, key: str, name: str) -> float:
    """A figure of a chamber, in SI."""
    chamber = plan.site.chambers[key]
    if name == "level":
        return plan.figures.running.levels_m[key] - chamber.bottom
    if name == "allowed-level":
        return allowed_level_m(plan.site, key) - chamber.bottom
    drained = next(found for found in plan.figures.drained if found.chamber == key)
    return {
        "freeboard": drained.freeboard_m3,
        "margin": drained.margin,
    }[name]


def of_pump(plan: Plan, key: str, name: str) -> float:
    """A figure of a pump, in SI."""
    lift = plan.figures.lift(key)
    return {
        "flow": lift.flow_m3_s,
        "over-intake": lift.dry_m3,
        "drain-down": lift.drain_down_m3,
        "room": lift.room_m3,
    }[name]


def of_site(plan: Plan, found: Ground, name: str) -> float:
    """A figure of the whole site, in SI (an hour and a day for what is per hour and in days)."""
    upkeep = found.upkeep
    return {
        "volume": plan.figures.volume_m3,
        "turnover": upkeep.turnover_per_h,
        "evaporation": upkeep.evaporation_m3_day,
        "reservoir-days": upkeep.reservoir_days,
        "salt-per-litre": upkeep.salt_per_litre_g_kg,
    }[name]


def of_passage(plan: Plan, key: str, name: str) -> float | None:
    """A figure of a passage, in SI; None for the capacity of one that is no drain."""
    if name == "flow":
        return plan.figures.running.flows_m3_s[key]
    return next(
        (d.capacity_m3_s[key] for d in plan.figures.drained if key in d.capacity_m3_s), None
    )


def expected(name: str, figure: str) -> float | None:
    """What the figure is, from where `check` takes it; None where it takes it from nowhere."""
    plan = plan_of(name)
    key, _, what = figure.rpartition(".")
    if figure == "site.viscosity":
        return None
    if key == "site":
        return of_site(plan, ground_of(name), what)
    if key in plan.site.chambers:
        return of_chamber(plan, key, what)
    if key in plan.site.pumps:
        return of_pump(plan, key, what)
    if key in plan.site.passages:
        return of_passage(plan, key, what)
    return None


@pytest.mark.parametrize("name", TEXTS)
def test_the_last_line_is_the_figure_of_the_plan(name: str) -> None:
    """In SI to six digits; in the site's units to half of the last digit printed."""
    compared = 0
    for figure in known(plan_of(name)):
        value = expected(name, figure)
        if value is None:
            continue
        said = RESULT.match(page(name, figure).result)
        assert said, page(name, figure).result
        assert said[1] == figure
        exact = inf if said[3] == "without end" else float(said[3])
        assert exact == pytest.approx(value, rel=5e-6, abs=1e-12), figure
        compared += 1
        if said[4] in ("m", "m3", "m3/s") and exact < inf:
            own, si = units().Quantity(said[2]), said[4].replace("m3", "m^3")
            digits = said[2].split(" ")[0].partition(".")[2]
            half = units().Quantity(0.5 * 10.0 ** -len(digits), own.units).to(si)
            assert own.to(si).magnitude == pytest.approx(exact, abs=1.001 * half.magnitude)
    assert compared > 40


@pytest.mark.parametrize("name", DEMOS)
def test_a_float_hangs_between_the_heights_derived(name: str) -> None:
    """The same heights as in the assessment, and its judgement of where the float hangs."""
    number = re.compile(r"\((\S+) m to (\S+) m\); it hangs at .*, that (suits|does not suit)")
    seen = 0
    for place in ground_of(name).places:
        assert place.fitted is not None
        said = number.search(page(name, f"{place.fitted}.height").result)
        assert said, page(name, f"{place.fitted}.height").result
        assert float(said[1]) == pytest.approx(place.least_m, abs=1e-6)
        assert float(said[2]) == pytest.approx(place.most_m, abs=1e-6)
        assert (said[3] == "suits") is place.suits
        seen += 1
    assert seen >= 5


def test_a_float_that_hangs_too_high_is_said_to() -> None:
    """The rim is at 600 mm; 598 mm leaves no time."""
    text = edited(CLASSROOM, "sensors.display-high", height='"598 mm"')
    (last,) = explain(engine.plan_for(site_of(text)), "display-high.height")[-1:]
    assert last.endswith("it hangs at 598.0 mm, that does not suit")


@pytest.mark.parametrize("name", DEMOS)
def test_check_prints_the_very_same(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """In the line of `check` that begins with the thing's id, its figure stands as derived."""
    plan = plan_of(name)
    report.print_check(checking.check(plan.site))
    printed = capsys.readouterr().out.splitlines()
    looked_for = 0
    for figure in known(plan):
        key, _, what = figure.rpartition(".")
        listed = what in ("level", "flow", "over-intake", "drain-down", "room") or (
            what == "capacity" and key in {k for d in plan.figures.drained for k in d.capacity_m3_s}
        )
        if not listed:
            continue
        said = RESULT.match(page(name, figure).result)
        assert said
        own = re.compile(rf"(?<![\d.]){re.escape(said[2])}(?![\d.])")
        rows = [line for line in printed if re.search(rf"(^|\s){re.escape(key)}\s", line)]
        assert any(own.search(row) for row in rows), f"{figure}: {said[2]}"
        looked_for += 1
    assert looked_for > 25
    for drained in plan.figures.drained:
        said = page(name, f"{drained.chamber}.margin").result
        value, low, high = re.findall(r"\d+\.\d\d(?!\d)", said)
        assert any(f"margin {value} ({low} to {high})" in line for line in printed), said
    for what in ("turnover", "evaporation", "reservoir-days", "salt-per-litre", "volume"):
        said = RESULT.match(page(name, f"site.{what}").result)
        assert said
        own = said[2].removesuffix(" an hour")
        assert any(line.endswith(own) for line in printed), said[0]


def test_the_band_of_a_margin_is_that_of_the_assessment() -> None:
    for name in TEXTS:
        for band in ground_of(name).doubt.drained:
            worked = page(name, f"{band.chamber}.margin")
            if "Mlow" not in worked:
                continue
            assert worked["Mlow"] == pytest.approx(band.margin.low, rel=5e-6)
            assert worked["Mhigh"] == pytest.approx(band.margin.high, rel=5e-6)


# --- what else a page must be --------------------------------------------------------------------


@pytest.mark.parametrize("name", TEXTS)
def test_a_page_has_its_parts_in_order_and_no_line_too_long(name: str) -> None:
    for figure in known(plan_of(name)):
        lines = lines_of(name, figure)
        sections = [line for line in lines[1:] if line and not line.startswith(" ")]
        assert sections in (SECTIONS, [part for part in SECTIONS if part != "Given"]), figure
        assert lines[0].startswith(f"{figure}: ")
        assert lines[-1].startswith(f"  {figure} = ")
        assert max(map(len, lines[:-1])) <= 100, figure
        assert len(lines[-1]) <= 132, figure


@pytest.mark.parametrize("name", ["classroom", "rack", "odd", "parts measured", "two pumps"])
def test_every_source_named_is_there(name: str) -> None:
    """What stands in square brackets is a key of the site file, another figure, or a source."""
    plan, tables = plan_of(name), tomllib.loads(TEXTS[name])
    sources = {"handbooks", "own estimates", "common practice", "plumbing codes", "from memory"}
    authors = ("Crane", "Kindsvater-Carter", "Fritsch and Butland", "handbook table")
    figures, seen = set(known(plan)), set()
    for figure in figures:
        text = " ".join(line.strip() for line in explain(plan, figure))
        seen |= set(re.findall(r"\[([^\]]+)\]", text))
    for source in sorted(seen):
        named = source.split(",")[0]
        if source in sources or source.startswith(authors) or named in figures:
            continue
        table: object = tables
        for part in named.split("."):
            # what the file leaves out has a default, and is a key of the table all the same
            assert isinstance(table, dict), source
            known_key = part in table or part in ("filter", "tolerance", "run_on", "speed", "worn")
            known_key = known_key or part in ("displacement", "evaporation", "salinity")
            assert known_key, f"{name}: [{source}]"
            table = table.get(part, "default")
    assert len(seen) > 60


def test_what_can_be_asked_for() -> None:
    figures = known(plan_of("classroom"))
    assert len(set(figures)) == len(figures)
    site = plan_of("classroom").site
    for key, passage in site.passages.items():
        assert f"{key}.flow" in figures
        assert (f"{key}.capacity" in figures) is not isinstance(passage, Branch)
    for key in site.drained_chambers():
        assert {f"{key}.{name}" for name in ("margin", "freeboard", "allowed-level")} < {*figures}
    for key in site.pumps:
        assert {f"{key}.{name}" for name in ("flow", "drain-down", "room")} < {*figures}
    for key in site.floats():
        assert {f"{key}.height", f"{key}.response"} < {*figures}
    assert "display.margin" not in figures, "no drain leaves the display"
    assert "floor-pad.height" not in figures


@pytest.mark.parametrize(
    ("asked", "nearest"),
    [
        ("main-drain.capcity", "main-drain.capacity"),
        ("MAIN-DRAIN.capacity", "main-drain.capacity"),
        ("main-drain", "main-drain.capacity"),
        ("display.margin", "overflow-box.margin"),
        ("return-pump.height", "return-pump.flow"),
        ("", "site.volume"),
    ],
)
def test_an_unknown_figure_is_told_its_nearest(asked: str, nearest: str) -> None:
    with pytest.raises(LookupError) as caught:
        explain(plan_of("classroom"), asked)
    (sentence,) = caught.value.args
    assert sentence.startswith(f'"{asked}" is no figure of this site; the nearest are ')
    assert asked == "" or nearest in sentence
    named = sentence.split("nearest are ")[1].split(", ")
    assert set(named) <= set(known(plan_of("classroom")))


def test_days_of_a_reservoir_are_not_offered_without_one() -> None:
    text = without_table(without_table(text_of("rack"), "top_off"), "outputs.top-off-valve")
    text = without_table(text, "sensors.return-level")
    plan = engine.plan_for(site_of(text))
    assert "site.reservoir-days" not in known(plan)
    with pytest.raises(LookupError):
        explain(plan, "site.reservoir-days")


def test_asking_changes_nothing_and_says_the_same_twice() -> None:
    plan = plan_of("classroom")
    before = repr(plan)
    first = explain(plan, "return-pump.flow")
    assert explain(plan, "return-pump.flow") == first
    assert repr(plan) == before


@pytest.mark.parametrize(
    ("name", "figure", "words"),
    [
        ("classroom", "first-baffle.flow", "Outside the range of the formula"),
        ("classroom", "last-baffle.capacity", "Inside the range of the formula"),
        ("classroom", "main-drain.flow", "a whirl may still draw air down"),
        ("classroom", "emergency-drain.flow", "The water does not reach the mouth: none flows"),
        ("classroom", "return-level.height", "No rule says where this float should hang"),
        ("short of its share", "main-drain.capacity", "it passes less than its share"),
        ("held back", "main-drain.flow", "as set for all that the pump sends"),
        ("valve open", "main-drain.capacity", "taken as fully open"),
        ("drowned", "display.level", "it spills"),
        ("dead pump", "riser.flow", "The pump does not reach so high"),
        ("odd", "main-drain.capacity", "differ by a factor of two"),
        ("odd", "open-drain.capacity", "Manning 1891"),
        ("past its curve", "return-pump.flow", "Past the last point"),
        ("before its curve", "return-pump.flow", "Before the first point"),
        ("parts measured", "refugium-drain.flow", "measured on 2026-03-14"),
        ("pump measured", "return-pump.flow", "such that as much flows as was measured"),
    ],
)
def test_a_page_says_what_is_out_of_the_ordinary(name: str, figure: str, words: str) -> None:
    """And the classroom's own page of the same figure, where that has one, does not."""
    text = " ".join(line.strip() for line in lines_of(name, figure))
    assert words in text
    if name != "classroom":
        usual = " ".join(line.strip() for line in lines_of("classroom", figure))
        assert words not in usual
