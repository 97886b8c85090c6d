"""Drill files: ours are sound and read well, bad ones get a sentence for each mistake."""

from __future__ import annotations

import re

import pytest

from rules.hazards.table import HAZARDS
from rules.site.model import Site
from rules.site.parse import parse_site
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
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.story.script import Script
from simulator.water.plant import Plant

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

CANISTER = 'valve_loss = 100\ncanister = { loss = "300 mm", at_flow = "200 l/h" }'
WATER_CHANGE = """
[water_change]
out_of = "inlet"
into = "return"
daily = "40 l"
"""
LEVEL_SENSOR = """
[sensors.return-depth]
name = "level sensor of the return chamber"
kind = "level"
chamber = "return"
converter = "mcp3008"
channel = 2
low = { level = "100 mm", share = "20 %" }
high = { level = "300 mm", share = "80 %" }
"""


@pytest.fixture(scope="session")
def everything() -> Site:
    """The classroom with a water change, a canister on its refugium's feed and a level sensor."""
    text = site_text("classroom").replace("valve_loss = 120", CANISTER)
    return parse_site(text + WATER_CHANGE + LEVEL_SENSOR, "everything.toml")


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
    for site in (classroom, rack, workshop, everything):
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


def test_roles_on_the_classroom(classroom: Site) -> None:
    said = {
        "first display": ("display",),
        "the overflow box of the first display": ("overflow-box",),
        "inlet chamber": ("inlet",),
        "return chamber": ("return",),
        "reservoir": ("reservoir",),
    }
    for role, ids in said.items():
        assert resolve(classroom, "chamber", role) == ids
    drains = ("main-drain", "open-drain", "emergency-drain")
    assert resolve(classroom, "passage", "every drain of the first display") == drains
    assert resolve(classroom, "passage", "main drain of the first display") == drains[:1]
    assert resolve(classroom, "passage", "second drain of the first display") == drains[1:2]
    assert resolve(classroom, "passage", "first siphon drain") == ("main-drain",)
    assert resolve(classroom, "passage", "screen") == ("sponge",)
    assert resolve(classroom, "branch", "branch of the first display") == ("riser",)
    assert resolve(classroom, "pump", "first return pump") == ("return-pump",)
    assert resolve(classroom, "valve", "the top-off valve") == ("top-off-valve",)
    assert resolve(classroom, "sensor", "high float of the first display") == ("display-high",)
    assert resolve(classroom, "sensor", "low float of the return chamber") == ("return-low",)
    assert resolve(classroom, "meter", "flow meter") == ("return-flow",)
    assert resolve(classroom, "passage", "first-baffle") == ("first-baffle",)


def test_roles_on_the_rack(rack: Site) -> None:
    """Four displays, and each one's main drain is its open one."""
    displays = ("upper-left", "upper-right", "lower-left", "lower-right")
    assert resolve(rack, "chamber", "every display") == displays
    main = resolve(rack, "passage", "main drain of the third display")
    assert main == ("lower-left-drain",)
    assert resolve(rack, "sensor", "drain-watch float of the overflow box of the second display")
    assert len(resolve(rack, "passage", "every drain")) == 8


def test_what_a_site_lacks_is_a_sentence(rack: Site) -> None:
    for sort, role, sentence in (
        ("passage", "the first siphon drain", "Frag rack has no first siphon drain"),
        ("passage", "every siphon drain of the first display", "has no siphon drain of the first"),
        ("chamber", "fifth display", "has no fifth display"),
        ("passage", "main-drain", 'has no passage called "main-drain"'),
    ):
        with pytest.raises(NoSuchRoleError, match=sentence):
            resolve(rack, sort, role)  # type: ignore[arg-type]


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
