"""Shelving (ISA-18.2, IEC 62682): an alarm is put aside for a bounded time, its effect is not."""

from __future__ import annotations

import pytest

from rules.alarming.shelving import LONGEST_HIGH_S, LONGEST_S
from rules.idle import idle_until_s
from rules.memory import keep
from rules.signals import (
    Alarm,
    AlarmState,
    AskedShelf,
    Command,
    Event,
    EventKind,
    Order,
    Origin,
)
from tests.rules.nights import Night, edited, site_of, text_of

FLOW_LOST = "flow-lost.return-pump"
HIGH_SUMP = "chamber-high.return-high"
LATE = "top-off-long.top-off-valve"


def shelve(night: Night, code: str, lasts_s: float | None = None) -> Event:
    """Somebody at the guard shelves an alarm; returns the answer."""
    return night.order(Command(Order.SHELVE, AskedShelf(code, lasts_s).text, Origin.LOCAL))


def standing(night: Night, row: str) -> Alarm:
    """The alarm of a row, as it is told."""
    alarm = night.alarm(row)
    assert alarm is not None
    return alarm


def flow_lost() -> Night:
    """A night in which the meter shows nothing, and that is told."""
    night = Night()
    night.good(70)
    night.flow("return-flow", 0.0)
    night.run(11)
    assert standing(night, FLOW_LOST).state is AlarmState.UNACK_ALARM
    return night


def test_it_is_put_aside_and_comes_back_by_itself() -> None:
    night = flow_lost()
    answer = shelve(night, standing(night, FLOW_LOST).code, 600.0)
    assert answer.kind is EventKind.ORDER_OBEYED
    assert "10 min 00 s" in answer.text
    assert standing(night, FLOW_LOST).state is AlarmState.SHELVED
    night.rest(590)
    assert len(night.raised(FLOW_LOST)) == 1
    night.run(12)
    assert len(night.raised(FLOW_LOST)) == 2
    assert standing(night, FLOW_LOST).state is AlarmState.UNACK_ALARM
    codes = {alarm.code for alarm in night.raised(FLOW_LOST)}
    assert len(codes) == 2, "what comes back has to be answered anew"


def test_its_effect_stays_in_force() -> None:
    night = flow_lost()
    night.dry("return-level")
    shelve(night, standing(night, FLOW_LOST).code, 600.0)
    night.rest(300)
    assert not night.on("top-off-valve")
    assert night.on("pump-relay")


def test_an_acknowledged_one_comes_back_unacknowledged() -> None:
    night = flow_lost()
    night.acknowledge(standing(night, FLOW_LOST).code)
    shelve(night, standing(night, FLOW_LOST).code, 60.0)
    night.run(61)
    assert standing(night, FLOW_LOST).state is AlarmState.UNACK_ALARM


def test_what_went_meanwhile_is_gone_and_nobody_is_asked() -> None:
    night = flow_lost()
    shelve(night, standing(night, FLOW_LOST).code, 120.0)
    night.mend()
    night.run(60)
    assert standing(night, FLOW_LOST).state is AlarmState.SHELVED
    assert night.of(EventKind.ALARM_RETURNED) == []
    night.run(70)
    assert night.alarm(FLOW_LOST) is None
    assert len(night.of(EventKind.ALARM_ENDED)) == 1


def test_what_comes_and_goes_while_it_is_shelved_says_nothing() -> None:
    night = flow_lost()
    shelve(night, standing(night, FLOW_LOST).code, 3600.0)
    for _ in range(3):
        night.mend()
        night.run(12)
        night.flow("return-flow", 0.0)
        night.run(12)
    assert len(night.raised(FLOW_LOST)) == 1
    assert night.of(EventKind.ALARM_CHATTERS) == []


def test_a_person_takes_it_back() -> None:
    night = flow_lost()
    shelve(night, standing(night, FLOW_LOST).code, 600.0)
    night.order(Command(Order.UNSHELVE, standing(night, FLOW_LOST).code, Origin.LOCAL))
    assert standing(night, FLOW_LOST).state is AlarmState.UNACK_ALARM
    assert len(night.of(EventKind.ALARM_UNSHELVED)) == 1


def test_one_whose_cause_grows_worse_comes_back_at_once() -> None:
    """A pump that has been off for an hour is shelved for the night; at two hours it is told."""
    night = Night()
    night.good(70)
    night.wet("display-high")
    night.run(6)  # shorter is splash, and the pump comes back
    night.mend()
    night.rest(3600)
    row = "pump-off.return-pump"
    assert len(night.raised(row)) == 1
    shelve(night, standing(night, row).code, LONGEST_S)
    night.rest(3500)
    assert standing(night, row).state is AlarmState.SHELVED
    night.rest(120)
    assert len(night.raised(row)) == 2
    assert standing(night, row).state is AlarmState.UNACK_ALARM
    assert night.on("sounder")


@pytest.mark.parametrize("wet", ["display-high", "box-watch", "floor-pad"])
def test_what_cuts_a_pump_is_never_shelved(wet: str) -> None:
    night = Night()
    night.good(70)
    night.wet(wet)
    night.run(4)
    assert night.decision is not None
    (alarm,) = night.decision.alarms
    answer = shelve(night, alarm.code, 60.0)
    assert answer.kind is EventKind.ORDER_REFUSED
    assert "what cuts a pump is never shelved" in answer.text
    assert standing(night, alarm.row).state is AlarmState.UNACK_ALARM
    assert not night.on("pump-relay")


def test_one_of_high_priority_is_shelved_for_a_short_time_only() -> None:
    night = Night()
    night.good(70)
    night.wet("return-high")
    night.run(2)
    code = standing(night, HIGH_SUMP).code
    assert "is shelved for 1 min 00 s to 15 min 00 s" in shelve(night, code, 3600.0).text
    assert standing(night, HIGH_SUMP).state is AlarmState.UNACK_ALARM
    assert night.on("sounder")
    assert shelve(night, code).kind is EventKind.ORDER_OBEYED
    assert not night.on("sounder")
    night.rest(LONGEST_HIGH_S - 5)
    assert not night.on("sounder")
    night.run(6)
    assert night.on("sounder")


@pytest.mark.parametrize(
    ("lasts_s", "sentence"),
    [(59.0, "1 min 00 s to 8 h 00 min"), (LONGEST_S + 1.0, "1 min 00 s to 8 h 00 min")],
)
def test_its_time_is_bounded(lasts_s: float, sentence: str) -> None:
    night = flow_lost()
    answer = shelve(night, standing(night, FLOW_LOST).code, lasts_s)
    assert answer.kind is EventKind.ORDER_REFUSED
    assert sentence in answer.text


def test_what_cannot_be_shelved_is_said() -> None:
    night = flow_lost()
    code = standing(night, FLOW_LOST).code
    assert "not the code of any alarm" in shelve(night, "0000").text
    assert "is not shelved" in night.order(Command(Order.UNSHELVE, code, Origin.LOCAL)).text
    shelve(night, code)
    assert "is shelved already, for another" in shelve(night, code).text


def test_over_the_broker_only_somebody_whom_the_file_lets() -> None:
    text = edited(text_of("classroom"), "people.keeper", may='["acknowledge", "shelve"]')
    for site, obeyed in ((site_of(text_of("classroom")), False), (site_of(text), True)):
        night = Night(site)
        night.run(70)
        night.flow("return-flow", 0.0)
        night.run(11)
        asked = AskedShelf(standing(night, FLOW_LOST).code, 600.0).text
        nobody = night.order(Command(Order.SHELVE, asked, Origin.BROKER))
        assert nobody.kind is EventKind.ORDER_REFUSED
        answer = night.order(Command(Order.SHELVE, asked, Origin.BROKER, "keeper"))
        assert (answer.kind is EventKind.ORDER_OBEYED) is obeyed


def test_a_restart_forgets_it_and_tells_the_alarm_again() -> None:
    night = flow_lost()
    shelve(night, standing(night, FLOW_LOST).code)
    again = Night(kept=keep(night.plan, night.memory), boot="boot-b")
    again.run(70)
    again.flow("return-flow", 0.0)
    again.run(11)
    assert standing(again, FLOW_LOST).state is AlarmState.UNACK_ALARM


def test_a_night_that_is_played_quickly_stops_where_it_comes_back() -> None:
    night = flow_lost()
    shelve(night, standing(night, FLOW_LOST).code, 600.0)
    until_s = night.t_s + 600.0
    night.rest(120)
    before = night.memory
    night.tick()
    assert idle_until_s(night.plan, before, night.memory) == pytest.approx(until_s)
