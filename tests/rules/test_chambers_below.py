"""Chambers below the drains: high before the pump's own is cut, its own is not; dry runs."""

from __future__ import annotations

import pytest

from rules.signals import EventKind, Phase, Priority, Quality, Reading
from tests.rules.nights import Night

INLET, OWN, DRY_RUN = "chamber-high.inlet-high", "chamber-high.return-high", "dry-run.return-low"


def test_a_chamber_that_lets_no_water_pass_cuts_and_latches() -> None:
    night = Night()
    night.good(100)
    night.wet("inlet-high")
    night.run(3)
    assert night.cut_after_s is not None
    assert night.phase is Phase.LATCHED
    (alarm,) = night.raised(INLET)
    assert "does not let water pass" in alarm.saying.what


def test_the_pumps_own_chamber_high_never_cuts() -> None:
    """A stop would send the drain-down on top of what is too much already."""
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.run(60)
    night.rest(1800)
    assert night.cut_at is None
    assert night.on("pump-relay")
    (alarm,) = night.raised(OWN)
    assert alarm.priority is Priority.HIGH
    assert "Do not stop the pump first" in alarm.saying.do_now
    assert night.on("sounder")


@pytest.mark.parametrize("sooner_s", [0.0, 5.0])
def test_a_chamber_high_because_the_whole_sump_is_does_not_cut(sooner_s: float) -> None:
    """Every float below the two is wet; a stop would send the drain-down on top."""
    night = Night()
    night.good(100)
    night.wet("return-high", "return-level", "return-low")
    night.run(sooner_s)
    night.wet("inlet-high")
    night.run(60)
    assert night.cut_at is None
    assert night.raised(INLET) == []
    assert night.raised(OWN)


def test_a_cut_cable_of_its_own_chamber_disarms_nothing() -> None:
    """It reads wet while the top-off float under it is dry: no water stands at that height."""
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.dry("return-level")
    night.run(60)
    assert night.cut_at is None
    night.wet("inlet-high")
    night.run(3)
    assert night.cut_after_s is not None
    assert night.cut_after_s <= 1.1
    (alarm,) = night.raised(INLET)
    assert "does not let water pass" in alarm.saying.what


def test_a_cable_that_is_cut_after_the_chamber_before_it_was_high_lets_nothing_start() -> None:
    night = Night()
    night.good(100)
    night.wet("inlet-high")
    night.run(3)
    night.wet("return-high")
    night.rest(600)
    assert night.phase is Phase.LATCHED
    assert len(night.of(EventKind.PUMP_STARTED)) == 1


def test_when_the_pumps_own_chamber_has_fallen_the_cut_comes_after_all() -> None:
    night = Night()
    night.good(100)
    night.wet("return-high", "inlet-high")
    night.run(10)
    assert night.cut_at is None
    night.mend("return-high")
    night.run(3)
    assert night.cut_after_s is not None


@pytest.mark.parametrize(
    "reading",
    [Reading(float("nan"), Quality.BAD, 0.0, "no such pin"), Reading(float("nan"))],
    ids=["unreadable", "no number"],
)
def test_a_float_of_its_own_chamber_that_cannot_be_read_disarms_nothing(reading: Reading) -> None:
    night = Night()
    night.good(100)
    night.reads("return-high", reading)
    night.run(10)
    night.wet("inlet-high")
    night.run(3)
    assert night.cut_after_s is not None


def test_the_own_float_that_cannot_be_read_alone_cuts_nothing() -> None:
    night = Night()
    night.good(100)
    night.bad("return-high")
    night.run(600)
    assert night.cut_at is None


def test_an_empty_chamber_is_cut_before_the_pump_draws_air() -> None:
    night = Night()
    night.good(100)
    night.dry("return-low")
    night.run(3)
    assert night.cut_after_s is not None
    assert night.phase is Phase.LATCHED
    (alarm,) = night.raised(DRY_RUN)
    assert "nearly empty" in alarm.saying.what


def test_a_low_float_in_the_swell_of_the_chamber_is_not_empty() -> None:
    """Mirror of the waves at an edge: dry for 0.8 s of every 2 s."""
    night = Night()
    night.good(100)
    night.wave("return-low", 2.0, 0.6, 300)
    assert night.cut_at is None


def test_an_empty_chamber_is_found_before_the_first_start() -> None:
    night = Night()
    night.dry("return-low")
    night.run(60)
    assert night.of(EventKind.PUMP_STARTED) == []
    (held,) = night.of(EventKind.PUMP_HELD)
    assert held.causes == (DRY_RUN,)


@pytest.mark.parametrize("sensor", ["floor-pad"])
def test_a_wet_pad_cuts_whatever_else_stands(sensor: str) -> None:
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.run(10)
    night.wet(sensor)
    night.run(4)
    assert night.cut_after_s is not None
    assert night.phase is Phase.LATCHED


def test_a_drip_on_the_pad_does_not_cut() -> None:
    night = Night()
    night.good(100)
    night.wet("floor-pad")
    night.run(0.8)
    night.mend()
    night.run(60)
    assert night.cut_at is None
