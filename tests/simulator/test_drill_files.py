"""Drill files: ours are sound and read well, bad ones get a sentence for each mistake."""

from __future__ import annotations

import re

import pytest

from rules.hazards.table import HAZARDS
from rules.site.model import Site
from simulator.library import (
    NotThereError,
    drill_names,
    drill_text,
    load_drill,
    load_site,
    site_names,
    site_text,
)
from simulator.signals.stand import PlantBoard
from simulator.story.drill import Drill
from simulator.story.drill_file import DrillError, parse_drill
from simulator.story.judge import statements_for
from simulator.story.named import HazardName
from simulator.story.roles import NoSuchRoleError
from simulator.story.script import Script
from simulator.water.plant import Plant
from tests.level_site import level_site
from tests.simulator.stories import drill_of, everything

GOOD = """
title = "A small night"
story = "Something happens."
starts_at = "02:40"
lasts = "10 min"

[[happens]]
at = "1 min"
what = "block"
where = "main drain of the first display"

[[must]]
what = "pump cut"
within = "30 s"

[[must_not]]
what = "spill"
"""


@pytest.fixture(scope="session", name="everything")
def _everything() -> Site:
    return everything()


def sentences(text: str) -> list[str]:
    """What is said about a drill file."""
    with pytest.raises(DrillError) as refused:
        parse_drill(text, "night.toml")
    return str(refused.value).splitlines()


def test_the_library_holds_the_demo_sites_and_its_drills() -> None:
    assert {"classroom", "rack"} <= set(site_names())
    assert len(drill_names()) >= 40
    assert load_site("rack").site.id == "frag-rack"
    assert "[chambers.display]" in site_text("classroom")


@pytest.mark.parametrize("name", drill_names())
def test_each_drill_fits_a_site(
    name: str, classroom: Site, rack: Site, workshop: Site, everything: Site
) -> None:
    """Every role it names is played on one site at least; elsewhere the lack is a sentence."""
    drill = load_drill(name)
    assert drill.must_not
    assert len(drill.story.split()) >= 20
    fits = 0
    sentences = []
    for site in (classroom, rack, workshop, everything, level_site()):
        try:
            Script(site, PlantBoard(site, Plant(site, 0)), drill)
            assert statements_for(site, drill)
            fits += 1
        except NoSuchRoleError as lack:
            sentences.append(str(lack))
    assert fits > 0
    assert all("has no" in sentence for sentence in sentences)


def test_a_drill_or_site_that_is_not_there_is_a_sentence() -> None:
    with pytest.raises(NotThereError, match='there is no drill "snail"; the drills are all-'):
        drill_text("snail")
    with pytest.raises(NotThereError, match="the sites are classroom, rack"):
        site_text("snail")


def test_hazard_names_are_those_of_the_guard() -> None:
    """A drill cannot ask for the alarm of a hazard that does not exist, nor miss one that does."""
    assert set(HazardName.__args__) == set(HAZARDS)


def test_a_good_drill_is_read() -> None:
    drill = parse_drill(GOOD, "night.toml")
    assert drill.lasts == 600.0
    assert drill.cause_s == 60.0


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('lasts = "10 min"', "lasts = 600", r"lasts: 600 has no unit; write it as text"),
        ('lasts = "10 min"', "", r"lasts: missing; it gives how long it goes on"),
        ("title =", 'titel = "x"\ntitle =', r'titel: unknown key; did you mean "title"\?'),
        ('"02:40"', '"25:40"', r"starts_at: .*pattern.*'25:40'"),
        ('"block"', '"blocks"', r'\[happens 1\]: what must be one of "block", "unblock"'),
        ('what = "block"', "", r"\[happens 1\]: what must be one of"),
        ('at = "1 min"', 'at = "1 l"', r'\[happens 1\] at: "1 l" is of another kind of quantity'),
        ('at = "1 min"', 'at = "20 min"', r'"block" happens after the drill has ended'),
        ('"1 min"\n', '"1 min"\nhow = 1\n', r"\[happens 1\] how: unknown key"),
        ("main drain of", "main drian of", r'"drian" is no passage that a drill can name'),
        ("main drain of the first display", "main comb", r"only a drain can be the main one"),
        ("the first display", "the first tank", r'"first tank"|"tank" is no chamber'),
        ('"30 s"', '"-30 s"', r"\[must 1\] within: .* is out of range: it must not be negative"),
        ('"spill"', '"splash"', r"\[must_not 1\]: what must be one of .*\"spill\""),
        ("title =", "title ==", r"line 2.*not TOML"),
        (GOOD[GOOD.index("[[must]]") :], "", r"proves nothing; state at least one"),
    ],
)
def test_each_mistake_is_a_sentence(old: str, new: str, sentence: str) -> None:
    assert old in GOOD
    said = sentences(GOOD.replace(old, new, 1))
    assert len(said) == 1
    assert said[0].startswith("night.toml: ")
    assert re.search(sentence, said[0]), said[0]


def test_all_mistakes_are_told_at_once() -> None:
    assert len(sentences(GOOD.replace('"1 min"', "1").replace('"30 s"', "30"))) == 2


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('what = "swap"; where = "high float"', r"with: missing; it gives the contact that it is"),
        (
            'what = "swap"; where = "low float"; with = "leak pad"; wit = "x"',
            r'wit: unknown key; did you mean "with"',
        ),
        (
            'what = "loose cable"; where = "high float"; a_minute = 6; lasts = "9 s"',
            r"for: missing; it gives how long it stays parted",
        ),
        (
            'what = "loose cable"; where = "high float"; a_minute = 60; for = "1 s"',
            r"it would never close again",
        ),
        (
            'what = "loose cable"; where = "high float"; a_minute = 0; for = "1 s"',
            r"a_minute: .* greater than 0 \(it is 0\)",
        ),
        ('what = "stick valve"; state = "ajar"', r"state: .*'half open' \(it is 'ajar'\)"),
        (
            'what = "stick valve"; state = "shut"; share = "9 %"',
            r'share: only a valve that is "half open" has one',
        ),
        (
            'what = "leak"; where = "display"; flow = "1 l/min"; over = "9 s"; '
            'mended_after = "2 s"',
            r"mended_after: a leak cannot be mended before it has come about",
        ),
        (
            'what = "stir"; where = "display"; height = "3 m"; lasts = "9 s"',
            r"height: give the waves more than 0 mm and at most 200 mm",
        ),
        (
            'what = "weld relay"; where = "return pump"',
            r'"return pump" is no output that a drill can name; it knows pump relay, top-off valve',
        ),
        (
            'what = "foul"; where = "wet float"; share = "9 %"',
            r'"wet float" is no meter that .* knows flow meter',
        ),
        (
            'what = "stir"; where = "display"; height = "9 mm"',
            r"lasts: missing; it gives after how",
        ),
        ('what = "guard killed"; pins = "up"', r"pins: input should be 'held' or 'let go'"),
        ('what = "clock jumps"; by = "1 h"; to = "noon"', r"to: .*'forward' or 'back'"),
        ('what = "acknowledge"; hazard = "flood"', r"hazard: .*'spill-edge'.* \(it is 'flood'\)"),
        ('what = "offset"; by = "-2 mm"; to = "more"', r"by: .*greater than or equal to 0"),
    ],
)
def test_each_mistake_in_a_happening_is_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(DrillError) as refused:
        drill_of('at = "1 s"; ' + text)
    said = str(refused.value).splitlines()
    assert len(said) == 1
    assert re.search(rf"\[happens 1\] ?{sentence}|{sentence}", said[0]), said[0]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('what = "starts"', r"more_than: missing; it gives how many starts are none too many"),
        ('what = "pump on"', r"while: missing; it gives when it may not be on"),
        ('what = "pump on", while = "wet"', r"while: .*'cut cause stands' \(it is 'wet'\)"),
        ('what = "alert twice", hazard = "x"', r"hazard: .*\(it is 'x'\)"),
    ],
)
def test_each_mistake_in_a_statement_is_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(DrillError) as refused:
        drill_of('at = "1 s"; what = "power cut"', states=f"must_not = [{{ {text} }}]")
    said = str(refused.value).splitlines()
    assert len(said) == 1
    assert re.search(rf"\[must_not 1\] {sentence}", said[0]), said[0]


def test_every_happening_does_what_it_says(classroom: Site) -> None:
    """Each kind once, and what it changed in the plant or its sensors."""
    entries = """
[[happens]]
at = "0 s"
what = "wear"
where = "return pump"
share = "10 %"
[[happens]]
at = "0 s"
over = "100 s"
what = "block"
where = "sponge"
share = "80 %"
[[happens]]
at = "0 s"
what = "block"
where = "second branch"
share = "30 %"
[[happens]]
at = "200 s"
what = "unblock"
where = "sponge"
[[happens]]
at = "0 s"
what = "stick valve"
state = "shut"
[[happens]]
at = "0 s"
what = "cut cable"
where = "leak pad"
[[happens]]
at = "0 s"
what = "silence"
[[happens]]
at = "0 s"
over = "10 s"
what = "drift"
to = "less"
share = "4 %"
[[happens]]
at = "0 s"
what = "leak"
where = "inlet chamber"
flow = "1 l/min"
mended_after = "60 s"
[[happens]]
at = "0 s"
over = "60 s"
what = "add water"
where = "return chamber"
volume = "6 l"
[[happens]]
at = "0 s"
what = "plug siphon break"
where = "branch of the first display"
[[happens]]
at = "0 s"
what = "power cut"
lasts = "30 s"
[[happens]]
at = "0 s"
what = "pump dies"
where = "return pump"
[[happens]]
at = "100 s"
what = "pump revives"
where = "return pump"
"""
    drill = parse_drill(
        GOOD[: GOOD.index("[[happens]]")] + entries + '[[must]]\nwhat="pump cut"', "x"
    )
    plant = Plant(classroom, 0, exact=True)
    board = PlantBoard(classroom, plant)
    script = Script(classroom, board, drill)
    meter = board.sensors.meters["return-flow"]
    held: dict[int, tuple[object, ...]] = {}
    for second in range(301):
        script.advance(float(second))
        held[second] = (
            plant.condition["sponge"], plant.mains, plant.lifts["return-pump"].seized,
            bool(plant.leak_m3_s), bool(plant.stream_m3_s),
        )  # fmt: skip
        plant.advance(1.0)
    assert held[10] == (pytest.approx(0.92), False, True, True, True)
    assert held[50] == (pytest.approx(0.60), True, True, True, True)
    assert held[150] == (pytest.approx(0.20), True, False, False, False)
    assert held[250] == (1.0, True, False, False, False)
    assert plant.lifts["return-pump"].condition == pytest.approx(0.9)
    assert plant.valve_stuck is False
    assert board.sensors.contacts["floor-pad"].cable_cut
    assert meter.silent
    assert meter.drift == pytest.approx(-0.04)
    assert plant.leaked_m3 == pytest.approx(1e-3, rel=1e-6)
    assert plant.brought_m3 == pytest.approx(6e-3, rel=1e-6)
    assert plant.rises["riser"].plugged
    assert plant.rises["refugium-feed"].condition == pytest.approx(0.7)


def test_only_one_cause() -> None:
    text = GOOD.replace('at = "1 min"', 'at = "1 min"\ncause = true')
    twice = text + '\n[[happens]]\nat = "2 min"\nwhat = "power cut"\ncause = true\n'
    assert "only one happening can be the cause" in sentences(twice)[0]
    assert isinstance(parse_drill(text, "x"), Drill)


def test_a_number_too_long_to_read_is_a_sentence() -> None:
    with pytest.raises(DrillError, match="a number too long"):
        parse_drill(f"lasts = {'9' * 5000}", "long.toml")
