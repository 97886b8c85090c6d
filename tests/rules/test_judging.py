"""Signals held against each other: which sensor is named, what is cut, and what must not happen."""

from __future__ import annotations

import pytest

from rules.signals import EventKind, Phase
from tests.rules.nights import Night

EDGE, SPLASHED = "spill-edge.display-high", "splashed.display-high"


def running() -> Night:
    """The classroom, its pump long in full run."""
    night = Night()
    night.good(100)
    assert night.phase is Phase.RUNNING
    return night


# --- a spill-edge float that splash has lifted ---------------------------------------------------


def lifted(night: Night, seconds: float = 2.0) -> None:
    """The high float is wet for a moment, and nothing else says that there is water."""
    night.wet("display-high")
    night.run(seconds)
    night.mend()


def test_splash_cuts_at_once_and_the_pump_comes_back_by_itself() -> None:
    night = running()
    lifted(night)
    assert night.cut_at is not None
    assert night.cut_at <= 100 + 1.1
    assert night.phase is Phase.LATCHED
    night.rest(340)
    assert night.on("pump-relay")
    assert night.raised(SPLASHED)[0].saying.where == "high float of the display"
    night.good(60)
    assert night.phase is Phase.RUNNING


def test_without_its_row_a_person_is_waited_for() -> None:
    night = Night(without={"splashed"})
    night.good(100)
    lifted(night)
    night.rest(2000)
    assert night.phase is Phase.LATCHED


def test_tries_are_limited_as_after_any_cut_by_water() -> None:
    night = running()
    for _ in range(3):
        lifted(night)
        night.rest(1300)
        night.good(60)
    assert night.phase is Phase.LATCHED
    night.wait(7200)
    assert night.phase is Phase.LATCHED
    assert len(night.of(EventKind.PUMP_STARTED)) == 3


@pytest.mark.parametrize(
    ("sensor", "state"),
    [("return-level", "dry"), ("box-watch", "wet"), ("return-level", "bad"), ("box-watch", "bad")],
)
def test_one_witness_of_water_or_one_that_cannot_speak_and_a_person_must_come(
    sensor: str, state: str
) -> None:
    """Water missing below, or a box that has risen, and it is no splash."""
    night = running()
    getattr(night, state)(sensor)
    night.wet("display-high")
    night.run(2)
    night.mend("display-high")
    night.run(2)
    night.mend()
    night.rest(2000)
    assert night.phase is Phase.LATCHED
    assert not night.raised(SPLASHED)


def test_a_witness_that_turns_later_takes_it_back() -> None:
    """The float below falls dry while the pump is off: then water was missing after all."""
    night = running()
    lifted(night)
    night.run(10)
    night.dry("return-level")
    night.rest(2000)
    assert night.phase is Phase.LATCHED


def test_what_is_wet_for_longer_was_water() -> None:
    night = running()
    lifted(night, 8.0)
    night.rest(2000)
    assert night.phase is Phase.LATCHED


def test_no_splash_outlives_a_restart_of_the_guard() -> None:
    """A guard begun anew knows nothing of the moment: what it finds latched stays so."""
    from rules.memory import keep

    night = running()
    lifted(night)
    again = Night(night.site, kept=keep(night.plan, night.memory), boot="boot-b")
    again.good(2000)
    assert again.phase is Phase.LATCHED


# --- a low float that hangs ----------------------------------------------------------------------


def test_a_pump_that_draws_air_behind_a_low_float_is_cut() -> None:
    night = running()
    night.dry("return-level")
    night.run(150)
    night.flow("return-flow", 0.6)
    night.run(10)
    assert night.cut_after_s is not None
    assert night.cut_after_s <= 3.2
    (alarm,) = night.raised("draws-air.return-low")
    assert "low float of the return chamber" in alarm.saying.what
    night.mend()
    night.rest(3000)
    assert night.phase is Phase.LATCHED


def test_that_cut_needs_its_row() -> None:
    night = Night(without={"draws-air"})
    night.good(100)
    night.dry("return-level")
    night.run(150)
    night.flow("return-flow", 0.6)
    night.run(10)
    assert night.on("pump-relay")


@pytest.mark.parametrize(("dry_s", "share"), [(0.0, 0.0), (60.0, 0.5), (600.0, 0.9)])
def test_neither_signal_alone_cuts(dry_s: float, share: float) -> None:
    """A silent meter, a top-off that is at work, an empty reservoir: none of them is air."""
    night = running()
    if dry_s:
        night.dry("return-level")
        night.run(dry_s)
    night.flow("return-flow", share)
    night.run(40)
    assert night.on("pump-relay")
    assert not night.raised("draws-air.return-low")


# --- floats after a stop -----------------------------------------------------------------------


def test_a_watch_float_that_stays_wet_after_a_stop_is_named() -> None:
    night = running()
    night.wet("box-watch")
    night.run(170)
    assert not night.raised("signal.box-watch")
    night.run(20)
    (alarm,) = night.raised("signal.box-watch")
    assert "float in the overflow box" in alarm.saying.what
    assert "high float of the display" in alarm.saying.done  # what still protects


def test_one_that_falls_dry_after_the_stop_is_not() -> None:
    night = running()
    night.wet("box-watch")
    night.run(20)
    night.mend()
    night.rest(900)
    assert not night.raised("signal.box-watch")


def test_a_float_wet_while_the_pump_runs_is_not_held_against_a_stop() -> None:
    """Cut by the supply for less than the water needs to run down, then on again: no name."""
    night = running()
    night.dry("supply")
    night.run(60)
    night.mend()
    night.rest(200)
    assert not any(e.subject == "box-watch" for e in night.of(EventKind.ALARM_RAISED))


# --- meters ------------------------------------------------------------------------------------


def test_a_meter_that_counts_at_rest_is_named() -> None:
    night = running()
    night.dry("supply")
    night.flow("return-flow", 0.1)
    night.run(190)
    (alarm,) = night.raised("signal.return-flow")
    assert "stood still" in alarm.saying.what


def test_water_that_runs_back_for_a_while_names_no_meter() -> None:
    night = running()
    night.dry("supply")
    night.flow("return-flow", 1.4)
    night.run(20)
    night.flow("return-flow", 0.0)
    night.run(300)
    assert not night.raised("signal.return-flow")


def test_a_meter_that_shows_more_than_the_pump_can_lift_is_named_and_nothing_is_cut() -> None:
    night = running()
    night.flow("return-flow", 1.6)
    night.run(10)
    assert night.raised("signal.return-flow")
    night.flow("return-flow", 1.05)
    night.run(10)
    assert night.on("pump-relay")


def test_flow_that_is_gone_at_once_points_to_the_meter_and_flow_that_dies_away_to_the_pump() -> (
    None
):
    silent = running()
    silent.flow("return-flow", 0.0)
    silent.run(15)
    (alarm,) = silent.raised("flow-lost.return-pump")
    assert "flow meter of the riser is at fault" in alarm.saying.what
    dead = running()
    for share in (0.8, 1.6, 1.4, 1.0, 0.6, 0.4, 0.3):  # coasts, and then water runs back
        dead.flow("return-flow", share)
        dead.run(1)
    dead.flow("return-flow", 0.0)
    dead.run(15)
    (alarm,) = dead.raised("flow-lost.return-pump")
    assert "the pump has stopped" in alarm.saying.what
    assert silent.on("pump-relay")
    assert dead.on("pump-relay")


def test_a_flow_that_dies_over_hours_points_to_neither() -> None:
    night = running()
    for share in range(95, 5, -5):
        night.flow("return-flow", share / 100)
        night.rest(120)
    (alarm,) = night.raised("flow-lost.return-pump")
    assert "at fault" not in alarm.saying.what
    assert "has stopped" not in alarm.saying.what


def test_a_top_off_float_that_falls_dry_proves_that_the_pump_runs() -> None:
    """Behind a pump that stands the chamber is full: what ran down lies over the float."""
    night = running()
    night.flow("return-flow", 0.0)
    night.run(90)
    assert not night.raised("signal.return-flow")
    night.dry("return-level")
    night.run(20)
    (alarm,) = night.raised("signal.return-flow")
    assert "the pump runs" in alarm.saying.what
    assert night.on("pump-relay")


# --- status in the classes of NAMUR NE 107 --------------------------------------------------------


def statuses(night: Night) -> dict[str, str]:
    """The signals of which there is something to say."""
    assert night.decision is not None
    return {one.sensor: one.status for one in night.decision.signals}


def test_each_signal_has_a_status_in_the_words_of_the_standard() -> None:
    """The four classes are those of NAMUR NE 107, from memory."""
    night = running()
    assert statuses(night) == {}
    night.bad("return-level")
    night.flow("return-flow", 1.6)
    night.run(10)
    assert statuses(night) == {"return-level": "failure", "return-flow": "out of specification"}
    splash = running()
    lifted(splash)
    splash.run(40)
    assert statuses(splash) == {"display-high": "maintenance required"}
    splash.rest(400)
    assert statuses(splash) == {}
