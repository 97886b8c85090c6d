"""A pump that runs on although it was cut is told from water that runs back through it."""

from __future__ import annotations

import pytest

from rules.memory import keep
from rules.plan import PumpPlan
from rules.signals import AlarmState, EventKind, Phase, Priority
from tests.rules.nights import Night, site_of, text_of

ROW = "cut-unanswered.return-pump"
METER = {"classroom": "return-flow", "rack": "trunk-flow"}
TRIP = {"classroom": "box-watch", "rack": "upper-left-watch"}

POWER_CUT_BACK = {
    "classroom": ((1, 0.6), (1, 0.6), (1, 1.15), (1, 1.5), (22, 1.7), (10, 0.4), (30, 0.01)),
    "rack": ((1, 0.6), (1, 0.35), (1, 0.5), (3, 0.65), (3, 0.4), (50, 0.2), (60, 0.02)),
}
"""A back-siphon with every siphon break plugged, as shares of the flow and how long each lasts [s]:
rounded from nights of the simulator, which works it out apart from the rules."""


def back(night: Night) -> float:
    """The most that can run back [m3]."""
    plan: PumpPlan = night.plan.pumps[0]
    assert plan.back is not None
    return plan.back.most_m3


def cut(name: str, share: float, **asked: frozenset[str]) -> Night:
    """A good start, then drains that are short of the flow, and this share of it from then on."""
    night = Night(name, **asked)
    night.good(100)
    night.wet(TRIP[name])
    night.run(1.1)
    assert night.cut_at is not None
    night.flow(METER[name], share)
    return night


@pytest.mark.parametrize("name", ["classroom", "rack"])
@pytest.mark.parametrize("share", [1.0, 0.85])
def test_a_pump_that_runs_on_is_named_once_more_has_passed_than_can_run_back(
    name: str, share: float
) -> None:
    night = cut(name, share)
    flow_m3_s = night.readings()[night.plan.sensors[METER[name]]].value
    due_s = back(night) / flow_m3_s
    assert 40.0 < due_s < 180.0
    night.run(due_s - 2.0)
    assert night.raised(ROW) == []
    night.run(4.0)
    (alarm,) = night.raised(ROW)
    assert alarm.priority is Priority.HIGH
    assert "runs although it is switched off" in alarm.saying.what
    assert "plug" in alarm.saying.do_now
    assert "breaker" in alarm.saying.do_now
    assert not night.on("pump-relay")
    assert not night.on("top-off-valve")
    assert night.on("sounder")


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_without_it_nobody_is_told(name: str) -> None:
    night = cut(name, 1.0, without=frozenset({"cut-unanswered"}))
    night.rest(600)
    assert night.raised(ROW) == []


def test_the_bound_is_what_the_plumbing_holds() -> None:
    """Display 0.81 m2 of water, from its rim at 600 mm to the riser's mouth at 520 mm: 64.8 l;
    refugium 0.12 m2, from 300 to 290 mm: 1.2 l; arithmetic from the site file. Pipes, run-on and
    the reserves come on top: some tenths more, not twice as much."""
    holds_m3 = 0.81 * 0.080 + 0.12 * 0.010
    assert holds_m3 * 1.155 < back(Night()) < holds_m3 * 1.155 + 0.010


def test_a_spill_edge_float_that_gets_wet_says_so_sooner() -> None:
    night = cut("classroom", 1.0)
    night.run(25)
    assert night.raised(ROW) == []
    night.wet("display-high")
    night.run(2)
    assert len(night.raised(ROW)) == 1


def test_a_float_that_cannot_be_read_proves_nothing() -> None:
    night = cut("classroom", 1.0)
    night.bad("display-high")
    night.run(50)
    assert night.raised(ROW) == []


def test_alarms_that_said_it_was_cut_say_it_no_longer() -> None:
    night = cut("classroom", 1.0)
    row = "drain-capacity.overflow-box"
    before = night.alarm(row)
    assert before is not None
    assert "was cut" in before.saying.done
    night.run(90)
    after = night.alarm(row)
    assert after is not None
    assert "was cut" not in after.saying.done
    assert "did not obey" in after.saying.done
    night.wet("inlet-high")
    night.run(3)
    (later,) = night.raised("chamber-high.inlet-high")
    assert "did not obey" in later.saying.done


def test_it_is_not_started_again_before_a_person_resets_it() -> None:
    night = cut("classroom", 1.0)
    night.run(120)
    assert night.reset().kind is EventKind.ORDER_REFUSED  # it runs still
    night.flow(METER["classroom"], 0.48)  # its chamber is empty, and it draws air
    night.rest(300)
    alarm = night.alarm(ROW)
    assert alarm is not None
    assert alarm.state is AlarmState.UNACK_ALARM
    night.mend()
    night.rest(1800)
    assert night.phase is Phase.LATCHED
    assert not night.on("pump-relay")
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(60)
    assert night.on("pump-relay")
    assert len(night.raised(ROW)) == 1


def test_it_stays_so_over_a_restart_of_the_guard() -> None:
    night = cut("classroom", 1.0)
    night.run(120)
    again = Night(kept=keep(night.plan, night.memory), boot="boot-b")
    again.flow(METER["classroom"], 1.0)
    again.run(300)
    assert not again.on("pump-relay")
    assert [alarm.occurrence for alarm in again.raised(ROW)] == [1, 2]


def test_a_pump_that_was_never_put_on_and_runs_is_named_too() -> None:
    """Plugged in past the relay, and the guard holds it off for a cause of its own."""
    night = Night()
    night.flow(METER["classroom"], 1.0)
    night.wet("floor-pad")
    night.run(100)
    assert night.of(EventKind.PUMP_STARTED) == []
    assert len(night.raised(ROW)) == 1


def test_a_pause_that_it_does_not_obey_shows_it() -> None:
    night = Night()
    night.good(100)
    assert night.pause("feeding").kind is EventKind.ORDER_OBEYED
    night.flow(METER["classroom"], 1.0)
    night.run(100)
    assert len(night.raised(ROW)) == 1
    night.rest(7300)
    assert not night.on("pump-relay")
    assert night.raised("pump-off.return-pump") == []  # it does run


# --- what must not be taken for it -----------------------------------------------------------


@pytest.mark.parametrize("name", ["classroom", "rack"])
@pytest.mark.parametrize("how", ["cut", "pause", "supply", "lease"])
def test_no_stop_in_which_water_runs_back_is_taken_for_it(name: str, how: str) -> None:
    night = Night(name)
    night.good(100)
    match how:
        case "cut":
            night.wet(TRIP[name])
        case "pause":
            night.pause("feeding")
        case "supply":
            night.dry("supply")
        case _:
            night.drop("pump-relay")
    night.run(1.2)
    assert not night.on("pump-relay")
    for lasts_s, share in POWER_CUT_BACK[name]:
        night.flow(METER[name], share)
        night.run(lasts_s)
    night.mend()
    night.rest(900)
    assert night.raised(ROW) == []
    assert night.on("pump-relay")


def test_a_back_siphon_at_the_rate_of_the_pump_runs_out_before_it_is_due() -> None:
    """The worst that can be: full to the comb's rim, and as fast as the pump lifted."""
    night = cut("classroom", 1.0)
    night.run((0.81 * 0.080 + 0.002) / night.plan.pumps[0].back.nominal_m3_s)  # type: ignore[union-attr]
    night.flow(METER["classroom"], 0.05)
    night.rest(120)
    assert night.raised(ROW) == []


@pytest.mark.parametrize("stray", [0.1, 0.4, 0.8, 5.0])
def test_stray_pulses_from_before_the_cut_are_not_taken_for_it(stray: float) -> None:
    night = Night()
    night.good(100)
    night.flow(METER["classroom"], 1.0 + stray)
    night.run(5)
    night.wet(TRIP["classroom"])
    night.run(1.1)
    assert night.cut_at is not None
    night.flow(METER["classroom"], stray if stray < 1.0 else 0.4)
    night.rest(600)
    assert night.raised(ROW) == []


def test_stray_pulses_that_come_and_go_do_not_add_up() -> None:
    night = cut("classroom", 0.0)
    for _ in range(100):
        night.flow(METER["classroom"], 0.9)
        night.run(4)
        night.flow(METER["classroom"], 0.0)
        night.run(8)
    assert night.raised(ROW) == []


def test_a_meter_that_cannot_be_read_neither_raises_nor_ends_it() -> None:
    night = cut("classroom", 1.0)
    night.run(20)
    night.bad(METER["classroom"])
    night.rest(600)
    assert night.raised(ROW) == []
    night.flow(METER["classroom"], 1.0)
    night.run(90)
    assert len(night.raised(ROW)) == 1
    night.bad(METER["classroom"])
    night.rest(600)
    alarm = night.alarm(ROW)
    assert alarm is not None
    assert alarm.state is AlarmState.UNACK_ALARM


def test_a_site_without_a_meter_has_no_such_row() -> None:
    text = text_of("classroom")
    start = text.index("[sensors.return-flow]")
    end = text.index("[sensors.floor-pad]")
    night = Night(site_of(text[:start] + text[end:]))
    assert not any(row.hazard == "cut-unanswered" for row in night.plan.rows)
    night.good(100)
    night.wet("box-watch")
    night.rest(120)
    assert [alarm.hazard for alarm in night.decision.alarms] == ["drain-capacity"]  # type: ignore[union-attr]


def test_looks_far_apart_count_no_more_than_they_saw() -> None:
    night = cut("classroom", 1.0)
    for _ in range(20):
        night.tick(10.0)
    assert night.raised(ROW) == []


def test_where_another_pump_feeds_the_same_tank_both_stories_are_told() -> None:
    text = (
        text_of("classroom")
        + """
[pumps.second-pump]
name = "second pump"
from = "return"
intake = "60 mm"
run_on = "2 s"
curve = [
  { flow = "0 l/h", head = "2.6 m" },
  { flow = "500 l/h", head = "2.2 m" },
  { flow = "1000 l/h", head = "0.2 m" },
]

[passages.second-riser]
kind = "branch"
pump = "second-pump"
to = "display"
outlet = "520 mm"
siphon_break = "565 mm"
pipe = "3/4 in sch40"
length = "2 m"
fittings = ["elbow-90", "elbow-90", "exit"]
"""
    )
    night = Night(site_of(text))
    night.good(100)
    night.wet("box-watch")
    night.run(1.1)
    night.flow("return-flow", 1.0)
    night.run(120)
    (alarm,) = night.raised(ROW)
    assert "another pump" in alarm.saying.what
