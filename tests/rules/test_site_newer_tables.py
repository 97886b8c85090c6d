"""Odd shapes, under-baffles, level runs, valves, canisters, worn pumps and water changes.

What is right computes to figures worked by hand; each mistake gets one sentence.
"""

from __future__ import annotations

import re
from math import pi

import pytest

from tests.rules.nights import edited, site_of, text_of
from tests.rules.test_site_mistakes import only

CLASSROOM = text_of("classroom")
LITRE = 1e-3


# --- shapes of chambers --------------------------------------------------------------------------

SHAPELESS = edited(CLASSROOM, "chambers.refugium", length=None, width=None)


def refugium(**shape: str):
    """The refugium, rim at 300 mm, in another shape."""
    return site_of(edited(SHAPELESS, "chambers.refugium", **shape)).chambers["refugium"]


def test_cylinder_holds_its_circle_times_its_height() -> None:
    """pi/4 x 0.4^2 x 0.3 = 37.70 l."""
    tank = refugium(diameter='"400 mm"')
    assert tank.volume_m3(0.3) == pytest.approx(37.699 * LITRE, rel=1e-4)
    assert tank.plan_m2(0.1) == pytest.approx(pi / 4 * 0.16)
    assert tank.level_m(37.699 * LITRE) == pytest.approx(0.3, rel=1e-4)


ODD = """[
  { level = "0 mm", volume = "0 l" },
  { level = "100 mm", volume = "4 l" },
  { level = "200 mm", volume = "20 l" },
  { level = "300 mm", volume = "50 l" },
]"""


@pytest.mark.parametrize(
    ("level_m", "litres", "plan_m2"),
    [(0.0, 0, 0.04), (0.05, 2, 0.04), (0.15, 12, 0.16), (0.25, 35, 0.30), (0.3, 50, 0.30)],
)
def test_odd_shape_goes_straight_from_line_to_line(level_m, litres, plan_m2) -> None:
    """By hand: 4, 16 and 30 l for the first, second and third 100 mm."""
    tank = refugium(fillings=ODD)
    assert tank.volume_m3(level_m) == pytest.approx(litres * LITRE)
    assert tank.level_m(litres * LITRE) == pytest.approx(level_m)
    assert tank.plan_m2(level_m) == pytest.approx(plan_m2)


def test_rock_takes_its_share_of_an_odd_shape() -> None:
    """A quarter of it rock: 15 l up to 200 mm, and 22.5 l between there and the rim."""
    tank = refugium(fillings=ODD, displacement='"25 %"')
    assert tank.volume_m3(0.2) == pytest.approx(15 * LITRE)
    assert tank.level_m(15 * LITRE) == pytest.approx(0.2)
    assert tank.between_m3(tank.bottom + 0.2, tank.rim_m) == pytest.approx(22.5 * LITRE)
    assert tank.between_m3(tank.rim_m, tank.bottom) == 0.0


def test_odd_shape_goes_on_over_its_last_line() -> None:
    """Levels over the rim are asked about while water spills: as wide as below it."""
    tank = refugium(fillings=ODD)
    assert tank.volume_m3(0.31) == pytest.approx(53 * LITRE)


# --- what is right reads as it was meant ---------------------------------------------------------

CHANGE = '\n[water_change]\nout_of = "return"\ninto = "inlet"\ndaily = "20 l"\n'


def test_water_change_is_read() -> None:
    """Twenty litres a day; the two pumps differ by 5 % unless told otherwise."""
    change = site_of(CLASSROOM + CHANGE).water_change
    assert change is not None
    assert (change.out_of, change.into) == ("return", "inlet")
    assert change.daily == pytest.approx(20 * LITRE)
    assert change.tolerance == 0.05
    assert site_of(CLASSROOM).water_change is None


# --- mistakes ------------------------------------------------------------------------------------


def shaped(**shape: str | None) -> str:
    """The classroom with its refugium in another shape."""
    return edited(SHAPELESS, "chambers.refugium", **shape)


def filled(*lines: str) -> str:
    """The same, by a table of levels and volumes."""
    pairs = (line.split() for line in lines)
    rows = ", ".join(f'{{ level = "{a} mm", volume = "{b} l" }}' for a, b in pairs)
    return shaped(fillings=f"[{rows}]")


SLOT = """
[passages.slot]
kind = "under-baffle"
from = "inlet"
to = "media"
bottom = "10 mm"
gap = "20 mm"
width = "400 mm"
"""
LEVEL = '{ length = "2 m", fall = "20 mm" }'
REFUGIUM, OPEN, MAIN = "chambers.refugium", "passages.open-drain", "passages.main-drain"
RISER, PUMP = "passages.riser", "pumps.return-pump"

# the text, then where it is told, and the words
MISTAKES = {
    "two shapes": (
        edited(CLASSROOM, REFUGIUM, diameter='"400 mm"'),
        (REFUGIUM, "", "give its shape in one way"),
    ),
    "no shape": (SHAPELESS, (REFUGIUM, "", "give its shape in one way")),
    "half a box": (shaped(length='"400 mm"'), (REFUGIUM, "", "both length and width, or neither")),
    "no diameter": (
        shaped(diameter='"0 mm"'),
        (REFUGIUM, "diameter", "it must be more than zero"),
    ),
    "one filling": (filled("0 0"), (REFUGIUM, "", "fillings: begin with level 0 and volume 0")),
    "fillings from the middle": (
        filled("10 0", "300 30"),
        (REFUGIUM, "", "fillings: begin with level 0 and volume 0"),
    ),
    "fillings that shrink": (
        filled("0 0", "200 20", "300 19"),
        (REFUGIUM, "", "fillings: from line to line level and volume must both grow"),
    ),
    "fillings out of order": (
        filled("0 0", "200 20", "150 30", "300 40"),
        (REFUGIUM, "", "fillings: from line to line level and volume must both grow"),
    ),
    "fillings that end below the rim": (
        filled("0 0", "200 20"),
        (REFUGIUM, "", "fillings: the last line must reach the rim"),
    ),
    "filling without a unit": (
        shaped(fillings='[{ level = "0 mm", volume = 0 }, { level = "300 mm", volume = "9 l" }]'),
        (REFUGIUM, "fillings.0.volume", '0 has no unit; write it as text with one, like "40 l"'),
    ),
    "filling with a key too many": (
        shaped(
            fillings='[{ level = "0 mm", volume = "0 l" }, '
            '{ level = "300 mm", volume = "9 l", plan = "1 m^2" }]'
        ),
        (REFUGIUM, "fillings.1.plan", "unknown key; this table knows level, volume"),
    ),
    "filling without a volume": (
        shaped(fillings='[{ level = "0 mm", volume = "0 l" }, { level = "300 mm" }]'),
        (REFUGIUM, "fillings.1.volume", "missing; it gives the water in it at that level"),
    ),
    "fillings that are no list": (
        shaped(fillings='"30 l"'),
        (REFUGIUM, "fillings", "must be a list in square brackets"),
    ),
    "slot without a gap": (
        CLASSROOM + SLOT.replace('gap = "20 mm"\n', ""),
        ("passages.slot", "gap", r"missing; it gives the clear height of the slot"),
    ),
    "slot of no height": (
        CLASSROOM + SLOT.replace("20 mm", "0 mm"),
        ("passages.slot", "gap", "it must be more than zero"),
    ),
    "slot over the rim": (
        CLASSROOM + SLOT.replace("10 mm", "410 mm"),
        ("passages.slot", "bottom", r"410.0 mm lies above the rim of inlet \(rim at 400.0 mm\)"),
    ),
    "slot with a crest": (
        CLASSROOM + SLOT + 'crest = "30 mm"\n',
        ("passages.slot", "crest", "unknown key"),
    ),
    "level run that is steep": (
        edited(CLASSROOM, OPEN, level_run=LEVEL.replace("20 mm", "201 mm")),
        (OPEN, "", "level_run: a fall of more than a tenth of its length is not level"),
    ),
    "level run that does not fall": (
        edited(CLASSROOM, OPEN, level_run=LEVEL.replace("20 mm", "0 mm")),
        (OPEN, "level_run.fall", "it must be more than zero"),
    ),
    "level run without a fall": (
        edited(CLASSROOM, OPEN, level_run='{ length = "2 m" }'),
        (OPEN, "level_run.fall", "missing; it gives how far it falls over that length"),
    ),
    "level run by slope": (
        edited(CLASSROOM, OPEN, level_run='{ length = "2 m", fall = "9 mm", slop = "1 %" }'),
        (OPEN, "level_run.slop", r"unknown key; this table knows length, fall"),
    ),
    "level run that is a length": (
        edited(CLASSROOM, OPEN, level_run='"2 m"'),
        (OPEN, "level_run", "must be a table with keys of its own"),
    ),
    "a valve told twice": (
        edited(CLASSROOM, MAIN, valve_open='"50 %"'),
        (MAIN, "", "give tuned_share or valve_open, not both"),
    ),
    "a valve nearly shut": (
        edited(CLASSROOM, MAIN, tuned_share=None, valve_open='"24 %"'),
        (MAIN, "", "valve_open: no table says what a valve passes under 25 %"),
    ),
    "a valve on a drain that has none": (
        edited(CLASSROOM, OPEN, valve_open='"50 %"'),
        (OPEN, "valve_open", "unknown key"),
    ),
    "canister without a flow": (
        edited(CLASSROOM, RISER, canister='{ loss = "300 mm" }'),
        (RISER, "canister.at_flow", "missing; it gives the flow at which that loss was seen"),
    ),
    "canister at no flow": (
        edited(CLASSROOM, RISER, canister='{ loss = "300 mm", at_flow = "0 l/h" }'),
        (RISER, "canister", "at_flow must be more than nought"),
    ),
    "pump worn away": (
        edited(CLASSROOM, PUMP, worn='"100 %"'),
        (PUMP, "", "worn must be under 100 % and speed over 0 %"),
    ),
    "pump that stands": (
        edited(CLASSROOM, PUMP, speed='"0 %"'),
        (PUMP, "", "worn must be under 100 % and speed over 0 %"),
    ),
    "speed as a number": (
        edited(CLASSROOM, PUMP, speed="0.8"),
        (PUMP, "speed", 'must be a percentage as text, like "92 %"'),
    ),
    "change out of nowhere": (
        CLASSROOM + CHANGE.replace('"return"', '"sump"'),
        ("water_change", "out_of", '"sump" is no chamber of this site; its chambers are'),
    ),
    "change into nowhere": (
        CLASSROOM + CHANGE.replace('"inlet"', '"riser"'),
        ("water_change", "into", '"riser" is no chamber of this site; its chambers are'),
    ),
    "change of no size": (
        CLASSROOM + CHANGE.replace('daily = "20 l"\n', ""),
        ("water_change", "daily", "missing; it gives the water exchanged in a day"),
    ),
    "change by flow": (
        CLASSROOM + CHANGE.replace("20 l", "20 l/h"),
        ("water_change", "daily", 'of another kind of quantity; write it like "40 l"'),
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_one_mistake_gets_one_sentence(mistake: str) -> None:
    text, (at_table, at_key, words) = MISTAKES[mistake]
    table, key, sentence = only(text)
    assert (table, key) == (at_table, at_key)
    assert re.search(words, sentence), sentence


@pytest.mark.parametrize(
    "text",
    [
        filled("0 0", "300 30"),
        CLASSROOM + SLOT,
        edited(CLASSROOM, OPEN, level_run=LEVEL.replace("20 mm", "200 mm")),
        edited(CLASSROOM, MAIN, tuned_share=None, valve_open='"25 %"'),
        edited(CLASSROOM, RISER, canister='{ loss = "300 mm", at_flow = "1500 l/h" }'),
        edited(CLASSROOM, PUMP, worn='"99 %"', speed='"1 %"'),
    ],
    ids=["fillings", "slot", "level run", "valve", "canister", "pump"],
)
def test_what_only_just_is_right_is_no_mistake(text: str) -> None:
    site_of(text)
