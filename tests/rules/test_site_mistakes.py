"""Each mistake in a site file gets a sentence: file, table, key, and what would be right."""

from __future__ import annotations

import re

import pytest

from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.problems import Problem, SiteError
from tests.rules.nights import changed, edited, site_of, text_of, without_table

CLASSROOM = text_of("classroom")


def problems(text: str) -> list[Problem]:
    """What is wrong with a site file."""
    with pytest.raises(SiteError) as caught:
        parse_site(text, "tank.toml")
    for problem in caught.value.problems:
        assert str(problem).startswith("tank.toml: ")
        assert problem.sentence.strip(), "a problem without a sentence"
        assert "\n" not in str(problem)
        assert "!" not in problem.sentence
    return caught.value.problems


def only(text: str) -> tuple[str, str, str]:
    """Table, key and sentence of the only problem."""
    found = problems(text)
    assert len(found) == 1, [str(problem) for problem in found]
    return found[0].table, found[0].key, found[0].sentence


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_the_demo_sites_are_valid(name: str) -> None:
    site = site_of(text_of(name))
    assert isinstance(site, Site)
    assert site.pumps
    assert site.drained_chambers()


# what is edited: table, key, value; then where it is told, and the words
MISTAKES = {
    "pin used twice": (
        ("sensors.box-watch", "pin", "5"),
        ("sensors.box-watch", "pin", r"pin 5 is used by \[sensors.display-high\] already"),
    ),
    "pin of a sensor on an output": (
        ("outputs.pump-relay", "pin", "21"),
        ("outputs.pump-relay", "pin", r"pin 21 is used by \[sensors.floor-pad\] already"),
    ),
    "no such pin": (
        ("outputs.pump-relay", "pin", "40"),
        ("outputs.pump-relay", "pin", r"27.*it is 40"),
    ),
    "float above the rim": (
        ("sensors.display-high", "height", '"640 mm"'),
        (
            "sensors.display-high",
            "height",
            r"640.0 mm lies at or above the rim of display \(rim at 600.0 mm\)",
        ),
    ),
    "float under the bottom": (
        ("sensors.display-high", "height", '"-10 mm"'),
        ("sensors.display-high", "height", r"at or below the bottom of display"),
    ),
    "crest above the rim": (
        ("passages.comb", "crest", '"620 mm"'),
        ("passages.comb", "crest", r"above the rim of display \(rim at 600.0 mm\): no water"),
    ),
    "output without a safe state": (
        ("outputs.pump-relay", "safe", None),
        ("outputs.pump-relay", "safe", r'safe = "low" or safe = "high"'),
    ),
    "unknown key": (
        ("passages.comb", "slotwidth", '"8 mm"'),
        ("passages.comb", "slotwidth", r'unknown key; did you mean "slot_width"\?'),
    ),
    "unknown key, nothing near": (
        ("chambers.overflow-box", "zzzz", "1"),
        ("chambers.overflow-box", "zzzz", r"this table knows name, bottom, rim"),
    ),
    "number without a unit": (
        ("chambers.overflow-box", "rim", "350"),
        ("chambers.overflow-box", "rim", r'350 has no unit; write it as text with one, like "40'),
    ),
    "text without a unit": (
        ("chambers.overflow-box", "rim", '"350"'),
        ("chambers.overflow-box", "rim", r'like "40 mm"'),
    ),
    "wrong dimension": (
        ("chambers.overflow-box", "rim", '"350 l"'),
        ("chambers.overflow-box", "rim", r'"350 l" is of another kind of quantity; .*"40 mm"'),
    ),
    "not a quantity": (
        ("chambers.overflow-box", "rim", '"tall"'),
        ("chambers.overflow-box", "rim", r'"tall" is not a quantity; write it like'),
    ),
    "secret in the site file": (
        ("broker", "password", '"hunter2"'),
        ("broker", "password", r"secret does not belong in the site file.*secret_file"),
    ),
    "unknown chamber": (
        ("passages.refugium-drain", "to", '"medai"'),
        ("passages.refugium-drain", "to", r'"medai" is no chamber of this site; its chambers are'),
    ),
    "unknown pump": (
        ("outputs.pump-relay", "pump", '"return"'),
        ("outputs.pump-relay", "pump", r'"return" is no pump of this site; its pumps are return-p'),
    ),
    "meter on nothing": (
        ("sensors.return-flow", "on", '"comb"'),
        ("sensors.return-flow", "on", r"neither a branch nor a pump; a meter sits on one of riser"),
    ),
    "drain that leads uphill": (
        ("passages.main-drain", "outlet", '"1250 mm"'),
        ("passages.main-drain", "outlet", r"140.0 mm above its mouth: water does not run up"),
    ),
    "level missing": (
        ("chambers.return", "level", None),
        ("chambers.return", "level", r"missing; return-pump draws from here"),
    ),
    "level of the reservoir missing": (
        ("chambers.reservoir", "level", None),
        ("chambers.reservoir", "level", r"missing; it is the reservoir"),
    ),
    "level under the intake": (
        ("chambers.return", "level", '"40 mm"'),
        ("chambers.return", "level", r"is not above the intake of return-pump \(60.0 mm\)"),
    ),
    "id used twice": (
        ("people.keeper", "name", '"one"\n[people.riser]\nname = "two"'),
        ("people", "riser", r"the id is used in \[passages\] already"),
    ),
    "bad id": (
        ("people.keeper", "name", '"one"\n[people."The Keeper"]\nname = "two"'),
        ("people", None, r"lower-case letters, digits and single hyphens"),
    ),
    "kind nobody knows": (
        ("passages.comb", "kind", '"grid"'),
        ("passages", None, r'kind must be one of "weir", "baffle".*"comb"'),
    ),
    "missing key": (
        ("sensors.display-high", "height", None),
        ("sensors.display-high", "height", r"missing; it gives the level at which it turns"),
    ),
    "top-off float elsewhere": (
        ("sensors.return-level", "chamber", '"inlet"'),
        ("sensors.return-level", "chamber", r"adds water to return; its float must hang there"),
    ),
    "no such pipe": (
        ("pumps.return-pump.trunk", "pipe", '"1.3 in sch40"'),
        ("pumps.return-pump", "trunk.pipe", r"no such schedule 40 size; known sizes .* are 1/2"),
    ),
    "share over the whole": (
        ("passages.main-drain", "tuned_share", '"192 %"'),
        ("passages.main-drain", "tuned_share", r'must lie between "0 %" and "100 %"'),
    ),
    "filter too short for any wave": (
        ("sensors.display-high", "filter", '"0.05 s"'),
        ("sensors.display-high", "", r"filter: give 0.2 s to 10 s"),
    ),
    "siphon break under the outlet": (
        ("passages.riser", "siphon_break", '"400 mm"'),
        ("passages.riser", "", r"siphon_break must be at or above the outlet"),
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_one_mistake_gets_one_sentence(mistake: str) -> None:
    (table, key, value), (at_table, at_key, words) = MISTAKES[mistake]
    told_table, told_key, sentence = only(edited(CLASSROOM, table, **{key: value}))
    assert told_table.startswith(at_table)
    if at_key is not None:
        assert told_key == at_key
    assert re.search(words, sentence), sentence


def test_an_unknown_table_is_told_with_the_nearest_right_one() -> None:
    table, key, sentence = only(CLASSROOM + "\n[topoff]\n")
    assert (table, key) == ("", "topoff")
    assert 'did you mean "top_off"?' in sentence


def test_a_pump_curve_that_rises_is_told() -> None:
    point = '{ flow = "2000 l/h", head = "2.55 m" }'
    text = changed(CLASSROOM, (point, point.replace("2.55", "3.2")))
    table, _, sentence = only(text)
    assert table == "pumps.return-pump"
    assert "from point to point the flow must grow and the head must fall" in sentence


BACK = """
[passages.back]
kind = "hole"
from = "return"
to = "media"
centre = "100 mm"
diameter = "20 mm"
"""


def test_a_gravity_loop_names_every_passage_of_the_loop() -> None:
    found = problems(CLASSROOM + BACK)
    assert {p.table for p in found} == {
        "passages.back",
        "passages.sponge",
        "passages.over-sponge",
        "passages.last-baffle",
    }
    assert all("finds its way back" in p.sentence and "without a pump" in p.sentence for p in found)


def test_a_chamber_no_water_can_leave_is_named() -> None:
    text = without_table(
        without_table(CLASSROOM, "passages.refugium-drain"), "passages.refugium-emergency"
    )
    found = problems(text)
    assert ("chambers.refugium", "") in [(p.table, p.key) for p in found]
    assert any("water reaches this chamber and none can leave it" in p.sentence for p in found)


def test_a_way_down_that_is_missing_names_the_pump() -> None:
    text = without_table(CLASSROOM, "passages.last-baffle")
    found = {(p.table, p.sentence.split(":")[0]) for p in problems(text)}
    assert ("pumps.return-pump", "what it lifts never comes back to return") in found


def test_drains_of_a_chamber_that_nothing_feeds_are_named() -> None:
    text = without_table(CLASSROOM, "passages.refugium-feed")
    table, key, sentence = only(text)
    assert (table, key) == ("chambers.refugium", "")
    assert "no pump lifts water to it" in sentence


def test_broken_toml_is_told_with_its_line() -> None:
    lines = CLASSROOM.splitlines()
    at = lines.index('crest = "560 mm"')
    lines[at] = "crest = 560 mm"
    table, key, sentence = only("\n".join(lines))
    assert table == ""
    assert key.startswith(f"line {at + 1}, column ")
    assert sentence.startswith("not TOML: ")


@pytest.mark.parametrize(
    "text",
    ["x = " + "9" * 5000, "x = " + "[" * 5000, "x = 0x" + "f" * 100000, "[a" + ".a" * 10000 + "]"],
    ids=["digits", "brackets", "hexadecimal", "tables"],
)
def test_text_that_no_reader_can_hold_is_told_too(text: str) -> None:
    assert problems(text)


def test_every_mistake_of_a_stage_is_found_at_once() -> None:
    text = edited(CLASSROOM, "sensors.display-high", height='"640 mm"')
    text = edited(text, "passages.comb", crest='"620 mm"')
    assert {p.table for p in problems(text)} == {"sensors.display-high", "passages.comb"}


def test_a_secret_is_not_repeated_in_the_message() -> None:
    text = edited(CLASSROOM, "broker", password='"hunter2"')
    assert all("hunter2" not in str(problem) for problem in problems(text))
