"""A float acts within its filter and one tick; waves, spikes and broken cables are told apart."""

from __future__ import annotations

from math import inf, nan

import pytest

from rules.signals import AlarmState, EventKind, Phase, Quality, Reading
from tests.rules.nights import TICK_S, Night, edited, site_of, text_of

EDGE = "spill-edge.display-high"
BAD = Reading(nan, Quality.BAD, 0.0, "no such pin")


def filtered(seconds: float) -> Night:
    """The classroom with another filter on the display's high float, after a good while."""
    text = edited(text_of("classroom"), "sensors.display-high", filter=f'"{seconds} s"')
    night = Night(site_of(text))
    night.good(60)
    return night


@pytest.mark.parametrize("filter_s", [0.2, 0.5, 1.0, 3.0, 10.0])
def test_a_float_acts_within_its_filter_and_one_tick(filter_s: float) -> None:
    night = filtered(filter_s)
    night.wet("display-high")
    night.run(filter_s + 2)
    assert night.cut_after_s is not None
    assert filter_s - TICK_S <= night.cut_after_s <= filter_s + TICK_S + 1e-6


@pytest.mark.parametrize("step_s", [0.02, 0.1, 0.3, 0.5])
def test_the_filter_counts_time_and_not_ticks(step_s: float) -> None:
    night = filtered(1.0)
    night.wet("display-high")
    night.run(3, step_s)
    assert night.cut_after_s is not None
    assert 1.0 - step_s <= night.cut_after_s <= 1.0 + step_s + 1e-6


def test_after_a_gap_one_look_counts_for_half_a_second_at_most() -> None:
    """A guard that was held up has not watched; one wet look after a minute is one look."""
    night = filtered(1.0)
    night.wet("display-high")
    night.tick(60.0)
    assert night.cut_at is None
    night.run(1)
    assert night.cut_after_s is not None


def test_time_that_stands_or_runs_back_trips_nothing_and_breaks_nothing() -> None:
    night = filtered(1.0)
    night.wet("display-high")
    for dt_s in (0.0, -5.0, 0.0):
        night.tick(dt_s)
    assert night.cut_at is None
    night.run(1.5)
    assert night.cut_at is not None


# A display's waves; the slow one has the period that the check of 0.5 Hz asks for, the quick one
# is the first mode of a basin 1.5 m long and 0.56 m deep (Merian: 2 L / sqrt(g h) = 1.28 s)
@pytest.mark.parametrize("period_s", [2.0, 1.28])
def test_waves_that_leave_it_dry_for_longer_than_wet_never_trip(period_s: float) -> None:
    night = filtered(1.0)
    night.wave("display-high", period_s, 0.4, 600)
    assert night.cut_at is None
    assert night.raised(EDGE) == []


@pytest.mark.parametrize("period_s", [2.0, 1.28])
def test_waves_that_leave_it_wet_for_longer_than_dry_trip(period_s: float) -> None:
    night = filtered(1.0)
    night.wave("display-high", period_s, 0.6, 10)
    assert night.cut_after_s is not None


def test_a_spike_of_half_a_second_does_not_trip() -> None:
    night = filtered(1.0)
    for _ in range(60):
        night.wet("display-high")
        night.run(0.5)
        night.mend()
        night.run(0.5)
    assert night.cut_at is None


@pytest.mark.parametrize("sensor", ["display-high", "box-watch", "inlet-high", "floor-pad"])
def test_one_that_cannot_be_read_counts_as_wet(sensor: str) -> None:
    night = Night()
    night.good(100)
    night.bad(sensor)
    night.run(3)
    assert night.cut_after_s is not None


@pytest.mark.parametrize("sensor", ["return-low", "supply"])
def test_a_low_float_and_a_supply_that_cannot_be_read_count_as_dry_and_gone(sensor: str) -> None:
    night = Night()
    night.good(100)
    night.bad(sensor)
    night.run(3)
    assert night.cut_after_s is not None


@pytest.mark.parametrize("value", [nan, inf, -inf])
def test_a_value_that_is_no_number_never_reads_as_dry(value: float) -> None:
    """Whatever quality it claims."""
    for quality in Quality:
        night = Night()
        night.good(100)
        night.reads("display-high", Reading(value, quality))
        night.run(3)
        assert night.cut_after_s is not None, quality


def test_readings_that_fail_now_and_then_do_not_reset_the_filter() -> None:
    night = filtered(1.0)
    night.wet("display-high")
    for i in range(10):
        night.reads("display-high", BAD if i % 2 else Reading(1.0))
        night.tick()
    assert night.cut_at is not None


def test_a_float_that_is_uncertain_still_cuts() -> None:
    night = Night()
    night.good(100)
    night.reads("display-high", Reading(1.0, Quality.UNCERTAIN, 0.0, "it flickers"))
    night.run(3)
    assert night.cut_after_s is not None


@pytest.mark.parametrize("sensor", ["display-high", "inlet-high", "floor-pad", "return-flow"])
def test_the_sensor_that_cannot_be_believed_is_named(sensor: str) -> None:
    night = Night()
    night.good(100)
    night.bad(sensor)
    night.run(7)
    # where it has cut already, in the alarm of that cut; else in one of its own
    told = (EventKind.ALARM_RAISED, EventKind.ALARM_FOLDED)
    alarms = [e.alarm for e in night.events if e.kind in told and e.alarm is not None]
    (alarm,) = [alarm for alarm in alarms if alarm.hazard == "signal"]
    assert alarm.row == f"signal.{sensor}"
    assert night.site.label(sensor) in alarm.saying.what
    assert "no such pin" in alarm.saying.what
    assert night.decision is not None
    (standing,) = night.decision.alarms
    assert alarm.saying.what in (standing.saying.what, *standing.consequences)


def test_a_sensor_that_fails_for_a_moment_is_not_worth_a_word() -> None:
    night = Night()
    night.good(100)
    night.bad("return-flow")
    night.run(4)
    night.mend()
    night.run(60)
    assert night.raised("signal.return-flow") == []


def test_floats_that_contradict_each_other_are_both_named() -> None:
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.dry("return-low")
    night.run(8)
    (alarm,) = night.raised("signal.return-high")
    assert "high float of the return chamber is wet" in alarm.saying.what
    assert "low float of the return chamber below it is dry" in alarm.saying.what
    assert night.raised("signal.return-low") == []


def test_floats_of_a_chamber_that_fills_do_not_contradict_each_other() -> None:
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.run(60)
    assert [
        e for e in night.of(EventKind.ALARM_RAISED) if e.alarm and "signal" in e.alarm.row
    ] == []


def test_a_wet_edge_latches_and_an_hour_does_not_restart_it() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(6)
    night.mend()
    night.rest(3600)
    assert night.phase is Phase.LATCHED
    assert len(night.of(EventKind.PUMP_STARTED)) == 1
    alarm = night.alarm(EDGE)
    assert alarm is not None
    assert alarm.state is AlarmState.LATCH_UNACK


def test_the_alarm_at_the_edge_says_how_long_until_water_spills() -> None:
    """Display 1.5 x 0.6 m, a tenth of it rock, 14 mm from float to rim: 11.34 l, by hand."""
    night = Night(site_of(edited(text_of("classroom"), "sensors.display-high", height='"586 mm"')))
    night.good(100)
    night.wet("display-high")
    night.run(3)
    (alarm,) = night.raised(EDGE)
    riser_m3_s = night.plan.figures.running.flows_m3_s["riser"]
    assert alarm.spill_s == pytest.approx(0.01134 / riser_m3_s, rel=1e-6)
    assert 5 < alarm.spill_s < 30
