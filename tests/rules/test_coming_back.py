"""Coming back after a cut: pumps take turns, an unreadable signal is tried again, a guard that dies
again and again lets its pump rest, and a pump that stays off is told of."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from rules.engine import RETURN_S
from rules.hazards import pump_off
from rules.memory import KEPT_TOP_OFF_S, Kept, Memory, keep
from rules.pumping import SETTLE_S, SHOW_S, STAGGER_S
from rules.resting import (
    LONGEST_RUNS_REST_S,
    RESTS_S,
    RUNS_BORNE,
    RUNS_FORGET_S,
    RUNS_REST_S,
    SUPPLY_REST_S,
    runs_rest_s,
)
from rules.signals import AlarmState, EventKind, Phase, Priority, Quality, Reading
from tests.rules.nights import REST_TICK_S, TICK_S, Night, changed, edited, site_of, text_of
from tests.rules.stories import CUTTING, FILTER_S, Story, happened, starts
from tests.rules.test_top_off import FEED_PUMP
from tests.rules.test_two_pumps import SECOND_PUMP

CLASSROOM = text_of("classroom")
PUMP = "return-pump"
CLOG = next(story for story in CUTTING if story.hazard == "drain-capacity")
BY_CONTACT = [s for s in CUTTING if s.latches and s.hazard != "draws-air"]  # that goes by three
HOUR_S = 3600.0
OFF = f"pump-off.{PUMP}"


def again(memory: Memory, night: Night, *, killed: bool = True) -> Night:
    """The guard begun anew with what it kept; killed, or stopped in order."""
    kept = keep(night.plan, memory)
    return Night(boot="boot-b", kept=kept if killed else replace(kept, on=frozenset()))


# --- one after the other --------------------------------------------------------------------------

THREE = CLASSROOM + SECOND_PUMP + FEED_PUMP.replace("pin = 25", "pin = 4")
THREE = edited(THREE, "passages.refugium-feed", pump='"feed-pump"')


def started_s(night: Night) -> list[float]:
    return [event.t_s for event in night.of(EventKind.PUMP_STARTED)]


def test_the_pumps_of_a_site_are_started_one_after_the_other() -> None:
    night = Night(site_of(THREE))
    night.good(60)
    assert [round(t_s - SETTLE_S) for t_s in started_s(night)] == [0, 10, 20]
    assert STAGGER_S == 10.0


def test_so_they_are_after_a_power_cut() -> None:
    night = Night(site_of(THREE))
    night.good(200)
    night.dry("supply")
    night.run(60)
    assert not any(state.on for state in night.memory.pumps)
    night.mend()
    night.rest(SUPPLY_REST_S + 60)
    again_s = started_s(night)[3:]
    assert len(again_s) == 3
    assert all(b - a >= STAGGER_S - TICK_S for a, b in pairwise(again_s))
    assert again_s[-1] - again_s[0] < 3 * STAGGER_S


def test_a_pump_that_cannot_start_does_not_keep_the_next_one_waiting() -> None:
    night = Night(site_of(THREE))
    night.wet("box-watch")  # holds off what fills the display; not the refugium's pump
    night.run(20)
    assert [event.subject for event in night.of(EventKind.PUMP_STARTED)] == ["feed-pump"]
    assert started_s(night)[0] == pytest.approx(SETTLE_S, abs=0.3)


# --- its stages -----------------------------------------------------------------------------------


def test_the_short_run_says_what_it_has_shown_and_no_more() -> None:
    watched = Night()
    watched.good(60)
    blind = Night(site_of(changed(CLASSROOM, ('duty = "drain-watch"', 'duty = "spill-edge"'))))
    blind.good(60)
    texts = [night.of(EventKind.PUMP_RUNNING)[0].text for night in (watched, blind)]
    assert texts == [
        "return pump runs: the drains have primed",
        "return pump runs; nothing shows whether drains primed",
    ]


def test_a_start_into_drains_that_do_not_prime_is_cut_at_the_end_of_its_short_run() -> None:
    night = Night()
    night.good(100)
    happened(CLOG, night)
    night.rest(RESTS_S[0] - 15)
    while night.phase is not Phase.PROVING:
        night.tick()
    night.wet("box-watch")
    night.run(night.plan.pumps[0].prime_s + SHOW_S)
    assert night.phase is Phase.WAITING
    assert len(night.of(EventKind.PUMP_RUNNING)) == 1


def test_the_restarts_are_counted_so_that_nobody_reads_three_of_two() -> None:
    night = Night()
    night.good(100)
    for rest_s in RESTS_S:
        happened(CLOG, night)
        night.rest(rest_s + 60)
    texts = [event.text for event in night.of(EventKind.PUMP_STARTED)]
    assert texts[1:] == [
        "return pump started again, restart 1 of 2",
        "return pump started again, for the last time before a person is asked",
    ]
    forgotten = Night(kept=Kept(attempts={PUMP: 3}))
    forgotten.rest(RESTS_S[-1] + 60)
    (text,) = [event.text for event in forgotten.of(EventKind.PUMP_STARTED)]
    assert text.endswith("for the last time before a person is asked")


# --- a signal that cannot be read -----------------------------------------------------------------


def unread(story: Story, night: Night) -> str:
    """The contact of a story cannot be read for two seconds, and reads well again."""
    sensor = story.row.removeprefix(f"{story.hazard}.")
    night.bad(sensor)
    night.run(3.0)
    assert not night.on("pump-relay")
    night.mend()
    night.run(FILTER_S + RETURN_S + 2)
    return sensor


@pytest.mark.parametrize("story", BY_CONTACT, ids=lambda story: story.hazard)
def test_a_signal_that_only_could_not_be_read_is_tried_again_after_minutes(story: Story) -> None:
    night = Night()
    night.good(100)
    unread(story, night)
    (alarm,) = night.raised(story.row)
    assert "cannot be read" in alarm.saying.what
    assert "tried again by itself" in alarm.saying.do_now
    assert night.phase is Phase.WAITING
    night.rest(RESTS_S[0] - 30)
    assert len(starts(night)) == 1
    night.rest(120)
    assert night.phase is Phase.RUNNING
    assert keep(night.plan, night.memory).latched == frozenset()
    standing = night.alarm(story.row)
    assert standing is not None, "somebody is to know of it in the morning"
    assert standing.state is AlarmState.RTN_UNACK


@pytest.mark.parametrize("story", BY_CONTACT, ids=lambda story: story.hazard)
def test_it_is_tried_no_more_than_twice(story: Story) -> None:
    night = Night()
    night.good(100)
    for rest_s in (*RESTS_S, 60.0):
        unread(story, night)
        night.rest(rest_s + 60)
    assert night.phase is Phase.LATCHED
    assert len(starts(night)) == 3
    assert keep(night.plan, night.memory).latched == {story.row}


@pytest.mark.parametrize("story", BY_CONTACT, ids=lambda story: story.hazard)
def test_as_long_as_it_cannot_be_read_the_pump_stays_off(story: Story) -> None:
    night = Night()
    night.good(100)
    night.bad(story.row.removeprefix(f"{story.hazard}."))
    night.run(60)
    night.wait(2 * HOUR_S)
    assert len(starts(night)) == 1
    assert len(night.raised(story.row)) == 1


@pytest.mark.parametrize("story", BY_CONTACT, ids=lambda story: story.hazard)
def test_one_that_tells_of_the_thing_itself_waits_for_a_person_after_all(story: Story) -> None:
    night = Night()
    night.good(100)
    night.bad(story.row.removeprefix(f"{story.hazard}."))
    night.run(3.0)
    first = night.alarm(story.row)
    assert first is not None
    night.acknowledge(first.code)
    night.mend()
    story.happens(night)
    night.run(1.0)
    told = night.raised(story.row)
    assert len(told) == 2
    assert "cannot be read" not in told[1].saying.what
    assert told[1].state is AlarmState.UNACK_ALARM, "what was acknowledged was less than this"
    assert night.phase is Phase.LATCHED
    (held,) = night.of(EventKind.PUMP_HELD)
    assert held.causes == (story.row,)
    night.mend()
    night.rest(HOUR_S)
    assert len(starts(night)) == 1


@pytest.mark.parametrize("story", BY_CONTACT, ids=lambda story: story.hazard)
def test_one_that_was_read_when_it_tripped_waits_for_a_person_though_it_fails_later(
    story: Story,
) -> None:
    night = Night()
    night.good(100)
    story.happens(night)
    night.run(5)
    night.bad(story.row.removeprefix(f"{story.hazard}."))
    night.run(5)
    night.mend()
    night.rest(HOUR_S)
    assert night.phase is Phase.LATCHED
    assert len(starts(night)) == 1


def test_a_wave_at_a_float_that_cannot_be_read_now_and_then_is_no_loose_wire() -> None:
    """One look that reads wet is enough to take it for water."""
    night = Night()
    night.good(100)
    night.bad("display-high")
    night.run(0.8)
    night.wet("display-high")
    night.run(0.4)
    assert night.phase is Phase.LATCHED


# --- a guard that comes back ----------------------------------------------------------------------


def test_a_guard_that_comes_back_says_why_its_pump_rests() -> None:
    night = Night(kept=Kept(attempts={PUMP: 1}))
    night.run(1)
    (held,) = night.of(EventKind.PUMP_HELD)
    assert held.text == (
        "return pump rests for 5 min 00 s before it is started: it was cut before the guard was "
        "restarted"
    )


@pytest.mark.parametrize("cause", ["latched", "standing"])
def test_a_guard_that_comes_back_to_a_trip_says_that_its_pump_is_held(cause: str) -> None:
    latched = frozenset({"leak.floor-pad"}) if cause == "latched" else frozenset()
    night = Night(kept=Kept(latched, attempts={PUMP: 1}))
    if cause == "standing":
        night.wet("floor-pad")
    night.run(5)
    assert night.phase is Phase.LATCHED
    held = night.of(EventKind.PUMP_HELD)
    assert held[-1].causes == ("leak.floor-pad",)
    assert held[-1].text.endswith("A person must reset it.")
    night.rest(600)
    assert night.of(EventKind.PUMP_HELD) == held


def test_cuts_by_the_supply_are_not_forgotten_by_a_guard_that_dies_with_it() -> None:
    night = Night()
    night.good(100)
    for flaps in (1, 2):
        night.dry("supply")
        night.run(5)
        night.mend()
        night.run(RETURN_S + 2)
        night = again(night.memory, night)
        night.tick()
        assert night.memory.pumps[0].flaps == flaps
        night.rest(SUPPLY_REST_S * 2 ** (flaps - 1) - 5)
        assert starts(night) == []
        night.rest(60)
        assert len(starts(night)) == 1


def test_what_the_top_off_has_used_of_its_day_outlives_the_guard() -> None:
    night = Night()
    night.good(150)
    night.dry("return-level")
    night.run(5 + 100)
    used_s = night.memory.top_off_used_s
    assert used_s > 90.0
    kept = keep(night.plan, night.memory)
    assert kept.top_off_used_s == pytest.approx(used_s, abs=KEPT_TOP_OFF_S)
    assert kept.top_off_used_s >= used_s, "a restart may free none of it"
    after = Night(kept=kept)
    after.tick()
    assert after.memory.top_off_used_s == kept.top_off_used_s


def test_a_guard_that_is_restarted_often_brings_no_more_fresh_water_in_a_day() -> None:
    """Openings that are cut short by restarts count together, each rounded up."""
    night, opened_s = Night(), 0.0
    assert night.plan.top_off is not None
    daily_s = night.plan.top_off.daily_s
    for _ in range(40):
        night.dry("return-level")
        for _ in range(round(230 / REST_TICK_S)):
            night.tick(REST_TICK_S)
            opened_s += REST_TICK_S * night.on("top-off-valve")
        night = again(night.memory, night, killed=False)
    assert 0.8 * daily_s <= opened_s <= daily_s + REST_TICK_S
    assert night.memory.rows


def test_what_is_written_of_it_does_not_itself_trip_the_next_guard() -> None:
    night = Night()
    night.good(100)
    assert night.plan.top_off is not None
    almost = replace(night.memory, top_off_used_s=night.plan.top_off.daily_s - 0.5)
    after = Night(kept=keep(night.plan, almost))
    after.run(5)
    assert after.of(EventKind.ALARM_RAISED) == []


# --- a guard that dies again and again ------------------------------------------------------------


def lives(seconds: list[float], *, killed: bool = True) -> list[Night]:
    """Guards that are ended so long after their begin, each in the place of the last."""
    night, found = Night(), []
    for lasts_s in seconds:
        night.rest(lasts_s)
        found.append(night)
        night = again(night.memory, night, killed=killed)
    found.append(night)
    return found


def test_a_pump_left_on_by_three_guards_on_end_rests() -> None:
    nights = lives([120.0, 600.0, 1800.0])
    assert [bool(starts(night)) for night in nights] == [True, True, True, False]
    last = nights[-1]
    last.run(5)
    (held,) = last.of(EventKind.PUMP_HELD)
    assert held.text == (
        "return pump rests for 15 min 00 s before it is started: 3 times on end the guard was "
        "ended while it ran"
    )
    last.rest(RUNS_REST_S - 30)
    assert starts(last) == []
    last.rest(60)
    assert len(starts(last)) == 1


def test_one_that_dies_every_minute_lets_its_pump_run_for_minutes_in_an_hour() -> None:
    """Without the limit it would run nearly all of the hour with its drains hardly watched."""
    night, ran_s, clock_s = Night(), 0.0, 0.0
    while clock_s < HOUR_S:
        night.rest(60.0)
        ran_s += 60.0 * night.on("pump-relay")
        clock_s += 60.0
        night = again(night.memory, night)
    assert ran_s == RUNS_BORNE * 60.0


def test_each_further_time_it_rests_twice_as_long_up_to_an_hour() -> None:
    assert [runs_rest_s(runs) for runs in range(7)] == [0, 0, 0, 900, 1800, 3600, 3600]
    assert runs_rest_s(10**6) == LONGEST_RUNS_REST_S


def test_a_guard_that_saw_its_pump_run_for_an_hour_was_not_ended_again_and_again() -> None:
    nights = lives([120.0, 120.0, RUNS_FORGET_S + 60.0, 120.0, 120.0])
    assert all(starts(night) for night in nights[:-1])
    assert nights[-1].memory.pumps[0].runs == 3
    assert nights[3].memory.pumps[0].runs == 1


def test_guards_that_are_stopped_in_order_are_not_counted() -> None:
    """Whoever upgrades five times in an afternoon has a pump all the same."""
    nights = lives([120.0] * 5, killed=False)
    nights[-1].run(SETTLE_S + 1)
    assert all(starts(night) for night in nights)


def test_a_guard_that_finds_its_pump_off_goes_on_with_the_rest() -> None:
    nights = lives([120.0, 120.0, 120.0, 300.0])
    last = nights[-1]
    last.rest(RUNS_REST_S - 30)
    assert last.memory.pumps[0].runs == 3
    assert starts(last) == []
    last.rest(60)
    assert len(starts(last)) == 1


def test_a_reset_by_a_person_forgets_them() -> None:
    night = Night(kept=Kept(frozenset({CLOG.row}), {PUMP: 3}, runs={PUMP: 5}))
    night.run(20)
    night.reset()
    night.run(SETTLE_S + 1)
    assert night.phase is Phase.PROVING
    assert night.memory.pumps[0].runs == 0


# --- off for an hour ------------------------------------------------------------------------------


def latched() -> tuple[Night, float]:
    """A trip that waits for a person; when the pump was cut."""
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(5)
    night.mend()
    assert night.cut_at is not None
    return night, night.cut_at


def test_a_pump_that_is_off_for_an_hour_is_told_of_and_then_again_louder() -> None:
    night, cut_s = latched()
    night.wait(20 * HOUR_S)
    told = night.raised(OFF)
    hours = [(alarm.since_s - cut_s) / HOUR_S for alarm in told]
    assert hours == [pytest.approx(h, abs=0.01) for h in (1, 2, 4, 8, 16)]
    assert [alarm.priority for alarm in told] == [Priority.MEDIUM] + [Priority.HIGH] * 4
    assert len({alarm.code for alarm in told}) == 5
    assert night.alarm(OFF) == told[-1]


def test_it_says_for_how_long_why_and_what_the_animals_need() -> None:
    night, _ = latched()
    night.wait(2 * HOUR_S)
    night.rest(30)
    saying = night.raised(OFF)[1].saying
    assert saying.what == (
        "The return pump has not run for 2 h 00 min; it was cut for: display stands at 585.0 mm, "
        "its spill edge"
    )
    assert "resets it at the guard" in saying.done
    assert "stir the surface by hand" in saying.do_now
    assert "air pump" in saying.do_now


def test_what_was_acknowledged_is_news_again_when_the_next_time_comes() -> None:
    night, _ = latched()
    night.rest(HOUR_S + 10)
    alarm = night.alarm(OFF)
    edge = night.alarm("spill-edge.display-high")
    assert alarm is not None
    assert edge is not None
    night.acknowledge(alarm.code)
    night.acknowledge(edge.code)
    assert not night.on("sounder")
    night.rest(HOUR_S)
    later = night.alarm(OFF)
    assert later is not None
    assert later.state is AlarmState.UNACK_ALARM
    assert later.code != alarm.code
    assert night.on("sounder")


def test_it_ends_when_the_pump_runs_through_and_not_when_a_start_fails() -> None:
    night, _ = latched()
    night.rest(HOUR_S + 60)
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(SETTLE_S + 2)
    assert night.phase is Phase.PROVING
    assert night.alarm(OFF) is not None
    night.wet("display-high")
    night.run(3)
    night.mend()
    night.rest(60)
    assert night.alarm(OFF) is not None
    night.reset()
    night.run(60 + RETURN_S)
    alarm = night.alarm(OFF)
    assert alarm is not None
    assert alarm.state is AlarmState.RTN_UNACK
    assert len(night.raised(OFF)) == 1


def test_nothing_is_told_of_a_pump_that_runs_rests_or_is_back_within_the_hour() -> None:
    night = Night()
    night.good(100)
    happened(CLOG, night)
    night.rest(RESTS_S[0] + 60)
    happened(CLOG, night)
    night.rest(RESTS_S[1] + 60)
    assert night.phase is Phase.RUNNING
    night.wait(30 * HOUR_S)
    assert night.raised(OFF) == []


def test_a_pump_that_starts_now_and_then_and_never_runs_through_is_off() -> None:
    """A supply that comes for half a minute in every quarter of an hour moves no water."""
    night = Night()
    night.good(100)
    while night.t_s < 2 * HOUR_S:
        night.dry("supply")
        night.rest(600)
        night.mend()
        while night.phase is Phase.WAITING:
            night.tick(REST_TICK_S)
        night.run(5)
    assert [alarm.priority for alarm in night.raised(OFF)][:1] == [Priority.MEDIUM]


def test_how_long_it_was_off_outlives_the_guard() -> None:
    before, _ = latched()
    before.rest(HOUR_S - 300)
    night = again(before.memory, before)
    night.rest(500)
    assert len(night.raised(OFF)) == 1


def test_a_planned_pause_is_no_pump_that_is_off() -> None:
    text = f'{CLASSROOM}\n[pauses.cleaning]\nusual = "3 h"\nlongest = "3 h"\n'
    night = Night(site_of(text))
    night.good(120)
    night.pause("cleaning")
    night.wait(3 * HOUR_S - 30)
    assert night.raised(OFF) == []
    night.rest(20)
    night.bad("return-low")  # it cannot come back
    night.rest(60)
    (alarm,) = night.raised(OFF)
    assert alarm.saying.what.startswith("The return pump has not run for 3 h 00 min")


def test_the_times_at_which_it_is_told_follow_one_another() -> None:
    off_s, told = 0.0, []
    while off_s < 40 * HOUR_S:
        off_s = pump_off.next_s(off_s)
        told.append(off_s / HOUR_S)
        assert pump_off.tellings(off_s) == len(told)
        assert pump_off.tellings(off_s - 1.0) == len(told) - 1
    assert told == [1, 2, 4, 8, 16, 24, 32, 40]


def test_without_the_hazard_nobody_is_called() -> None:
    night = Night(without=["pump-off"])
    night.good(100)
    night.wet("display-high")
    night.wait(3 * HOUR_S)
    assert night.raised(OFF) == []


def test_a_meter_that_cannot_be_read_holds_no_pump_off() -> None:
    night = Night()
    night.reads("return-flow", Reading(0.0, Quality.BAD))
    night.rest(60)
    assert night.phase is Phase.RUNNING
