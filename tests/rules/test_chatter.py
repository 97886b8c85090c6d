"""A float in waves, a wire that is loose: one trouble is one alarm, however often it turns."""

from __future__ import annotations

import pytest

from rules.engine import RETURN_S
from rules.resting import LONGEST_SUPPLY_REST_S, RESTS_S
from rules.signals import AlarmState, Event, EventKind, Phase
from tests.rules.nights import REST_TICK_S, TICK_S, Night
from tests.rules.stories import FILTER_S, starts

OWN, SHORT = "chamber-high.return-high", "drain-capacity.overflow-box"
WAVE_S = 3.0


def told_of(night: Night, row: str) -> list[Event]:
    """All that was said of one row's alarm."""
    return [event for event in night.events if event.alarm and event.alarm.row == row]


def waves(night: Night, sensor: str, seconds: float) -> None:
    """Waves that turn a float of one second's filter wet and dry again in each period."""
    night.wave(sensor, WAVE_S, 0.6, seconds, REST_TICK_S)


def test_the_waves_of_these_stories_turn_the_float_itself_every_time() -> None:
    """Else the tests below would pass without what they are for."""
    night = Night()
    night.good(100)
    index = night.plan.contacts["return-high"].index
    for _ in range(20):
        waves(night, "return-high", 0.6 * WAVE_S)
        assert night.memory.contacts[index].wet
        night.dry("return-high")
        night.run(0.4 * WAVE_S)
        assert not night.memory.contacts[index].wet


def test_an_hour_of_waves_at_a_high_float_is_one_alarm_with_one_code() -> None:
    """An alarm that comes three times a minute is said to chatter (EEMUA 191, from memory)."""
    night = Night()
    night.good(100)
    waves(night, "return-high", 3600)
    (said,) = told_of(night, OWN)
    assert said.kind is EventKind.ALARM_RAISED
    standing = night.alarm(OWN)
    assert standing is not None
    assert standing.state is AlarmState.UNACK_ALARM
    assert said.alarm is not None
    assert standing.code == said.alarm.code


def test_acknowledged_in_the_waves_it_is_quiet_until_they_end() -> None:
    night = Night()
    night.good(100)
    waves(night, "return-high", 30)
    alarm = night.alarm(OWN)
    assert alarm is not None
    night.acknowledge(alarm.code)
    for _ in range(60):
        waves(night, "return-high", 30)
        assert not night.on("sounder")
    night.mend()
    night.run(FILTER_S + RETURN_S + 1)
    assert [event.kind for event in told_of(night, OWN)] == [
        EventKind.ALARM_RAISED,
        EventKind.ALARM_ACKNOWLEDGED,
        EventKind.ALARM_ENDED,
    ]


def test_waves_at_a_float_that_cuts_are_one_cut_and_the_rest_counts_from_the_last() -> None:
    night = Night()
    night.good(100)
    waves(night, "box-watch", 1800)
    assert len(starts(night)) == 1
    (cut,) = night.of(EventKind.PUMP_CUT)
    assert cut.causes == (SHORT,)
    night.mend()
    gone_s = night.t_s + RETURN_S
    night.rest(RESTS_S[0] + 60)
    # the last wave left the float dry already, or its filter has a second to run
    assert gone_s - 2.0 <= starts(night)[1] - RESTS_S[0] <= gone_s + FILTER_S + REST_TICK_S
    assert night.memory.pumps[0].attempts == 1
    assert len(night.raised(SHORT)) == 1


def test_a_cause_stands_until_it_has_been_gone_for_ten_seconds() -> None:
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.run(3)
    night.mend()
    night.run(FILTER_S + 9.8)
    assert [event.kind for event in told_of(night, OWN)] == [EventKind.ALARM_RAISED]
    night.run(0.4)
    assert [event.kind for event in told_of(night, OWN)] == [
        EventKind.ALARM_RAISED,
        EventKind.ALARM_RETURNED,
    ]


def test_a_cause_that_comes_back_after_that_is_a_new_one() -> None:
    """Chatter is kept quiet, a second event is not."""
    night = Night()
    night.good(100)
    for _ in range(3):
        night.wet("return-high")
        night.run(3)
        night.mend()
        night.run(FILTER_S + RETURN_S + 1)
    codes = [alarm.code for alarm in night.raised(OWN)]
    assert len(codes) == 3
    assert len(set(codes)) == 3


def test_waiting_for_it_to_stay_away_delays_no_cut() -> None:
    """The first wave over the edge cuts, also in the ten seconds after an earlier cause."""
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.run(3)
    night.mend("return-high")
    night.run(3)
    night.wet("display-high")
    night.run(3)
    assert night.cut_after_s is not None
    assert night.cut_after_s <= FILTER_S + TICK_S + 1e-6


# --- a loose wire --------------------------------------------------------------------------------

NIGHT_S = 8 * 3600.0


def supply_goes(night: Night) -> None:
    """The input reads gone for two seconds."""
    night.dry("supply")
    night.run(2)
    night.mend()


def lease_goes(night: Night) -> None:
    """The guard is held up once."""
    night.drop("pump-relay")
    night.run(2)


def flickering(night: Night, goes: object, on_s: float) -> None:
    """A night in which the wire comes loose whenever the pump has been on for so long."""
    assert callable(goes)
    while night.t_s < NIGHT_S:
        state = night.memory.pumps[0]
        if state.on:
            night.run(on_s)
            goes(night)
            night.run(RETURN_S + FILTER_S)
        elif state.phase is Phase.WAITING:
            night.tick(max(TICK_S, state.since_s + state.rest_s - night.t_s))
        else:
            night.tick()


@pytest.mark.parametrize("goes", [supply_goes, lease_goes])
@pytest.mark.parametrize("on_s", [0.5, 60.0])
def test_a_wire_that_flickers_all_night_makes_twenty_starts_at_most(
    goes: object, on_s: float
) -> None:
    """Rests of 60, 120, 240, 480, 960 s, then of 1800 s: after the first five 1860 s are gone, and
    of 1800 s fourteen more fit into eight hours: with the first start no more than 20 in all.

    With rests of 60 s there would be 400.
    """
    night = Night()
    night.run(4)
    flickering(night, goes, on_s)
    assert 15 <= sum(start_s <= NIGHT_S for start_s in starts(night)) <= 20
    assert night.phase is not Phase.LATCHED
    assert night.memory.pumps[0].attempts == 0


def test_when_the_wire_is_mended_the_pump_is_back_within_half_an_hour() -> None:
    night = Night()
    night.run(4)
    flickering(night, supply_goes, 0.5)
    night.mend()
    mended_s = night.t_s
    night.rest(LONGEST_SUPPLY_REST_S + RETURN_S + 60)
    assert night.phase is Phase.RUNNING
    assert starts(night)[-1] - mended_s <= 1800 + RETURN_S + 5


def test_a_wire_that_stays_loose_for_half_a_day_is_still_the_same_trouble() -> None:
    """Only half a day of running forgets it."""
    night = Night()
    night.good(100)
    for hours, rest_s in ((0, 60.0), (11, 120.0), (11, 240.0), (13, 60.0)):
        night.wait(hours * 3600)
        supply_goes(night)
        night.run(FILTER_S + RETURN_S + 1)
        assert night.memory.pumps[0].rest_s == rest_s
        assert "restart is tried" in night.of(EventKind.PUMP_CUT)[-1].text
        night.rest(rest_s + 60)
        assert night.phase is Phase.RUNNING


def test_water_in_between_forgives_no_loose_wire() -> None:
    night = Night()
    night.good(100)
    supply_goes(night)
    night.rest(60 + RETURN_S + 60)
    night.wet("box-watch")
    night.run(3)
    night.mend()
    night.rest(RESTS_S[0] + RETURN_S + 60)
    supply_goes(night)
    night.run(RETURN_S)
    assert night.memory.pumps[0].rest_s == 120.0
