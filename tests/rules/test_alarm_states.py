"""The life of an alarm against the state table of ISA-18.2 and IEC 62682."""

from __future__ import annotations

from itertools import product

import pytest

from rules import alarms
from rules.alarms import Stimulus
from rules.signals import AlarmState, EventKind, Origin
from tests.rules.nights import Night

NORMAL, UNACK, ACK = AlarmState.NORMAL, AlarmState.UNACK_ALARM, AlarmState.ACK_ALARM
RTN, LATCH_UNACK, LATCH_ACK = AlarmState.RTN_UNACK, AlarmState.LATCH_UNACK, AlarmState.LATCH_ACK
ALARM, CLEAR = Stimulus.ALARM, Stimulus.CLEAR
ACKNOWLEDGE, RESET = Stimulus.ACKNOWLEDGE, Stimulus.RESET

# From a summary of the standards' table: unacknowledged and clear -> returned unacknowledged;
# returned + acknowledge -> normal; returned + alarm -> unacknowledged; latched clears by reset
# only. From memory of the same table: the first two rows, acknowledged + clear, the latched ones.
COMMON = {
    (NORMAL, ALARM): UNACK,
    (UNACK, ACKNOWLEDGE): ACK,
    (RTN, ACKNOWLEDGE): NORMAL,
    (RTN, ALARM): UNACK,
    (LATCH_UNACK, ACKNOWLEDGE): LATCH_ACK,
    (LATCH_UNACK, RESET): RTN,
    (LATCH_ACK, RESET): NORMAL,
    # ours: a cause that comes back to a latched alarm is news again
    (LATCH_UNACK, ALARM): UNACK,
    (LATCH_ACK, ALARM): UNACK,
    # an alarm that was acknowledged and then becomes more severe is unacknowledged
    (ACK, Stimulus.WORSE): UNACK,
}
PLAIN = {**COMMON, (UNACK, CLEAR): RTN, (ACK, CLEAR): NORMAL}
LATCHING = {**COMMON, (UNACK, CLEAR): LATCH_UNACK, (ACK, CLEAR): LATCH_ACK}


@pytest.mark.parametrize(("state", "stimulus"), list(product(AlarmState, Stimulus)))
@pytest.mark.parametrize("latching", [False, True], ids=["plain", "latching"])
def test_every_pair_of_state_and_stimulus(
    state: AlarmState, stimulus: Stimulus, latching: bool
) -> None:
    """A pair that the table does not name changes nothing."""
    want = (LATCHING if latching else PLAIN).get((state, stimulus), state)
    assert alarms.after(state, stimulus, latching) is want


@pytest.mark.parametrize("stimulus", [ALARM, CLEAR, ACKNOWLEDGE])
@pytest.mark.parametrize("state", [LATCH_UNACK, LATCH_ACK])
def test_a_latched_alarm_reaches_normal_by_reset_only(
    state: AlarmState, stimulus: Stimulus
) -> None:
    assert alarms.after(state, stimulus, latching=True) not in (NORMAL, RTN)


@pytest.mark.parametrize("latching", [False, True])
def test_nobody_acknowledges_by_a_reset_and_nothing_is_acknowledged_by_itself(
    latching: bool,
) -> None:
    unacknowledged = {UNACK, RTN, LATCH_UNACK}
    for state, stimulus in product(unacknowledged, (ALARM, CLEAR, RESET)):
        assert alarms.after(state, stimulus, latching) in unacknowledged


def test_codes_are_four_digits_and_change_with_boot_row_and_occurrence() -> None:
    seen = {
        alarms.code(boot, row, occurrence, ())
        for boot in ("a", "b", "c")
        for row in ("spill-edge.display-high", "leak.floor-pad")
        for occurrence in (1, 2, 3)
    }
    assert all(len(code) == 4 and code.isdigit() and code[0] != "0" for code in seen)
    assert len(seen) == 18


def test_a_code_is_unlike_every_one_that_is_taken() -> None:
    taken: set[str] = set()
    for occurrence in range(500):
        code = alarms.code("boot", "row", occurrence, taken)
        assert code not in taken
        taken.add(code)


# --- the same life, told by the engine ------------------------------------------------------------

GONE_S = 12.0
"""More than a float's filter and the 10 s for which a cause must stay away [s]."""
OWN_HIGH = "chamber-high.return-high"
EDGE = "spill-edge.display-high"


def state_of(night: Night, row: str) -> AlarmState:
    """The state of a row's alarm; one that does not stand is normal."""
    alarm = night.alarm(row)
    return alarm.state if alarm else NORMAL


def code_of(night: Night, row: str) -> str:
    """The code of a standing alarm."""
    alarm = night.alarm(row)
    assert alarm is not None
    return alarm.code


def test_a_plain_alarm_that_is_acknowledged_first() -> None:
    night = Night()
    night.good(90)
    night.wet("return-high")
    night.run(2)
    assert state_of(night, OWN_HIGH) is UNACK
    night.acknowledge(code_of(night, OWN_HIGH))
    assert state_of(night, OWN_HIGH) is ACK
    night.good(GONE_S)
    assert state_of(night, OWN_HIGH) is NORMAL
    kinds = [e.kind for e in night.events if e.alarm and e.alarm.row == OWN_HIGH]
    assert kinds == [
        EventKind.ALARM_RAISED,
        EventKind.ALARM_ACKNOWLEDGED,
        EventKind.ALARM_ENDED,
    ]


def test_a_plain_alarm_that_returns_first() -> None:
    night = Night()
    night.good(90)
    night.wet("return-high")
    night.run(2)
    night.good(GONE_S)
    assert state_of(night, OWN_HIGH) is RTN
    night.acknowledge(code_of(night, OWN_HIGH))
    assert state_of(night, OWN_HIGH) is NORMAL
    kinds = [e.kind for e in night.events if e.alarm and e.alarm.row == OWN_HIGH]
    assert kinds == [EventKind.ALARM_RAISED, EventKind.ALARM_RETURNED, EventKind.ALARM_ENDED]


def test_a_latching_alarm_waits_for_acknowledge_and_reset() -> None:
    night = Night()
    night.good(90)
    night.wet("display-high")
    night.run(6)
    assert state_of(night, EDGE) is UNACK
    night.good(GONE_S)
    assert state_of(night, EDGE) is LATCH_UNACK
    night.acknowledge(code_of(night, EDGE))
    assert state_of(night, EDGE) is LATCH_ACK
    night.rest(600)
    assert state_of(night, EDGE) is LATCH_ACK
    night.reset()
    assert state_of(night, EDGE) is NORMAL
    kinds = [e.kind for e in night.events if e.alarm and e.alarm.row == EDGE]
    assert kinds == [
        EventKind.ALARM_RAISED,
        EventKind.ALARM_RETURNED,
        EventKind.ALARM_ACKNOWLEDGED,
        EventKind.ALARM_ENDED,
    ]


def test_a_latching_alarm_that_is_reset_first_still_wants_to_be_acknowledged() -> None:
    night = Night()
    night.good(90)
    night.wet("display-high")
    night.run(2)
    night.good(GONE_S)
    night.reset()
    assert state_of(night, EDGE) is RTN
    night.acknowledge(code_of(night, EDGE), origin=Origin.LOCAL)
    assert state_of(night, EDGE) is NORMAL


def test_codes_of_alarms_that_stand_together_differ() -> None:
    for boot in ("a", "b", "c", "d"):
        night = Night("rack", boot=boot)
        night.good(90)
        night.bad(*night.site.sensors)
        night.run(20)
        assert night.decision is not None
        codes = [alarm.code for alarm in night.decision.alarms]
        assert len(codes) > 20
        assert len(set(codes)) == len(codes)


def test_an_acknowledged_alarm_that_comes_back_is_a_new_occurrence_with_a_new_code() -> None:
    night = Night()
    night.good(90)
    codes = []
    for occurrence in (1, 2, 3):
        night.wet("return-high")
        night.run(2)
        alarm = night.alarm(OWN_HIGH)
        assert alarm is not None
        assert alarm.occurrence == occurrence
        assert alarm.state is UNACK
        codes.append(alarm.code)
        night.acknowledge(alarm.code)
        night.good(GONE_S)
    assert len(set(codes)) == 3


def test_the_same_night_after_a_restart_has_other_codes() -> None:
    codes = []
    for boot in ("boot-a", "boot-b"):
        night = Night(boot=boot)
        night.good(90)
        night.wet("display-high")
        night.run(2)
        codes.append(code_of(night, EDGE))
    assert codes[0] != codes[1]


def test_an_alarm_says_its_five_things() -> None:
    night = Night()
    night.good(90)
    night.wet("display-high", "box-watch", "inlet-high", "floor-pad")
    night.dry("return-low", "supply")
    night.run(10)
    assert night.decision is not None
    assert len(night.decision.alarms) >= 6
    for alarm in night.decision.alarms:
        saying = alarm.saying
        for sentence in (saying.what, saying.where, saying.done, saying.do_now):
            assert sentence.strip()
            assert "!" not in sentence
        assert saying.done.endswith(".")
        assert saying.do_now.endswith(".")
        assert alarm.spill_s > 0
