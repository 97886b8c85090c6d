"""Fresh water against evaporation: how small a leak is told how soon, and what is no leak."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules import engine
from rules.assessment import balances
from rules.balance import fresh
from rules.balance.fresh import Fresh, FreshPlan
from rules.memory import Kept, keep
from tests.rules.nights import Night, edited, site_of, text_of, without_table

DAY_S, HOUR_S = 86400.0, 3600.0
LOST, UNUSED = "water-lost.top-off-valve", "top-off-unused.return-level"


@pytest.fixture(scope="module")
def plan() -> FreshPlan:
    """The classroom's: 1 % a day of its water, through a valve of 1.5 l/min."""
    found = engine.plan_for(site_of(text_of("classroom"))).fresh
    assert found is not None
    return found


def told_after_s(
    plan: FreshPlan, days: float, opening_s: float = 40.0, most_s: float = 20 * DAY_S
) -> float | None:
    """When a steady loss of so many days' evaporation a day is told of [s]; None if never."""
    every_s = opening_s / (days * plan.day_s / DAY_S)
    its, t_s = Fresh(), 0.0
    while t_s < most_s:
        t_s += every_s
        its = fresh.closed(plan, fresh.later(plan, its, every_s), opening_s, t_s)
        if fresh.lost(plan, its):
            return t_s
    return None


def test_the_sums_are_in_days_of_evaporation(plan: FreshPlan) -> None:
    """1 % of its litres a day, at 1.5 l/min: as many times 0.4 s."""
    litres = 1000.0 * engine.plan_for(site_of(text_of("classroom"))).figures.volume_m3
    assert plan.day_s == pytest.approx(0.4 * litres)
    assert plan.quick.room_s == pytest.approx(0.2 * litres)
    assert plan.slow.room_s == pytest.approx(1.6 * litres)


@pytest.mark.parametrize(
    ("days", "hours"),
    [(30.0, 0.55), (16.0, 1.5), (10.0, 6.0), (4.0, 48.0), (3.0, 96.0)],
)
def test_a_leak_is_told_when_what_passes_no_longer_hides_it(
    plan: FreshPlan, days: float, hours: float
) -> None:
    """Room over what does not pass, a day: 0.5 / (days - 8) or 4 / (days - 2), the sooner one."""
    told_s = told_after_s(plan, days, opening_s=5.0)
    assert told_s is not None
    assert told_s == pytest.approx(hours * HOUR_S, rel=0.15)


@pytest.mark.parametrize("days", [0.4, 1.0, 1.9])
def test_evaporation_alone_is_never_told(plan: FreshPlan, days: float) -> None:
    assert told_after_s(plan, days) is None


def test_ten_hours_of_very_dry_air_are_no_leak(plan: FreshPlan) -> None:
    """Six times the usual, as when windows stand open in a frost."""
    assert told_after_s(plan, 6.0, most_s=10 * HOUR_S) is None


@pytest.mark.parametrize("days", [2.5, 4.0, 10.0, 20.0])
def test_a_leak_that_goes_on_is_told_once(plan: FreshPlan, days: float) -> None:
    every_s = 40.0 / (days * plan.day_s / DAY_S)
    its, turns, told = Fresh(), 0, False
    for i in range(round(14 * DAY_S / every_s)):
        its = fresh.later(plan, its, every_s)
        now = fresh.lost(plan, its) is not None
        its = fresh.closed(plan, its, 40.0, i * every_s)
        turns += now != told
        told = now
    assert told
    assert turns == 1


def test_it_ends_some_time_after_the_leak_is_mended(plan: FreshPlan) -> None:
    full = Fresh(quick_s=fresh.STANDS * plan.quick.room_s)
    (timer_s,) = fresh.timers_s(plan, full)
    assert fresh.lost(plan, fresh.later(plan, full, timer_s - 1.0)) is plan.quick
    assert fresh.lost(plan, fresh.later(plan, full, timer_s + 1.0)) is None
    assert HOUR_S < timer_s < 3 * HOUR_S


def test_a_site_without_evaporation_or_rate_has_no_books() -> None:
    still = edited(text_of("classroom"), "water", evaporation='"0 %"')
    assert engine.plan_for(site_of(still)).fresh is None
    assert Night(site_of(still)).plan.fresh is None


def test_check_says_how_small_a_leak_is_seen(plan: FreshPlan) -> None:
    """And a leak a little larger is seen, a little smaller not, with the air damp."""
    classroom = engine.plan_for(site_of(text_of("classroom")))
    row = next(balances.coverage(classroom.site, classroom.figures))
    assert row.sensors == ("return-level",)
    assert "in an hour" in row.note
    for within_s in balances.WITHIN_S:
        leak_m3_s = balances.least_leak_m3_s(classroom.site, plan, within_s)
        usual_m3_s = plan.day_s / DAY_S * 1.5e-3 / 60.0
        for factor, seen in ((1.2, True), (0.8, False)):
            days = fresh.DAMP_SHARE + factor * leak_m3_s / usual_m3_s
            told_s = told_after_s(plan, days, opening_s=2.0, most_s=within_s)
            assert (told_s is not None) is seen


def test_check_says_where_no_balance_is_kept() -> None:
    text = without_table(text_of("classroom"), "outputs.top-off-valve")
    bare = engine.plan_for(site_of(text))
    row = next(balances.coverage(bare.site, bare.figures))
    assert row.sensors == ()


# --- in the engine -------------------------------------------------------------------------------


def filled(night: Night, seconds: float) -> None:
    """The float asks for so long, and has its water."""
    night.dry("return-level")
    night.run(seconds + 3.0)
    night.wet("return-level")
    night.run(4.0)


def test_two_long_openings_are_told_and_leave_everything_as_it_is() -> None:
    night = Night()
    night.good(100)
    filled(night, 70.0)
    assert night.alarm(LOST) is None
    filled(night, 70.0)
    (alarm,) = night.raised(LOST)
    assert "More fresh water" in alarm.saying.what
    assert night.on("pump-relay")
    filled(night, 20.0)
    assert len(night.raised(LOST)) == 1


def test_without_the_row_nothing_is_said() -> None:
    night = Night(without=["water-lost"])
    night.good(100)
    filled(night, 150.0)
    assert not any("water-lost" in row.id for row in night.plan.rows)
    assert night.decision is not None
    assert night.decision.alarms == ()


def test_an_empty_reservoir_is_no_leak() -> None:
    """The valve is open for five minutes and the level is not back: the other row speaks alone."""
    night = Night()
    night.good(100)
    night.dry("return-level")
    night.run(330)
    assert night.raised("top-off-long.top-off-valve")
    assert night.raised(LOST) == []


def test_what_makes_up_for_a_water_change_is_no_leak() -> None:
    night = Night()
    night.good(100)
    night.pause("water-change", 60.0)
    night.run(200)
    filled(night, 200.0)
    assert night.raised(LOST) == []


def test_what_makes_up_for_hours_in_which_the_top_off_was_forbidden_is_no_leak() -> None:
    night = Night()
    night.good(100)
    night.wet("box-watch")
    night.rest(30.0)
    night.wait(2 * HOUR_S)
    night.dry("box-watch")
    night.rest(1200.0)
    assert night.on("pump-relay")
    filled(night, 200.0)
    assert night.raised(LOST) == []


def test_a_float_that_never_asks_is_told_after_a_day_and_one_opening() -> None:
    night = Night()
    night.good(100)
    assert night.plan.fresh is not None
    night.wait(night.plan.fresh.wait_s - 300.0)
    assert night.raised(UNUSED) == []
    night.wait(400.0)
    assert len(night.raised(UNUSED)) == 1
    filled(night, 10.0)
    night.run(15.0)
    assert len(night.raised(UNUSED)) == 1
    alarm = night.alarm(UNUSED)
    assert alarm is not None
    assert alarm.state.value == "RTN_UNACK"


def test_a_float_that_asks_twice_a_day_is_left_alone() -> None:
    night = Night()
    night.good(100)
    for _ in range(5):
        night.wait(DAY_S / 2)
        filled(night, 60.0)
    assert night.raised(UNUSED) == []
    assert night.raised(LOST) == []


def test_time_in_which_the_top_off_may_not_open_is_no_wait() -> None:
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.wait(3 * DAY_S)
    assert night.raised(UNUSED) == []


# --- over a restart ------------------------------------------------------------------------------


def test_sums_and_wait_outlive_a_restart_in_coarse_steps() -> None:
    night = Night()
    night.good(100)
    filled(night, 70.0)
    night.wait(5 * HOUR_S)
    books = replace(night.memory.books.fresh, quick_s=95.0, slow_s=404.0)
    kept = keep(night.plan, replace(night.memory, books=replace(night.memory.books, fresh=books)))
    sums = {name: held for name, held in kept.books.items() if "return-flow" not in name}
    assert sums == {"quick": 90.0, "drawn": 60.0, "slow": 390.0, "waited": 5 * HOUR_S}
    after = Night(kept=kept)
    after.good(100)
    assert after.memory.books.fresh.slow_s == pytest.approx(390.0, abs=1.0)
    filled(after, 60.0)
    assert len(after.raised(LOST)) == 1


def test_a_steady_day_writes_the_file_a_few_dozen_times(plan: FreshPlan) -> None:
    """A card wears out by writing: what is kept changes in steps."""
    its, last, writes = Fresh(), {}, 0
    for minute in range(1440):
        its = fresh.later(plan, its, 60.0)
        if minute % 200 == 0:
            its = fresh.closed(plan, its, 35.0, minute * 60.0)
        writes += fresh.kept(its) != last
        last = fresh.kept(its)
    assert 5 < writes < 60


def test_nothing_kept_begins_at_nothing() -> None:
    assert Night(kept=Kept()).memory.books.fresh == Fresh()
