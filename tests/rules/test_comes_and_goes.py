"""A cause that comes and goes: cut at every coming, told a few times, and counted."""

from __future__ import annotations

import pytest

from daemon.recording import remembered
from rules import idle
from rules.alarming import chatter, rate
from rules.engine import RETURN_S
from rules.signals import AlarmState, EventKind, Phase
from tests.rules.nights import Night
from tests.rules.stories import FILTER_S

SUPPLY, OWN, LEAK = "mains.supply", "chamber-high.return-high", "leak.floor-pad"


def comes(night: Night, sensor: str, gone_s: float) -> None:
    """A float or a pad is wet for three seconds, and then dry for so long."""
    night.wet(sensor)
    night.run(3)
    night.mend()
    night.run(gone_s)


def supply_flickers(night: Night, times: int) -> None:
    """The supply reads gone for two seconds, thrice a minute."""
    for _ in range(times):
        night.dry("supply")
        night.run(2)
        night.mend()
        night.run(18)


def state_of(night: Night, row: str) -> AlarmState:
    """The state of a row's alarm; one that does not stand is normal."""
    alarm = night.alarm(row)
    return alarm.state if alarm else AlarmState.NORMAL


def test_a_supply_input_that_flickers_for_half_an_hour_is_three_alarms_and_then_one() -> None:
    """EEMUA 191 calls one alarm in ten minutes acceptable: three in half an hour (from memory)."""
    night = Night()
    night.good(100)
    supply_flickers(night, 90)
    assert len(night.raised(SUPPLY)) == 3
    (began,) = night.of(EventKind.ALARM_CHATTERS)
    assert "3 times within" in began.text
    assert "loose cable" in began.text
    alarm = night.alarm(SUPPLY)
    assert alarm is not None
    assert alarm.code == night.raised(SUPPLY)[-1].code
    assert "comes and goes: 8 times within" in alarm.saying.what


def test_taken_out_the_same_half_an_hour_is_ninety_alarms(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chatter, "OFTEN", 10**9)
    night = Night()
    night.good(100)
    supply_flickers(night, 90)
    assert len(night.raised(SUPPLY)) == 90


def test_every_coming_acts_as_it_would_without(monkeypatch: pytest.MonkeyPatch) -> None:
    """The outputs are the same at every tick, with the protection of the alarms and without it."""

    def outputs() -> list[tuple[bool, ...]]:
        night, seen = Night(), []
        sounders = night.plan.sounders
        night.good(100)
        for i in range(6000):
            flicker = i % 200 < 20 if i < 3000 else i % 900 < 20
            (night.dry if flicker else night.mend)("supply")
            decided = night.tick().outputs
            seen.append(tuple(on for j, on in enumerate(decided) if j not in sounders))
        assert night.of(EventKind.PUMP_CUT)
        return seen

    guarded = outputs()
    monkeypatch.setattr(chatter, "OFTEN", 10**9)
    assert outputs() == guarded


def test_a_pump_that_runs_again_is_cut_at_once_although_the_alarm_still_stands() -> None:
    night = Night()
    night.good(100)
    supply_flickers(night, 5)
    night.rest(100)
    assert night.phase in (Phase.PROVING, Phase.RUNNING)
    assert state_of(night, SUPPLY) is AlarmState.UNACK_ALARM
    raised = len(night.raised(SUPPLY))
    night.dry("supply")
    night.run(FILTER_S + 0.2)
    assert night.phase is Phase.WAITING
    assert night.cut_after_s is not None
    assert night.cut_after_s <= FILTER_S + 0.1 + 1e-6
    assert len(night.raised(SUPPLY)) == raised


@pytest.mark.parametrize(("times", "gone_s"), [(2, 10.0), (3, 60.0), (4, 300.0), (5, 600.0)])
def test_the_oftener_it_came_the_longer_it_must_be_gone(times: int, gone_s: float) -> None:
    night = Night()
    night.good(100)
    for _ in range(times - 1):
        comes(night, "return-high", 20.0)
    comes(night, "return-high", 0.0)
    night.run(FILTER_S + gone_s - 1.0)
    assert state_of(night, OWN) is AlarmState.UNACK_ALARM
    night.run(1.5)
    assert state_of(night, OWN) is AlarmState.RTN_UNACK


def test_acknowledged_it_stays_quiet_until_it_has_stayed_away_and_is_then_news_again() -> None:
    night = Night()
    night.good(100)
    for _ in range(3):
        comes(night, "return-high", 15.0)
    alarm = night.alarm(OWN)
    assert alarm is not None
    night.acknowledge(alarm.code)
    for _ in range(4):
        comes(night, "return-high", 30.0)
        assert state_of(night, OWN) is AlarmState.ACK_ALARM
        assert not night.on("sounder")
    night.rest(700)
    assert state_of(night, OWN) is AlarmState.NORMAL
    assert len(night.raised(OWN)) == 3
    comes(night, "return-high", 1.0)
    assert state_of(night, OWN) is AlarmState.UNACK_ALARM
    assert len(night.raised(OWN)) == 4


def test_a_cause_every_four_minutes_all_night_is_told_a_few_times() -> None:
    """120 comings in eight hours, and none of them three in a minute."""
    night = Night()
    night.good(100)
    for _ in range(120):
        comes(night, "return-high", 7.0)
        night.run(230, 10.0)
    assert len(night.raised(OWN)) <= 5


def test_a_cause_that_comes_twice_a_day_is_told_every_time() -> None:
    night = Night()
    night.good(100)
    for _ in range(6):
        comes(night, "return-high", 20.0)
        night.wait(12 * 3600)
    assert len(night.raised(OWN)) == 6
    assert not night.of(EventKind.ALARM_CHATTERS)


def test_after_a_reset_the_next_drop_cuts_and_is_told() -> None:
    """The first floods are told, however often the pad was wet before a person dried it."""
    night = Night()
    night.good(100)
    for _ in range(5):
        comes(night, "floor-pad", 10.0)
    assert len(night.raised(LEAK)) == 3
    assert state_of(night, LEAK) is AlarmState.UNACK_ALARM
    night.reset()
    assert state_of(night, LEAK) is AlarmState.RTN_UNACK
    night.run(80)
    assert night.phase is Phase.RUNNING
    night.wet("floor-pad")
    night.run(3)
    assert night.phase is Phase.LATCHED
    assert len(night.raised(LEAK)) == 4
    assert state_of(night, LEAK) is AlarmState.UNACK_ALARM
    night.mend()
    night.rest(700)
    assert "nothing is latched" not in night.reset().text


def test_a_pump_tried_again_and_cut_again_is_told_each_time_until_a_person_is_asked() -> None:
    """A drain that stays blocked is no loose cable, and its alarms have an end of their own."""
    night = Night()
    night.good(100)
    for _ in range(4):
        comes(night, "box-watch", 13.0)
        night.rest(1900)
    assert night.phase is Phase.LATCHED
    assert len(night.raised("drain-capacity.overflow-box")) == 4
    assert not night.of(EventKind.ALARM_CHATTERS)


def test_how_long_nothing_changes_ends_when_the_alarm_returns() -> None:
    night = Night()
    night.good(100)
    for _ in range(3):
        comes(night, "return-high", 15.0)
    index = [row.id for row in night.plan.rows].index(OWN)
    until_s = night.memory.rows[index].lingers_until_s
    assert until_s is not None
    before = night.memory
    night.tick()
    assert idle.idle_until_s(night.plan, before, night.memory) <= until_s


def test_what_is_remembered_survives_a_recording_and_an_older_one_begins_without() -> None:
    night = Night()
    night.good(100)
    for _ in range(4):
        comes(night, "return-high", 15.0)
    line = remembered.line(night.plan, night.memory)
    assert remembered.read(line, night.plan) == night.memory
    older = line.replace('"comings"', '"of_old"').replace('"raised"', '"counted"')
    index = [row.id for row in night.plan.rows].index(OWN)
    assert remembered.read(older, night.plan).rows[index].comings == ()


def test_alarms_of_ten_minutes_and_of_a_day_are_counted_and_more_than_ten_are_a_flood() -> None:
    """ISA-18.2 and EEMUA 191, from memory: more than ten alarms in ten minutes are a flood."""
    raised = rate.NONE
    for i in range(10):
        raised = rate.add(raised, 1, 60.0 * 100 + i * 30.0)
    assert rate.rates(raised, 6300.0).ten_minutes == 10
    assert not rate.rates(raised, 6300.0).flood
    raised = rate.add(raised, 1, 6300.0)
    assert rate.rates(raised, 6300.0).flood
    assert rate.rates(raised, 6300.0 + 600.0).ten_minutes == 0
    assert rate.rates(raised, 6300.0 + 3600.0).day == 11
    assert rate.rates(raised, 6300.0 + 86400.0).day == 0
    for i in range(3000):
        raised = rate.add(raised, 1, 6300.0 + 30.0 * i)
    assert len(raised.minutes) <= 10
    assert len(raised.hours) <= 24


def test_a_night_tells_how_many_alarms_it_had() -> None:
    night = Night()
    night.good(100)
    assert night.decision is not None
    assert night.decision.rates.day == 0
    supply_flickers(night, 20)
    assert night.decision.rates.ten_minutes == night.decision.rates.day == 3
    assert not night.decision.rates.flood
    night.wait(1200 + RETURN_S)
    assert night.decision.rates.ten_minutes == 0
    assert night.decision.rates.day == sum(
        event.kind is EventKind.ALARM_RAISED for event in night.events
    )
