"""Drains that carry less than the pump lifts, and what the flow meter may and may not hide."""

from __future__ import annotations

from math import isfinite

import pytest

from rules.engine import RETURN_S
from rules.resting import RESTS_S
from rules.signals import DrainFigures, EventKind, Phase
from tests.rules.nights import Night, edited, site_of, text_of

SHORT = "drain-capacity.overflow-box"
LOSS = "drain-loss.overflow-box"


def box(night: Night) -> DrainFigures:
    """The live figures of the overflow box."""
    assert night.decision is not None
    return next(drain for drain in night.decision.drains if drain.chamber == "overflow-box")


def watch_m(night: Night) -> float:
    """The height of the box's float over its bottom [m]."""
    return night.site.floats()["box-watch"].height


def near_watch() -> Night:
    """The classroom with its drain-watch float a few millimetres over the working level."""
    night = Night(site_of(edited(text_of("classroom"), "sensors.box-watch", height='"169 mm"')))
    night.good(120)
    return night


def test_a_box_over_its_watch_cuts_before_the_display_moves() -> None:
    night = Night()
    night.good(120)
    night.wet("box-watch")
    night.run(5)
    assert night.cut_after_s is not None
    assert night.cut_after_s <= 1.1
    (alarm,) = night.raised(SHORT)
    assert "main drain" in alarm.saying.what
    assert isfinite(alarm.spill_s)
    assert alarm.spill_s > 5


def test_on_a_good_day_the_drains_carry_more_than_comes() -> None:
    night = Night()
    night.good(120)
    live = box(night)
    assert live.margin > 1.1
    assert live.return_m3_s == pytest.approx(
        night.plan.figures.running.flows_m3_s["riser"], rel=1e-9
    )
    assert live.level_least_m == 0.0
    assert live.level_most_m == pytest.approx(watch_m(night))
    assert not isfinite(live.spill_s)


def test_a_wet_watch_bounds_the_level_from_below() -> None:
    night = Night()
    night.good(120)
    night.wet("box-watch")
    night.run(1.5)
    live = box(night)
    assert live.level_least_m == pytest.approx(watch_m(night))
    assert live.level_most_m == pytest.approx(night.site.chambers["overflow-box"].rim)


# --- the meter -----------------------------------------------------------------------------------


def test_a_meter_that_cannot_be_read_means_the_computed_flow_and_never_none() -> None:
    night = Night()
    night.good(120)
    night.bad("return-flow")
    night.run(60)
    assert night.decision is not None
    (pump,) = night.decision.pumps
    assert pump.flow_m3_s == pytest.approx(night.plan.pumps[0].nominal_m3_s)
    assert night.raised("flow-lost.return-pump") == []
    assert night.on("pump-relay")


def test_a_meter_that_cannot_be_read_hides_no_blockage() -> None:
    night = Night()
    night.good(120)
    night.bad("return-flow")
    night.run(10)
    night.wet("box-watch")
    night.run(3)
    assert night.cut_after_s is not None


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3, 0.5, 0.8, 1.2, 2.0])
def test_a_meter_that_reads_wrong_hides_no_blockage(share: float) -> None:
    night = Night()
    night.good(120)
    night.flow("return-flow", share)
    night.run(5)
    night.wet("box-watch")
    night.run(3)
    assert night.cut_after_s is not None


@pytest.mark.parametrize("share", [0.5, 0.8, 1.0, 1.3])
def test_a_meter_alone_cuts_nothing_while_the_floats_are_content(share: float) -> None:
    night = Night()
    night.good(120)
    night.flow("return-flow", share)
    night.run(120)
    assert night.cut_at is None
    assert night.raised(SHORT) == []


def test_no_flow_while_on_is_said_after_ten_seconds_and_cuts_nothing() -> None:
    night = Night()
    night.good(120)
    night.flow("return-flow", 0.0)
    night.run(9.8)
    assert night.raised("flow-lost.return-pump") == []
    night.run(1)
    (alarm,) = night.raised("flow-lost.return-pump")
    assert "display" in alarm.saying.do_now
    night.run(600)
    assert night.on("pump-relay")
    assert len(night.raised("flow-lost.return-pump")) == 1


def test_a_flow_that_falters_for_a_moment_is_not_worth_a_word() -> None:
    night = Night()
    night.good(120)
    for _ in range(20):
        night.flow("return-flow", 0.0)
        night.run(3)
        night.mend()
        night.run(6)
    assert night.raised("flow-lost.return-pump") == []


def test_no_flow_is_no_news_while_the_pump_starts_or_is_off() -> None:
    night = Night()
    night.flow("return-flow", 0.0)
    night.run(3 + night.plan.pumps[0].prime_s - 1)
    assert night.phase is Phase.PROVING
    assert night.raised("flow-lost.return-pump") == []
    night.wet("display-high")
    night.run(120)
    assert night.phase is Phase.LATCHED
    assert night.raised("flow-lost.return-pump") == []


# --- a loss that the others still carry ----------------------------------------------------------


def test_a_loss_that_the_others_carry_is_said_and_not_cut() -> None:
    night = near_watch()
    night.wet("box-watch")
    night.run(9)
    assert night.raised(LOSS) == []
    night.run(3)
    (alarm,) = night.raised(LOSS)
    assert alarm.saying.done == "The top-off is shut; the pump runs on."
    night.run(300)
    assert night.on("pump-relay")
    assert not night.on("sounder")


def test_a_box_that_ripples_at_its_watch_is_not_a_loss() -> None:
    night = near_watch()
    night.wave("box-watch", 2.0, 0.4, 120)
    assert night.raised(LOSS) == []


def test_a_loss_that_turns_short_is_cut() -> None:
    """The meter then says that more comes than what is left can carry."""
    night = near_watch()
    night.wet("box-watch")
    night.run(12)
    assert night.on("pump-relay")
    night.flow("return-flow", 1.4)
    night.run(1)
    assert night.cut_after_s is not None


# --- priming -------------------------------------------------------------------------------------


def test_a_box_that_rises_while_its_drains_prime_is_not_cut() -> None:
    night = Night()
    night.run(4)
    night.wet("box-watch")
    night.run(night.plan.pumps[0].prime_s - 3)
    assert night.phase is Phase.PROVING
    assert night.raised(SHORT) == []
    night.mend()
    night.run(30)
    assert night.phase is Phase.RUNNING
    assert night.cut_at is None


def test_drains_that_have_not_primed_by_then_are_cut() -> None:
    night = Night()
    night.run(4)
    night.wet("box-watch")
    night.run(60)
    assert night.cut_at is not None
    assert night.cut_at <= 3 + night.plan.pumps[0].prime_s + 0.3


def test_the_edge_cuts_while_drains_prime() -> None:
    night = Night()
    night.run(5)
    night.wet("display-high")
    night.run(3)
    assert night.cut_after_s is not None
    assert night.cut_after_s <= 1.1


def test_priming_is_given_no_more_than_half_of_what_the_plumbing_allows() -> None:
    for name in ("classroom", "rack"):
        night = Night(name)
        for pump in night.plan.pumps:
            drained = [d for d in night.plan.figures.drained if d.pump == pump.id]
            worst_s = min(one.spill_s for d in drained for one in d.blocked)
            assert 0 < pump.prime_s <= 0.5 * worst_s


def test_the_row_stands_until_the_box_is_dry_again_though_the_pump_is_off() -> None:
    night = Night()
    night.good(120)
    night.wet("box-watch")
    night.rest(1200)
    assert night.phase is Phase.WAITING
    assert len(night.of(EventKind.PUMP_STARTED)) == 1
    assert len(night.raised(SHORT)) == 1


# --- what is said of a cut -----------------------------------------------------------------------


def test_the_alarm_promises_no_restart_and_the_cut_tells_what_follows() -> None:
    """Whether one is tried depends on how many there were: only the cut knows."""
    night = Night()
    night.good(120)
    texts = []
    for rest_s in (*RESTS_S, 10.0):
        night.wet("box-watch")
        night.run(5)
        alarm = night.alarm(SHORT)
        assert alarm is not None
        words = " ".join((alarm.saying.what, alarm.saying.done, alarm.saying.do_now))
        assert "restart" not in words
        assert "by itself" not in words
        assert "was cut" in words
        texts.append(night.of(EventKind.PUMP_CUT)[-1].text)
        night.mend()
        night.rest(rest_s + RETURN_S + 60)
    assert texts[0].endswith("A restart is tried 5 min 00 s after the cause is gone.")
    assert texts[1].endswith("A restart is tried 15 min 00 s after the cause is gone.")
    assert texts[2].endswith("A person must reset it.")
    assert night.phase is Phase.LATCHED
