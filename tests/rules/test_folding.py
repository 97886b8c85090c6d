"""One cause is one alarm: what only follows from it is told in it (ISA-18.2, IEC 62682)."""

from __future__ import annotations

from rules.alarming.folding import FOLLOWS
from rules.hazards.table import HAZARDS
from rules.signals import AlarmState, EventKind
from tests.rules.nights import Night
from tests.rules.test_own_rows import FLOW, running, with_row

LOST, MINE = "flow-lost.return-pump", "own.mine"


def lost_then_weak(**own: str) -> Night:
    """No flow is seen, and a row of the site's own says that it is weak."""
    night = running(with_row(**FLOW, for_='"20 s"', **own))
    night.flow("return-flow", 0.0)
    night.run(25)
    assert len(night.raised(LOST)) == 1
    return night


def test_what_follows_is_told_in_its_cause_and_not_apart() -> None:
    night = lost_then_weak()
    assert night.raised(MINE) == []
    assert night.alarm(MINE) is None
    cause = night.alarm(LOST)
    assert cause is not None
    (told,) = cause.consequences
    assert "flow of the return pump under 42.0 l/min" in told
    (folded,) = night.of(EventKind.ALARM_FOLDED)
    assert folded.causes == (LOST,)
    assert night.decision is not None
    assert night.decision.rates.day == 1


def test_what_outlives_its_cause_is_told_after_all() -> None:
    night = lost_then_weak()
    night.flow("return-flow", 0.5)  # no longer lost, and still weak
    night.run(9)
    assert night.raised(MINE) == []
    night.run(3)
    (alarm,) = night.raised(MINE)
    assert alarm.state is AlarmState.UNACK_ALARM
    cause = night.alarm(LOST)
    assert cause is not None
    assert cause.consequences == ()


def test_what_goes_with_its_cause_is_never_told() -> None:
    night = lost_then_weak()
    night.mend()
    night.run(60)
    assert night.raised(MINE) == []
    assert night.alarm(MINE) is None
    assert [e.alarm.row for e in night.of(EventKind.ALARM_RETURNED) if e.alarm] == [LOST]


def test_what_is_of_higher_priority_is_told_apart() -> None:
    night = lost_then_weak(priority='"high"')
    assert len(night.raised(MINE)) == 1


def test_its_effect_is_that_of_any_row() -> None:
    night = lost_then_weak(
        does='"cut-pumps"', pumps='["return-pump"]', priority='"low"', clear='"when-clear"'
    )
    assert night.raised(MINE) == []
    assert night.of(EventKind.PUMP_CUT)[0].causes == (MINE,)


def test_one_that_was_told_before_its_cause_came_stays_told() -> None:
    night = running(with_row(**FLOW, for_='"2 s"'))
    night.flow("return-flow", 0.0)
    night.run(15)
    assert len(night.raised(MINE)) == 1
    assert len(night.raised(LOST)) == 1
    assert night.alarm(MINE) is not None


def test_a_float_that_cannot_be_read_is_one_alarm() -> None:
    """Its worst case has cut the pump, and that alarm names it: the signal's own would say so
    again."""
    night = Night()
    night.good(70)
    night.bad("display-high")
    night.run(10)
    assert [e.alarm.row for e in night.of(EventKind.ALARM_RAISED) if e.alarm] == [
        "spill-edge.display-high"
    ]
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    assert "cannot be read" in alarm.saying.what
    assert "no such pin" in alarm.consequences[0]


def test_a_signal_that_did_not_cut_is_told_apart() -> None:
    night = Night()
    night.good(70)
    night.wet("floor-pad")
    night.run(3)
    night.bad("box-watch")
    night.run(10)
    assert len(night.raised("signal.box-watch")) == 1


def test_a_pump_that_is_off_for_long_is_never_folded() -> None:
    """It tells that nobody has come."""
    night = Night()
    night.good(70)
    night.wet("display-high")
    night.run(2)
    night.rest(3700)
    assert len(night.raised("pump-off.return-pump")) == 1


def test_what_folds_are_hazards_and_no_row_that_tells_by_stages() -> None:
    names = {*FOLLOWS, *(name for follows in FOLLOWS.values() for name in follows)}
    assert names <= set(HAZARDS)
    assert "pump-off" not in names
