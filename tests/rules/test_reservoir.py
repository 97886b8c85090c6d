"""The reservoir nearly empty: by a float, by a level sensor, by count; and what is no dry run."""

from __future__ import annotations

import pytest

from rules.memory import keep
from rules.signals import Reading
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import load_drill
from simulator.night.runner import run
from tests.rules.nights import Night, edited, text_of

FLOAT = """
[sensors.reservoir-float]
kind = "float"
chamber = "reservoir"
height = "60 mm"
duty = "dry-run"
pin = 25
"""

LEVEL = """
[sensors.reservoir-level]
kind = "level"
chamber = "reservoir"
converter = "mcp3008"
channel = 2
select = 0
low = { level = "20 mm", share = "10 %" }
high = { level = "400 mm", share = "85 %" }
"""


def site_with(more: str = "", **top_off: str) -> Site:
    """The classroom with something in its reservoir."""
    return parse_site(f"{edited(text_of('classroom'), 'top_off', **top_off)}\n{more}", "r.toml")


def filled(night: Night, seconds: float) -> None:
    """The top-off float asks for so long, and has its water."""
    night.dry("return-level")
    night.run(seconds + 3.0)
    night.wet("return-level")
    night.run(4.0)


def test_its_float_shuts_the_top_off_until_it_is_filled_and_cuts_nothing() -> None:
    night = Night(site_with(FLOAT))
    night.good(100)
    assert night.raised("reservoir-low.reservoir-float") == []
    night.dry("reservoir-float", "return-level")
    night.run(45.0)
    assert night.raised("reservoir-low.reservoir-float")
    assert night.on("pump-relay")
    assert not night.on("top-off-valve")
    assert not any(row.id == "dry-run.reservoir-float" for row in night.plan.rows)
    night.wet("reservoir-float")
    night.run(60.0)
    assert night.on("top-off-valve")


def test_without_the_row_air_comes_until_another_speaks() -> None:
    night = Night(site_with(FLOAT), without=["reservoir-low"])
    night.good(100)
    night.dry("reservoir-float", "return-level")
    night.run(45.0)
    assert night.on("top-off-valve")


def test_a_level_sensor_tells_with_a_days_water_left() -> None:
    """1 % of its litres a day over 0.06 m2: some 105 mm."""
    night = Night(site_with(LEVEL))
    night.good(100)
    litres = night.plan.figures.volume_m3 * 10.0
    night.reads("reservoir-level", Reading((litres + 1.0) / 60.0))
    night.run(60)
    assert night.raised("reservoir-low.reservoir-level") == []
    night.reads("reservoir-level", Reading((litres - 1.0) / 60.0))
    night.run(60)
    (alarm,) = night.raised("reservoir-low.reservoir-level")
    assert alarm.saying.do_now == "Fill it."
    filled(night, 10.0)
    assert night.on("pump-relay")


def test_a_count_asks_for_a_filling_and_begins_anew_when_told_of_it() -> None:
    night = Night(site_with(counted="true"))
    night.good(100)
    fresh = night.plan.fresh
    assert fresh is not None
    number = 0
    while not night.raised("reservoir-low.reservoir"):
        filled(night, 60.0)
        number += 1
    assert 63.0 * number == pytest.approx(fresh.drawn_s, abs=64.0)
    filled(night, 60.0)
    assert len(night.raised("reservoir-low.reservoir")) == 1
    alarm = night.alarm("reservoir-low.reservoir")
    assert alarm is not None
    night.acknowledge(alarm.code)
    night.run(30.0)
    assert night.alarm("reservoir-low.reservoir") is None
    assert night.memory.books.fresh.drawn_s == 0.0


def test_a_count_outlives_a_restart() -> None:
    night = Night(site_with(counted="true"))
    night.good(100)
    filled(night, 100.0)
    kept = keep(night.plan, night.memory)
    assert kept.books["drawn"] == 90.0
    assert Night(site_with(counted="true"), kept=kept).memory.books.fresh.drawn_s == 90.0


def test_nobody_is_asked_unless_the_site_file_says_so() -> None:
    night = Night(site_with())
    assert not any(row.hazard == "reservoir-low" for row in night.plan.rows)
    night.good(100)
    for _ in range(14):
        filled(night, 60.0)
    assert night.plan.fresh is not None
    assert night.memory.books.fresh.drawn_s < night.plan.fresh.drawn_s, "it grows without end"


def test_a_night_with_an_empty_reservoir_is_named_by_its_float_alone() -> None:
    out = run(site_with(FLOAT), load_drill("reservoir-empty"), 1, trace=False)
    assert {hazard for _, hazard, _ in out.alarms} == {"reservoir-low"}
    assert out.dry_s == 0.0
