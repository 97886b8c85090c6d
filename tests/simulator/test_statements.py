"""Each statement can hold and can fail, by what was seen of the plant and of the guard's events."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.signals import (
    Alarm,
    AlarmState,
    Decision,
    Event,
    EventKind,
    Phase,
    Priority,
    PumpFigures,
    Saying,
)
from rules.site.model import Site
from simulator.night.evidence import Arrived, Evidence
from simulator.story.judge import Finding, judge, statements_for
from simulator.story.roles import NoSuchRoleError
from simulator.water.plant import Plant
from tests.simulator.stories import drill_of

NOTHING = Decision((), (), (), (), ())
PUMP, RELAY = "return-pump", "pump-relay"


class Seen:
    """A night put together by hand: what the relays did, and what the guard said."""

    def __init__(self, site: Site, *, cause_s: float = 10.0) -> None:
        self.site = site
        self.plant = Plant(site, 0, exact=True)
        self.plant.settle()
        self.evidence = Evidence(site, self.plant, cause_s, 0.0)
        self._t_s = 0.0

    def tick(
        self, t_s: float, *events: Event, on: bool | None = None, phase: Phase | None = None
    ) -> Seen:
        """One tick at a time: what the guard said, the pump's relay then, and its phase."""
        if on is not None:
            self.plant.command(RELAY, on)
        told = tuple(replace(event, t_s=t_s) for event in events)
        pumps = () if phase is None else (PumpFigures(PUMP, phase, 0.0, 0.0),)
        decided = replace(NOTHING, events=told, pumps=pumps)
        self.evidence.take(t_s, t_s - self._t_s, decided)
        self._t_s = t_s
        return self

    def judged(self, states: str) -> Finding:
        """The verdict on one statement, written as a line of a drill."""
        drill = drill_of('at = "1 s"; what = "guard upgraded"', states=states)
        (statement,) = statements_for(self.site, drill)
        return judge(self.site, statement, self.evidence)

    def holds(self, states: str) -> bool:
        """True if it held."""
        return self.judged(states).held


def alarm(row: str, state: AlarmState, what: str = "Water is coming") -> Alarm:
    """An alarm of a row as it stands."""
    saying = Saying(what, "at the tank", "nothing", "look")
    return Alarm(row, row.partition("/")[0], state, Priority.HIGH, 1, "1234", 0.0, saying)


def raised(row: str, what: str = "Water is coming") -> Event:
    """An alarm is raised."""
    told = alarm(row, AlarmState.UNACK_ALARM, what)
    return Event(EventKind.ALARM_RAISED, 0.0, "tank", what, told)


def returned(row: str) -> Event:
    """Its cause is gone."""
    told = alarm(row, AlarmState.RTN_UNACK)
    return Event(EventKind.ALARM_RETURNED, 0.0, "tank", "", told)


def acknowledged(row: str) -> Event:
    """A person has seen it; its cause stands."""
    told = alarm(row, AlarmState.ACK_ALARM)
    return Event(EventKind.ALARM_ACKNOWLEDGED, 0.0, "tank", "", told)


def cut(*rows: str) -> Event:
    """The pump is cut for these rows."""
    return Event(EventKind.PUMP_CUT, 0.0, PUMP, "cut", causes=rows)


MUST_RESTART = 'must = [{ what = "pump restarts" }]'
NO_RESTART = 'must_not = [{ what = "pump restarts" }]'


PAUSES = 'must = [{ what = "pump pauses", within = "5 s" }]'


def test_a_planned_pause_is_no_cut_and_nothing_needless(classroom: Site) -> None:
    seen = Seen(classroom).tick(1.0, on=True).tick(12.0, on=False, phase=Phase.PAUSED)
    assert seen.holds(PAUSES)
    assert seen.holds('must_not = [{ what = "pump cut" }]')
    seen.tick(60.0, phase=Phase.PAUSED).tick(61.0, phase=Phase.STARTING)
    seen.tick(64.0, on=True, phase=Phase.PROVING)
    assert seen.evidence.off_s == 0.0
    assert seen.holds('must = [{ what = "pump restarts", within = "54 s" }]')
    assert not seen.holds('must = [{ what = "pump restarts", within = "53 s" }]')


def test_a_pump_that_is_cut_is_not_paused(classroom: Site) -> None:
    seen = Seen(classroom).tick(1.0, on=True).tick(12.0, on=False, phase=Phase.WAITING)
    assert not seen.holds(PAUSES)
    assert not seen.holds('must_not = [{ what = "pump cut" }]')
    assert seen.evidence.off_s > 0.0


def test_a_pump_that_a_trip_takes_out_of_its_pause_is_off_for_the_trip(classroom: Site) -> None:
    seen = Seen(classroom).tick(1.0, on=True).tick(12.0, on=False, phase=Phase.PAUSED)
    seen.tick(20.0, phase=Phase.LATCHED).tick(30.0, phase=Phase.LATCHED)
    assert seen.evidence.off_s == 18.0


def test_a_pause_before_the_cause_or_too_late_does_not_count(classroom: Site) -> None:
    for at_s in (5.0, 16.0):
        seen = Seen(classroom).tick(1.0, on=True).tick(at_s, on=False, phase=Phase.PAUSED)
        assert not seen.holds(PAUSES)


def test_a_restart_is_a_start_after_a_cut_after_the_cause(classroom: Site) -> None:
    seen = Seen(classroom)
    seen.tick(2.0, on=False).tick(4.0, on=True)  # before the cause: none of its business
    assert not seen.holds(MUST_RESTART)
    assert seen.holds(NO_RESTART)
    seen.tick(12.0, on=False)
    assert not seen.holds(MUST_RESTART)
    seen.tick(100.0, on=True)
    assert seen.holds(MUST_RESTART)
    assert not seen.holds(NO_RESTART)
    assert seen.judged(NO_RESTART).detail == "it was at 1 min 40 s"


@pytest.mark.parametrize(("within", "held"), [("90 s", True), ("80 s", False)])
def test_a_restart_comes_in_time_or_not(classroom: Site, within: str, held: bool) -> None:
    seen = Seen(classroom).tick(12.0, on=False).tick(100.0, on=True)
    assert seen.holds(f'must = [{{ what = "pump restarts", within = "{within}" }}]') is held


def test_off_at_the_end_is_without_current(classroom: Site) -> None:
    """A welded relay gives current whatever was ordered; a pulled plug takes it."""
    states = 'must = [{ what = "pump off at the end" }]'
    seen = Seen(classroom).tick(1.0, on=True)
    assert not seen.holds(states)
    seen.tick(2.0, on=False)
    assert seen.holds(states)
    seen.plant.relay_stuck[RELAY] = True
    assert not seen.holds(states)
    seen.plant.unplugged.add(PUMP)
    assert seen.holds(states)


def test_starts_are_counted(classroom: Site) -> None:
    states = 'must_not = [{ what = "starts", more_than = 2 }]'
    seen = Seen(classroom).tick(1.0, on=False)
    for start in range(2):
        seen.tick(10.0 + 2 * start, on=True).tick(11.0 + 2 * start, on=False)
    assert seen.holds(states)
    seen.tick(20.0, on=True)
    assert not seen.holds(states)
    assert seen.judged(states).detail == "3 times"


NOT_ON = 'must_not = [{ what = "pump on", while = "cut cause stands" }]'


def test_a_start_while_the_cause_of_the_cut_stands(classroom: Site) -> None:
    row = "spill-edge/display"
    seen = Seen(classroom).tick(1.0, on=True)
    seen.tick(12.0, raised(row), cut(row), on=False).tick(13.0, acknowledged(row))
    seen.tick(40.0, on=True)
    assert not seen.holds(NOT_ON)
    assert row in seen.judged(NOT_ON).detail


def test_a_start_once_the_cause_of_the_cut_is_gone(classroom: Site) -> None:
    """Another alarm may still stand: it was not cut for that."""
    row = "spill-edge/display"
    seen = Seen(classroom).tick(1.0, on=True)
    seen.tick(12.0, raised(row), raised("mains"), cut(row), on=False)
    seen.tick(30.0, returned(row)).tick(40.0, on=True)
    assert seen.holds(NOT_ON)


def test_an_alarm_names_the_sensor_by_its_id_or_its_name(classroom: Site) -> None:
    states = 'must = [{ what = "alarm names", hazard = "signal", sensor = "flow meter" }]'
    seen = Seen(classroom).tick(11.0, raised("signal/box-watch", "The float is odd"))
    assert not seen.holds(states)
    assert "box-watch" in seen.judged(states).detail
    assert not Seen(classroom).tick(11.0, raised("leak/return-flow")).holds(states)
    assert Seen(classroom).tick(11.0, raised("signal/return-flow")).holds(states)
    named = raised("signal/x", "The flow meter of the riser gives no pulse")
    assert Seen(classroom).tick(11.0, named).holds(states)


ARRIVES = 'must = [{ what = "alert arrives", hazard = "leak", within = "30 s" }]'
ONCE = 'must_not = [{ what = "alert twice" }]'


def test_alerts_that_nobody_could_send_do_not_arrive(classroom: Site) -> None:
    """Without the whole daemon no such statement holds, for or against."""
    seen = Seen(classroom)
    assert not seen.holds(ARRIVES)
    assert not seen.holds(ONCE)
    assert "takes the whole daemon" in seen.judged(ONCE).detail


def test_alerts_arrive_in_time_and_once(classroom: Site) -> None:
    seen = Seen(classroom)
    seen.evidence.arrived = [Arrived(5.0, "leak", "a"), Arrived(20.0, "mains", "b")]
    assert not seen.holds(ARRIVES)
    assert seen.judged(ARRIVES).detail == "it never did"
    seen.evidence.arrived.append(Arrived(39.0, "leak", "c"))
    assert seen.holds(ARRIVES)
    assert seen.holds(ONCE)
    seen.evidence.arrived[-1] = Arrived(41.0, "leak", "c")
    assert not seen.holds(ARRIVES)
    seen.evidence.arrived.append(Arrived(50.0, "mains", "b"))
    assert not seen.holds(ONCE)
    assert seen.judged(ONCE).detail == "mains 2 times"
    assert seen.holds('must_not = [{ what = "alert twice", hazard = "leak" }]')


def test_a_statement_about_what_a_site_lacks_is_a_sentence(rack: Site) -> None:
    for states in (
        'must = [{ what = "alarm names", hazard = "signal", sensor = "level sensor" }]',
        'must = [{ what = "pump restarts", where = "second return pump" }]',
        'must_not = [{ what = "starts", more_than = 2, where = "second return pump" }]',
    ):
        drill = drill_of('at = "1 s"; what = "guard upgraded"', states=states)
        with pytest.raises(NoSuchRoleError, match="Frag rack has no"):
            statements_for(rack, drill)
