"""Sounder, spare pump and heartbeat."""

from __future__ import annotations

from itertools import pairwise

import pytest

from rules.engine import HEARTBEAT_S, RETURN_S
from rules.memory import Kept
from rules.signals import AlarmState, Origin
from tests.rules.nights import TICK_S, Night
from tests.rules.stories import CUTTING, Story


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_the_sounder_calls_for_what_is_of_high_priority(story: Story) -> None:
    night = Night()
    night.good(100)
    assert not night.on("sounder")
    story.happens(night)
    night.run(story.within_s)
    assert night.on("sounder") == (story.hazard not in ("mains", "lease-lost"))


def test_the_sounder_sounds_until_somebody_acknowledges() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(600)
    assert night.on("sounder")
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    night.acknowledge("0000")
    assert night.on("sounder")
    night.acknowledge(alarm.code)
    assert not night.on("sounder")
    night.run(600)
    assert not night.on("sounder")


def sounding(night: Night, seconds: float) -> bool:
    """True when it sounds in every tick of so many seconds, false when in none."""
    heard = set()
    for _ in range(round(seconds / TICK_S)):
        night.tick()
        heard.add(night.on("sounder"))
    assert len(heard) == 1
    return heard.pop()


def test_the_sounder_goes_on_when_the_level_has_fallen_until_somebody_acknowledges() -> None:
    """The cut makes the level fall; somebody asleep next door must hear of it all the same."""
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(6)
    night.mend()
    assert sounding(night, 300)
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    assert alarm.state is AlarmState.LATCH_UNACK
    night.acknowledge(alarm.code)
    assert not sounding(night, 300)


def test_a_reset_does_not_quiet_what_nobody_has_acknowledged() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    night.mend()
    night.run(12)
    night.reset()
    assert sounding(night, 60)
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    assert alarm.state is AlarmState.RTN_UNACK
    night.acknowledge(alarm.code)
    assert not sounding(night, 60)


def test_a_cut_that_has_cleared_by_itself_sounds_until_somebody_acknowledges() -> None:
    night = Night()
    night.good(100)
    night.wet("box-watch")
    night.run(3)
    night.mend()
    night.rest(600)
    assert night.on("pump-relay")
    alarm = night.alarm("drain-capacity.overflow-box")
    assert alarm is not None
    assert alarm.state is AlarmState.RTN_UNACK
    assert sounding(night, 10)
    night.acknowledge(alarm.code)
    assert not sounding(night, 60)


def test_what_was_latched_before_a_restart_sounds_from_the_first_look() -> None:
    night = Night(kept=Kept(frozenset({"leak.floor-pad"})))
    assert sounding(night, 60)
    alarm = night.alarm("leak.floor-pad")
    assert alarm is not None
    assert alarm.state is AlarmState.LATCH_UNACK
    night.acknowledge(alarm.code)
    assert not sounding(night, 60)


def test_an_acknowledged_alarm_stays_quiet_when_its_cause_goes() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    night.acknowledge(alarm.code)
    night.mend()
    assert not sounding(night, 30)


def test_alarms_of_less_than_high_priority_never_sound_in_any_state() -> None:
    night = Night(kept=Kept(frozenset({"mains.supply", "top-off-long.top-off-valve"})))
    assert not sounding(night, 10)
    night.bad("return-flow")
    assert not sounding(night, 20)
    night.mend()
    assert not sounding(night, 20)
    assert night.decision is not None
    states = {alarm.state for alarm in night.decision.alarms}
    assert {AlarmState.LATCH_UNACK, AlarmState.RTN_UNACK} <= states


def test_a_second_cause_sounds_again_after_the_first_was_acknowledged() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    night.acknowledge(alarm.code, origin=Origin.LOCAL)
    night.wet("floor-pad")
    night.run(4)
    assert night.on("sounder")


def test_the_sounder_needs_one_acknowledgement_for_each_alarm() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high", "floor-pad")
    night.run(4)
    for row, still in (("spill-edge.display-high", True), ("leak.floor-pad", False)):
        alarm = night.alarm(row)
        assert alarm is not None
        night.acknowledge(alarm.code)
        assert night.on("sounder") is still


# --- the spare pump ------------------------------------------------------------------------------


def test_the_spare_pump_runs_only_while_the_return_pump_does_not() -> None:
    night = Night()
    for seconds, change in ((100, None), (60, "inlet-high"), (60, "")):
        if change:
            night.wet(change)
        elif change == "":
            night.mend()
            night.run(3)
            night.reset()
        for _ in range(round(seconds / TICK_S)):
            night.tick()
            assert night.on("spare-pump") is not night.on("pump-relay")


@pytest.mark.parametrize("how", ["wet", "bad"])
def test_the_spare_pump_stops_while_water_lies_on_the_floor_and_not_for_the_rest_of_the_night(
    how: str,
) -> None:
    """Whose water it is nobody knows yet; once the pad is dry, animals need the flow."""
    night = Night()
    night.good(100)
    getattr(night, how)("floor-pad")
    night.run(3)
    for _ in range(600):
        night.tick()
        assert not night.on("pump-relay")
        assert not night.on("spare-pump")
    night.mend()
    night.run(1.0 + RETURN_S + 1.0)
    assert night.on("spare-pump")
    assert not night.on("pump-relay")


@pytest.mark.parametrize("how", ["wet", "bad"])
def test_the_spare_pump_stirs_no_display_that_stands_at_its_edge(how: str) -> None:
    night = Night()
    night.good(100)
    getattr(night, how)("display-high")
    night.run(60)
    assert not night.on("pump-relay")
    assert not night.on("spare-pump")
    night.mend()
    night.run(2)
    assert night.on("spare-pump")


# --- the heartbeat -------------------------------------------------------------------------------


def edges(night: Night, seconds: float, dt_s: float = TICK_S) -> list[float]:
    """When the heartbeat changed [s]."""
    found, last = [], night.on("heartbeat")
    for _ in range(round(seconds / dt_s)):
        night.tick(dt_s)
        if night.on("heartbeat") is not last:
            last = not last
            found.append(night.t_s)
    return found


@pytest.mark.parametrize("dt_s", [0.05, 0.1, 0.25, 0.5])
def test_the_heartbeat_changes_every_half_second(dt_s: float) -> None:
    night = Night()
    night.tick()
    changes = edges(night, 60, dt_s)
    assert len(changes) == 120
    gaps = [b - a for a, b in pairwise(changes)]
    assert all(gap == pytest.approx(HEARTBEAT_S, abs=1e-6) for gap in gaps)


def test_the_heartbeat_goes_on_while_the_pump_is_cut() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    assert len(edges(night, 30)) == 60


def test_a_guard_that_looks_once_a_second_has_no_heartbeat() -> None:
    night = Night()
    night.tick()
    assert edges(night, 60, 1.0) == []
