"""The level sensor in the site file: its line through two points, a sentence for each mistake."""

from __future__ import annotations

import json

import pytest

from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.problems import SiteError
from rules.site.sensors import LevelSensor
from tests.level_site import LEVEL, TABLE, level_site, level_text

TABLE_NAME = f"sensors.{LEVEL}"


def sensor_of(table: str = TABLE) -> LevelSensor:
    return level_site(table).levels()[LEVEL]


def problem(text: str) -> tuple[str, str, str]:
    """Table, key and sentence of the only problem."""
    with pytest.raises(SiteError) as caught:
        parse_site(text, "levels.toml")
    (found,) = caught.value.problems
    return found.table, found.key, found.sentence


def test_the_level_is_a_straight_line_through_the_two_points() -> None:
    """300 mm over 75 % of the range are 4 mm for each percent (plain arithmetic)."""
    sensor = sensor_of()
    assert sensor.level_m(0.10) == pytest.approx(0.020)
    assert sensor.level_m(0.85) == pytest.approx(0.320)
    assert sensor.level_m(0.45) == pytest.approx(0.160)
    assert sensor.level_m(0.06) == pytest.approx(0.004)


def test_a_current_loop_over_a_resistor_reads_as_ohms_law_has_it() -> None:
    """4 to 20 mA over 150 ohm are 0.6 to 3.0 V: of 3.3 V, 18.2 to 90.9 %; 12 mA are the middle."""
    table = TABLE.replace('"20 mm", share = "10 %"', '"0 mm", share = "18.1818 %"').replace(
        '"320 mm", share = "85 %"', '"300 mm", share = "90.9091 %"'
    )
    share = 0.012 * 150.0 / 3.3
    assert sensor_of(table).level_m(share) == pytest.approx(0.150, abs=1e-5)


def test_a_sensor_that_reads_less_when_it_is_wetter_is_the_same_line_turned_round() -> None:
    table = TABLE.replace('"10 %"', '"x"').replace('"85 %"', '"10 %"').replace('"x"', '"85 %"')
    sensor = sensor_of(table)
    assert sensor.level_m(0.85) == pytest.approx(0.020)
    assert sensor.level_m(0.10) == pytest.approx(0.320)


@pytest.mark.parametrize("level_m", [0.0, 0.07, 0.167, 0.35])
def test_share_and_level_are_each_others_inverse(level_m: float) -> None:
    sensor = sensor_of()
    assert sensor.level_m(sensor.share(level_m)) == pytest.approx(level_m, abs=1e-12)


def test_defaults_suit_a_sensor_set_by_a_ruler() -> None:
    sensor = sensor_of(TABLE.replace('tolerance = "5 mm"\n', "").replace("select = 0\n", ""))
    assert sensor.tolerance == pytest.approx(0.005)
    assert sensor.filter == pytest.approx(1.0)
    assert sensor.select == 0


OF_THE_TABLE = {
    "no such channel": ("channel = 3", "channel = 8", "channel", "less than or equal to 7"),
    "channel of a small converter": (
        'converter = "mcp3008"', 'converter = "mcp3002"', "", "mcp3002 has channels 0 to 1"
    ),
    "no such converter": ('"mcp3008"', '"mcp9999"', "converter", "mcp3008"),
    "no such select": ("select = 0", "select = 2", "select", "less than or equal to 1"),
    "point at the end of the range": ('"10 %"', '"1 %"', "", "a broken wire reads the end"),
    "point at the other end": ('"85 %"', '"99 %"', "", "a broken wire reads the end"),
    "points at one level": ('"320 mm"', '"30 mm"', "", "at least 20 mm above"),
    "points upside down": ('"320 mm"', '"10 mm"', "", "at least 20 mm above"),
    "points at one share": ('"85 %"', '"12 %"', "", "at least 5 % apart"),
    "no tolerance at all": ('"5 mm"', '"0 mm"', "", "1 mm to 50 mm"),
    "filter too long": ('"5 mm"', '"5 mm"\nfilter = "1 min"', "", "0.2 s to 5 s"),
    "level above the rim": ('"320 mm"', '"400 mm"', "high.level", "above the rim"),
    "level below the bottom": ('"20 mm"', '"-20 mm"', "low.level", "below the bottom"),
    "no such chamber": ('"overflow-box"', '"attic"', "chamber", "no chamber of this site"),
    "a pin of its own": ("channel = 3", "channel = 3\npin = 4", "pin", "unknown key"),
    "unknown key": ("channel = 3", "channel = 3\nfliter = '2 s'", "fliter", 'mean "filter"'),
    "unknown key of a point": (', share = "10 %"', ', share = "10 %", at = 1', "low.at", "unknown"),
    "no point": ('low = { level = "20 mm", share = "10 %" }', "", "low", "missing; it gives the"),
    "a bare number": ('"20 mm"', "20", "low.level", "has no unit"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", OF_THE_TABLE)
def test_each_mistake_has_its_sentence(mistake: str) -> None:
    old, new, key, words = OF_THE_TABLE[mistake]
    assert old in TABLE
    table, at, sentence = problem(level_text(TABLE.replace(old, new, 1)))
    assert table == TABLE_NAME
    assert at == key
    assert words in sentence


@pytest.mark.parametrize("pin", [7, 8, 9, 10, 11])
def test_pins_of_the_bus_are_not_free_for_others(pin: int) -> None:
    text = level_text().replace("pin = 21\n", f"pin = {pin}\n", 1)
    table, key, sentence = problem(text)
    assert (table, key) == ("sensors.floor-pad", "pin")
    assert f"pin {pin} is of the SPI bus" in sentence
    assert LEVEL in sentence


def test_without_a_level_sensor_the_pins_of_the_bus_are_free() -> None:
    text = level_text("").replace("pin = 21\n", "pin = 9\n", 1)
    assert isinstance(parse_site(text, "plain.toml"), Site)


def second(**changes: str) -> str:
    table = TABLE.replace(f"[sensors.{LEVEL}]", "[sensors.other-level]")
    for old, new in changes.items():
        key = next(line for line in table.splitlines() if line.startswith(f"{old} = "))
        table = table.replace(key, f"{old} = {new}", 1)
    return level_text(f"{TABLE}\n{table}")


def test_a_channel_has_one_sensor() -> None:
    table, key, sentence = problem(second())
    assert (table, key) == ("sensors.other-level", "channel")
    assert "channel 3 is used by" in sentence


def test_a_select_has_one_converter() -> None:
    table, key, sentence = problem(second(channel="2", converter='"mcp3208"'))
    assert (table, key) == ("sensors.other-level", "converter")
    assert "a select has one converter" in sentence


def test_two_sensors_share_a_converter_and_two_converters_a_bus() -> None:
    shared = parse_site(second(channel="2"), "levels.toml")
    assert len(shared.levels("overflow-box")) == 2
    apart = parse_site(second(select="1", converter='"mcp3202"', channel="1"), "levels.toml")
    assert {sensor.select for sensor in apart.levels().values()} == {0, 1}
    assert apart.levels("display") == {}


def test_the_schema_knows_it() -> None:
    schema = json.dumps(Site.model_json_schema(by_alias=True))
    assert "LevelSensor" in schema
    assert "mcp3208" in schema
