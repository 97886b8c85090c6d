"""What outlives the guard: latched rows, and the restarts that a pump has behind it."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from itertools import count
from math import inf

import pytest

from rules.engine import RETURN_S
from rules.memory import Kept, keep
from rules.pumping import SETTLE_S
from rules.resting import RESTS_S
from rules.signals import AlarmState, EventKind, Phase
from tests.rules.nights import REST_TICK_S, TICK_S, Night
from tests.rules.stories import CUTTING, Story, happened, starts

CLOG = next(story for story in CUTTING if story.hazard == "drain-capacity")
PUMP = "return-pump"


def latched(*rows: str) -> Night:
    """A guard that comes back with these rows latched."""
    return Night(boot="boot-b", kept=Kept(frozenset(rows)))


def again(night: Night) -> Night:
    """The guard of a night, ended and begun anew with what it kept."""
    return Night(boot="boot-b", kept=keep(night.plan, night.memory))


# --- latched rows --------------------------------------------------------------------------------


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_a_latched_row_outlives_the_guard_and_is_told_anew(story: Story) -> None:
    night = latched(story.row)
    night.tick()
    (alarm,) = night.raised(story.row)
    assert alarm.code.isdigit()
    assert alarm.occurrence == 1
    assert alarm.state is AlarmState.LATCH_UNACK
    assert "Latched since before the guard was restarted" in alarm.saying.what
    night.rest(1000)
    assert starts(night) == []
    assert night.phase is Phase.LATCHED
    assert keep(night.plan, night.memory).latched == {story.row}
    assert len(night.raised(story.row)) == 1
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(60)
    assert night.phase is Phase.RUNNING


@pytest.mark.parametrize(
    "story",
    # what draws air is told by the flow, and there is none while the pump stands latched
    [story for story in CUTTING[:-1] if story.hazard != "draws-air"],
    ids=lambda story: story.hazard,
)
def test_a_latched_row_whose_cause_still_stands_is_told_once_and_as_it_is(story: Story) -> None:
    night = latched(story.row)
    story.happens(night)
    night.run(60)
    (alarm,) = night.raised(story.row)
    assert alarm.state is AlarmState.UNACK_ALARM
    assert "restarted" not in alarm.saying.what
    assert starts(night) == []
    assert night.reset().kind is EventKind.ORDER_REFUSED


def test_the_codes_of_the_guard_before_the_restart_open_nothing() -> None:
    before = Night(boot="boot-a")
    before.good(100)
    before.wet("display-high")
    before.run(3)
    old = before.alarm("spill-edge.display-high")
    assert old is not None
    kept = keep(before.plan, before.memory)
    assert kept.latched == {"spill-edge.display-high"}
    night = Night(boot="boot-b", kept=kept)
    night.run(3)
    new = night.alarm("spill-edge.display-high")
    assert new is not None
    assert new.code != old.code
    assert night.acknowledge(old.code).kind is EventKind.ORDER_REFUSED
    assert night.acknowledge(new.code).kind is EventKind.ORDER_OBEYED


def test_a_top_off_that_was_open_too_long_stays_shut_over_a_restart() -> None:
    row = "top-off-long.top-off-valve"
    night = latched(row)
    night.dry("return-level")
    night.run(200)
    assert night.on("pump-relay")
    assert not night.on("top-off-valve")
    alarm = night.alarm(row)
    assert alarm is not None
    night.acknowledge(alarm.code)
    night.run(1)
    assert night.on("top-off-valve")


def test_rows_that_the_site_no_longer_has_are_no_trouble() -> None:
    night = latched("spill-edge.gone")
    night.run(60)
    assert night.phase is Phase.RUNNING


def test_an_order_before_the_first_look_is_refused() -> None:
    """Nothing has been seen yet, so nobody can say that a cause is gone."""
    night = latched("spill-edge.display-high")
    night.wet("display-high")
    answer = night.reset()
    assert answer.kind is EventKind.ORDER_REFUSED
    assert "only just started" in answer.text
    night.run(60)
    assert starts(night) == []


# --- restarts ------------------------------------------------------------------------------------


def test_what_is_kept_of_a_good_night_is_that_its_pump_is_on() -> None:
    night = Night()
    night.good(100)
    assert keep(night.plan, night.memory) == Kept(on=frozenset({PUMP}))


@pytest.mark.parametrize(("tried", "rest_s"), [(1, 300.0), (2, 900.0), (3, 900.0), (40, 900.0)])
def test_a_pump_with_restarts_behind_it_begins_with_its_rest(tried: int, rest_s: float) -> None:
    night = Night(kept=Kept(attempts={PUMP: tried}))
    night.t_s = 40.0
    night.run(SETTLE_S + 2)
    assert night.phase is Phase.WAITING
    assert starts(night) == []
    night.rest(rest_s + 60)
    assert starts(night) == [pytest.approx(40.0 + rest_s, abs=REST_TICK_S + TICK_S)]


def test_attempts_of_a_pump_that_the_site_no_longer_has_are_no_trouble() -> None:
    night = Night(kept=Kept(attempts={"gone": 2}))
    night.run(60)
    assert night.phase is Phase.RUNNING
    assert keep(night.plan, night.memory) == Kept(on=frozenset({PUMP}))


def test_attempts_go_on_counting_over_restarts_of_the_guard() -> None:
    night = Night()
    night.good(100)
    texts = []
    for tried, rest_s in enumerate((*RESTS_S, 10.0), 1):
        happened(CLOG, night)
        assert keep(night.plan, night.memory).attempts == {PUMP: tried}
        texts.append(night.of(EventKind.PUMP_CUT)[-1].text)
        night = again(night)
        night.rest(rest_s + 60)
    assert "restart is tried 5 min" in texts[0]
    assert "restart is tried 15 min" in texts[1]
    assert "A person must reset it" in texts[2]
    assert night.phase is Phase.LATCHED
    assert starts(night) == []
    assert keep(night.plan, night.memory).latched == {CLOG.row}


def test_a_cause_that_still_stands_makes_the_rest_count_anew() -> None:
    before = Night()
    before.good(100)
    CLOG.happens(before)
    before.run(5)
    night = again(before)
    CLOG.happens(night)
    night.rest(RESTS_S[0] + 300)
    assert starts(night) == []
    assert night.phase is Phase.WAITING


def test_a_reset_forgets_the_attempts_over_a_restart_too() -> None:
    night = again(Night(kept=Kept(frozenset({CLOG.row}), {PUMP: 3})))
    night.run(30)
    assert night.phase is Phase.LATCHED
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(SETTLE_S + 1)
    assert night.phase is Phase.PROVING
    assert again(night).memory.pumps[0].phase is Phase.STARTING


# --- restarted again and again -------------------------------------------------------------------

HANGING_S = 2700.0
"""Long enough for both rests and the three starts of a guard that lives on [s]."""


def every(seconds: float) -> Iterator[float]:
    """A guard that is ended so often."""
    return (seconds * i for i in count(1))


def by_chance(seed: int) -> Iterator[float]:
    """A guard that is ended from 2 s to 20 min after its last end."""
    draw, t_s = random.Random(seed), 0.0
    while True:
        t_s += draw.choice([draw.uniform(2, 60), draw.uniform(60, 1200)])
        yield t_s


def hanging_float(ends_s: Iterable[float]) -> list[float]:
    """When a pump is started whose float falls dry with it, and hangs wet when it has primed.

    The guard is ended and begun anew at these times, put off while the pump is on.
    """
    night, ends = Night(), iter(ends_s)
    end_s, began_s, found = next(ends, inf), 0.0, list[float]()
    while began_s + night.t_s < HANGING_S:
        if night.phase is Phase.RUNNING:
            night.wet("box-watch")
        elif night.phase in (Phase.WAITING, Phase.LATCHED):
            night.mend()
        night.tick(REST_TICK_S)
        if night.memory.pumps[0].on or began_s + night.t_s < end_s:
            continue
        found += [began_s + t_s for t_s in starts(night)]
        began_s += night.t_s
        night = again(night)
        while end_s <= began_s:
            end_s = next(ends, inf)
    return found + [began_s + t_s for t_s in starts(night)]


@pytest.mark.parametrize(
    "ends_s",
    [every(45), every(310), every(1000), by_chance(1), by_chance(2)],
    ids=["45 s", "310 s", "1000 s", "chance 1", "chance 2"],
)
def test_a_guard_restarted_in_mid_cut_starts_no_pump_more_often(ends_s: Iterator[float]) -> None:
    lived, restarted = hanging_float(()), hanging_float(ends_s)
    assert len(lived) == 3
    assert len(restarted) <= len(lived)
    # nor any sooner, but for the time in which a cause that was seen has to stay away
    sooner_s = RETURN_S + 1.0
    assert all(own >= soon - sooner_s for own, soon in zip(restarted, lived, strict=False))
