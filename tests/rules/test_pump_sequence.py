"""How a pump starts, is cut, rests, tries again, and when it waits for a person."""

from __future__ import annotations

import pytest

from rules.engine import RETURN_S
from rules.memory import keep
from rules.pumping import FORGET_S, SETTLE_S, SHOW_S
from rules.resting import RESTS_S, SUPPLY_REST_S
from rules.signals import AlarmState, EventKind, Origin, Phase
from tests.rules.nights import REST_TICK_S, TICK_S, Night
from tests.rules.stories import CUTTING, FILTER_S, Story, happened, starts

BY_ITSELF = [story for story in CUTTING if not story.latches]
BY_WATER = [s for s in BY_ITSELF if s.hazard == "drain-capacity"]
NOT_BY_WATER = [s for s in BY_ITSELF if s.hazard in ("mains", "lease-lost")]


def test_it_settles_proves_its_drains_and_runs() -> None:
    night = Night()
    proven_s = SETTLE_S + night.plan.pumps[0].prime_s + SHOW_S
    phases = {}
    for _ in range(600):
        night.tick()
        phases.setdefault(night.phase, night.t_s)
        assert night.on("pump-relay") is (night.phase in (Phase.PROVING, Phase.RUNNING))
    assert list(phases) == [Phase.STARTING, Phase.PROVING, Phase.RUNNING]
    assert phases[Phase.PROVING] == pytest.approx(SETTLE_S, abs=TICK_S)
    assert phases[Phase.RUNNING] == pytest.approx(proven_s, abs=2 * TICK_S)


def test_it_settles_from_the_first_look_however_late_that_comes() -> None:
    night = Night()
    night.t_s = 40.0
    night.run(1)
    assert night.phase is Phase.STARTING
    night.run(5)
    assert starts(night) == [pytest.approx(40.0 + SETTLE_S, abs=2 * TICK_S)]


@pytest.mark.parametrize("story", BY_ITSELF, ids=lambda story: story.hazard)
def test_its_rest_counts_from_when_the_cause_is_gone(story: Story) -> None:
    night = Night()
    night.good(100)
    rest_s = RESTS_S[0] if story in BY_WATER else SUPPLY_REST_S
    gone_s = happened(story, night)
    night.rest(rest_s + 60)
    assert len(starts(night)) == 2
    assert starts(night)[1] == pytest.approx(gone_s + rest_s, abs=REST_TICK_S + TICK_S)
    returned = [
        e.t_s for e in night.events if e.kind in (EventKind.ALARM_RETURNED, EventKind.ALARM_ENDED)
    ]
    assert returned == [pytest.approx(gone_s, abs=2 * TICK_S)]


def test_a_cause_that_stays_for_half_an_hour_is_never_started_into() -> None:
    for story in (s for s in BY_ITSELF if s.hazard != "lease-lost"):
        night = Night()
        night.good(100)
        story.happens(night)
        night.rest(1800)
        assert len(starts(night)) == 1
        assert night.phase is Phase.WAITING


def test_a_cause_that_comes_back_while_it_rests_makes_it_rest_anew() -> None:
    night = Night()
    night.good(100)
    story = BY_WATER[0]
    happened(story, night)
    night.rest(200)
    gone_s = happened(story, night)
    night.rest(RESTS_S[0] + 10)
    assert starts(night)[1] == pytest.approx(gone_s + RESTS_S[0], abs=REST_TICK_S + TICK_S)


@pytest.mark.parametrize("story", BY_WATER, ids=lambda story: story.hazard)
def test_two_restarts_and_then_a_person(story: Story) -> None:
    night = Night()
    night.good(100)
    gone_s = []
    for rest_s in (*RESTS_S, 1000.0):
        gone_s.append(happened(story, night))
        night.rest(rest_s + 60)
    assert RESTS_S == (300.0, 900.0)
    want = [gone_s[0] + 300.0, gone_s[1] + 900.0]
    assert starts(night)[1:] == pytest.approx(want, abs=REST_TICK_S + TICK_S)
    assert night.phase is Phase.LATCHED
    texts = [event.text for event in night.of(EventKind.PUMP_CUT)]
    assert "restart is tried 5 min" in texts[0]
    assert "restart is tried 15 min" in texts[1]
    assert "A person must reset it" in texts[2]
    assert keep(night.plan, night.memory).latched == {story.row}
    alarm = night.alarm(story.row)
    assert alarm is not None
    assert alarm.state is AlarmState.LATCH_UNACK


def test_a_hanging_float_makes_three_starts_in_a_night_and_no_more() -> None:
    """It falls dry whenever the pump is off, and hangs wet as soon as it has primed."""
    night = Night()
    for _ in range(round(2 * 3600 / REST_TICK_S)):
        if night.phase is Phase.RUNNING:
            night.wet("box-watch")
        elif night.phase in (Phase.WAITING, Phase.LATCHED):
            night.mend()
        night.tick(REST_TICK_S)
    assert len(starts(night)) == 1 + len(RESTS_S)
    assert night.phase is Phase.LATCHED


def test_half_a_day_without_a_cut_forgives_earlier_restarts() -> None:
    night = Night()
    night.good(100)
    happened(BY_WATER[0], night)
    night.rest(RESTS_S[0] + 60)
    assert night.memory.pumps[0].attempts == 1
    night.wait(FORGET_S - 120)
    assert night.memory.pumps[0].attempts == 1
    night.wait(180)
    assert night.memory.pumps[0].attempts == 0
    assert FORGET_S == 12 * 3600


def test_a_cut_that_comes_back_every_three_hours_is_one_trouble_and_ends_with_a_person() -> None:
    night = Night()
    night.good(100)
    for rest_s in (*RESTS_S, 10.0):
        happened(BY_WATER[0], night)
        night.rest(rest_s + 60)
        night.wait(3 * 3600)
    assert night.phase is Phase.LATCHED
    assert len(starts(night)) == 3


# --- a nearly empty chamber ----------------------------------------------------------------------

DRY_RUN = next(story for story in CUTTING if story.hazard == "dry-run")


def test_a_chamber_that_fills_again_after_a_dry_run_starts_nothing() -> None:
    """What stood above runs down and covers the float; that proves nothing."""
    night = Night()
    night.good(100)
    happened(DRY_RUN, night)
    (cut,) = night.of(EventKind.PUMP_CUT)
    assert cut.causes == (DRY_RUN.row,)
    assert cut.text.endswith("A person must reset it.")
    assert night.phase is Phase.LATCHED
    night.rest(max(RESTS_S) + 300)
    night.wait(8 * 3600)
    assert len(starts(night)) == 1
    assert keep(night.plan, night.memory).latched == {DRY_RUN.row}
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(SETTLE_S + 1)
    assert len(starts(night)) == 2


def test_a_chamber_found_empty_before_the_first_start_waits_for_a_person_too() -> None:
    night = Night()
    night.dry("return-low")
    night.run(30)
    night.mend()
    night.wait(8 * 3600)
    assert starts(night) == []
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(SETTLE_S + 1)
    assert len(starts(night)) == 1


# --- supply and lease ----------------------------------------------------------------------------


@pytest.mark.parametrize("story", NOT_BY_WATER, ids=lambda story: story.hazard)
def test_supply_and_lease_do_not_count_as_attempts(story: Story) -> None:
    night = Night()
    night.good(100)
    for flaps in range(1, 6):
        happened(story, night)
        night.rest(SUPPLY_REST_S * 2 ** (flaps - 1) + 30)
        assert night.memory.pumps[0].attempts == 0
        assert night.memory.pumps[0].flaps == flaps
        assert night.memory.pumps[0].rest_s == 60.0 * 2 ** (flaps - 1)
        assert night.on("pump-relay")
    assert keep(night.plan, night.memory).latched == frozenset()


def test_a_dropped_lease_leads_to_a_staged_start_and_not_to_a_running_pump() -> None:
    night = Night()
    night.good(100)
    night.drop("pump-relay")
    phases = [night.phase]
    for _ in range(round(120 / TICK_S)):
        night.tick()
        if night.phase is not phases[-1]:
            phases.append(night.phase)
    assert phases == [Phase.RUNNING, Phase.WAITING, Phase.PROVING, Phase.RUNNING]
    assert starts(night)[1] - starts(night)[0] > SUPPLY_REST_S


def test_the_lease_of_another_output_cuts_nothing() -> None:
    night = Night()
    night.good(100)
    for output in night.site.outputs:
        if output != "pump-relay":
            night.drop(output)
    night.run(60)
    assert night.cut_at is None


def test_a_flicker_of_the_supply_is_ridden_through() -> None:
    night = Night()
    night.good(100)
    night.dry("supply")
    night.run(0.8)
    night.mend()
    night.run(60)
    assert night.cut_at is None


# --- the person ----------------------------------------------------------------------------------


def test_a_reset_is_refused_while_the_cause_stands() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    answer = night.reset()
    assert answer.kind is EventKind.ORDER_REFUSED
    assert "the cause still stands: display stands at 58" in answer.text
    night.run(60)
    assert night.phase is Phase.LATCHED
    night.mend()
    night.run(FILTER_S + RETURN_S - 2)
    assert night.reset().kind is EventKind.ORDER_REFUSED
    night.run(3)
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(SETTLE_S + 1)
    assert night.phase is Phase.PROVING


def test_a_reset_from_afar_is_refused() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(6)
    night.mend()
    night.run(FILTER_S + RETURN_S + 1)
    answer = night.reset(origin=Origin.BROKER)
    assert answer.kind is EventKind.ORDER_REFUSED
    assert "at the guard" in answer.text
    night.rest(1000)
    assert night.phase is Phase.LATCHED
    assert len(starts(night)) == 1


def test_a_reset_of_nothing_is_refused_and_disturbs_nothing() -> None:
    night = Night()
    night.good(100)
    assert night.reset().kind is EventKind.ORDER_REFUSED
    assert night.on("pump-relay")


def test_an_acknowledgement_restarts_nothing_that_waits_for_a_reset() -> None:
    for story in (story for story in CUTTING if story.latches):
        night = Night()
        night.good(100)
        happened(story, night)
        alarm = night.alarm(story.row)
        assert alarm is not None
        assert night.acknowledge(alarm.code).kind is EventKind.ORDER_OBEYED
        night.rest(1000)
        assert night.phase is Phase.LATCHED


def test_after_a_reset_every_restart_is_there_again() -> None:
    night = Night()
    night.good(100)
    story = BY_WATER[0]
    for rest_s in (*RESTS_S, 10.0):
        happened(story, night)
        night.rest(rest_s + 60)
    assert night.phase is Phase.LATCHED
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(60)
    assert night.phase is Phase.RUNNING
    assert night.memory.pumps[0].attempts == 0
