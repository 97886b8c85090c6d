"""A level sensor in the overflow box: what it adds, and what it must never take away."""

from __future__ import annotations

from math import nan

import pytest

from rules.assessment.assess import assess
from rules.assessment.failures import Sort
from rules.engine import plan_for
from rules.hazards.drain_capacity import mark_cuts
from rules.levels import HOLD_S
from rules.resting import RESTS_S
from rules.signals import DrainFigures, EventKind, LevelFigures, Priority, Quality, Reading
from rules.verdict import judge
from tests.level_site import LEVEL, TABLE, level_site
from tests.rules.nights import Night, site_of, text_of

SHORT = "drain-capacity.overflow-box"
LOSS = "drain-loss.overflow-box"
SIGNAL = f"signal.{LEVEL}"
TOLERANCE_M = 0.005

PLAN = plan_for(level_site())
FIRST_M = PLAN.levels[0].marks.marks[0].height_m
"""The lowest mark; a reading counts from its tolerance over it."""


def night(*, without: tuple[str, ...] = ()) -> Night:
    told = Night(level_site(), without=without)
    told.good(120)
    return told


def level(told: Night, level_m: float, quality: Quality = Quality.GOOD) -> None:
    told.reads(LEVEL, Reading(level_m, quality))


def box(told: Night) -> DrainFigures:
    assert told.decision is not None
    return next(drain for drain in told.decision.drains if drain.chamber == "overflow-box")


# --- what is shown -------------------------------------------------------------------------------


def test_on_a_good_day_the_level_is_known_within_its_tolerance() -> None:
    told = night()
    running_m = told.plan.figures.running.levels_m["overflow-box"] - 1.150
    live = box(told)
    assert live.level_least_m == pytest.approx(running_m - TOLERANCE_M)
    assert live.level_most_m == pytest.approx(running_m + TOLERANCE_M)
    assert told.decision is not None
    (shown,) = told.decision.levels
    assert shown == LevelFigures(
        LEVEL, "overflow-box", pytest.approx(running_m), TOLERANCE_M, Quality.GOOD
    )
    assert live.margin > 1.1


def test_a_level_that_is_not_known_leaves_the_bounds_to_the_floats() -> None:
    told = night()
    told.bad(LEVEL)
    told.run(1)
    live = box(told)
    assert live.level_least_m == 0.0
    assert live.level_most_m == pytest.approx(0.205)
    assert told.decision is not None
    assert told.decision.levels[0].level_m is None


def test_a_level_that_the_floats_contradict_does_not_narrow_them() -> None:
    told = night()
    told.wet("box-watch")
    level(told, 0.100)
    told.run(2)
    live = box(told)
    assert live.level_least_m == pytest.approx(0.205)
    assert live.level_most_m > 0.205


# --- from which height it tells ------------------------------------------------------------------


def test_under_its_lowest_mark_clean_drains_may_stand() -> None:
    """The level at the unfavourable end: 10 % more flow, drains at the low end of their doubt."""
    drain = PLAN.drains[0]
    running_m = PLAN.figures.running.levels_m["overflow-box"] - 1.150
    marks = PLAN.levels[0].marks
    assert running_m + 2 * TOLERANCE_M < FIRST_M
    assert PLAN.site.floats()["box-watch"].height > FIRST_M
    assert marks.least_m3_s[0] > 1.1 * drain.inflow_m3_s
    heights = [mark.height_m for mark in marks.marks]
    assert heights == sorted(heights)
    assert max(heights) <= PLAN.site.chambers["overflow-box"].rim
    assert all(mark_cuts(drain, mark) for mark in marks.marks)


def test_a_level_counts_as_the_mark_under_it() -> None:
    marks = PLAN.levels[0].marks
    assert marks.under(FIRST_M - 1e-6) == -1
    assert marks.under(FIRST_M) == 0
    assert marks.under(FIRST_M + 0.0019) == 0
    assert marks.under(FIRST_M + 0.0021) == 1
    assert marks.under(9.0) == len(marks.marks) - 1


def test_a_site_without_a_level_sensor_has_none_of_it() -> None:
    plan = plan_for(site_of(text_of("classroom")))
    assert plan.levels == ()
    assert all(drain.levels == () for drain in plan.drains)


def test_in_a_chamber_without_drains_it_tells_nothing_of_drains() -> None:
    plan = plan_for(level_site(TABLE.replace('"overflow-box"', '"return"')))
    assert plan.levels[0].marks.marks == ()
    assert [height for _, height in plan.levels[0].floats] == [0.095, 0.183, 0.27]


# --- drains that are short -----------------------------------------------------------------------


TOO_HIGH_M = 0.306
"""Over the level up to which the sensor is believed to show that all is carried."""


def test_a_level_that_stands_too_high_cuts_though_the_float_hangs_dry() -> None:
    told = night()
    level(told, TOO_HIGH_M)
    told.run(20)
    assert told.cut_after_s == pytest.approx(HOLD_S, abs=0.25)
    (alarm,) = told.raised(SHORT)
    assert "main drain" in alarm.saying.what
    assert alarm.spill_s > 10.0


def test_without_the_hazard_nothing_would_be_cut() -> None:
    told = night(without=("drain-capacity",))
    level(told, TOO_HIGH_M)
    told.run(60)
    assert told.cut_after_s is None


def test_a_level_over_its_lowest_mark_that_stays_low_is_told_of_and_not_cut() -> None:
    told = night()
    level(told, FIRST_M + TOLERANCE_M + 0.001)
    told.run(HOLD_S + 9)
    assert told.raised(LOSS) == []
    told.run(600)
    (alarm,) = told.raised(LOSS)
    assert alarm.priority is Priority.MEDIUM
    assert "main drain is blocking" in alarm.saying.what
    assert told.of(EventKind.PUMP_CUT) == []
    assert not told.on("top-off-valve")


def test_a_level_a_little_lower_cuts_nothing() -> None:
    told = night()
    level(told, FIRST_M + TOLERANCE_M - 0.001)
    told.run(600)
    assert told.cut_after_s is None
    assert told.raised(SHORT) == []
    assert told.raised(LOSS) == []


@pytest.mark.parametrize("share", [0.95, 1.0, 1.05])
def test_a_meter_five_per_cent_off_makes_no_cut_of_the_highest_good_day(share: float) -> None:
    told = night()
    told.flow("return-flow", share)
    level(told, FIRST_M + TOLERANCE_M - 0.001)
    told.run(60)
    assert told.of(EventKind.PUMP_CUT) == []
    assert told.raised(LOSS) == []


def test_a_surge_shorter_than_its_time_cuts_nothing() -> None:
    told = night()
    for _ in range(5):
        level(told, 0.300)
        told.run(HOLD_S - 1.0)
        told.mend()
        told.run(HOLD_S)
    assert told.of(EventKind.PUMP_CUT) == []


def test_noise_about_the_mark_is_net_time() -> None:
    told = night()
    for i in range(600):
        level(told, FIRST_M + TOLERANCE_M + (0.001 if i % 3 == 0 else -0.001))
        told.tick()
    told.run(12)
    assert told.raised(LOSS) == []
    told.good(20)
    for i in range(600):
        level(told, FIRST_M + TOLERANCE_M + (-0.001 if i % 3 == 0 else 0.001))
        told.tick()
    assert len(told.raised(LOSS)) == 1


def test_while_the_drains_prime_a_high_level_is_waited_for() -> None:
    told = Night(level_site())
    told.run(2)
    level(told, 0.300)
    for _ in range(600):
        if told.on("pump-relay"):
            break
        told.tick()
    assert told.on("pump-relay")
    started_s = told.t_s
    told.run(told.plan.pumps[0].prime_s - 1.0)
    assert told.of(EventKind.PUMP_CUT) == []
    told.run(10)
    (cut,) = told.of(EventKind.PUMP_CUT)
    assert cut.t_s - started_s == pytest.approx(told.plan.pumps[0].prime_s, abs=0.3)


def test_the_cut_ends_when_the_level_has_fallen_and_the_pump_is_started_again() -> None:
    told = night()
    level(told, 0.250)
    told.run(HOLD_S + 1)
    assert not told.on("pump-relay")
    level(told, 0.060)
    told.run(HOLD_S + RESTS_S[0] + 60)
    assert told.on("pump-relay")


# --- what must never be --------------------------------------------------------------------------


WRONG = {
    "cannot be read": Reading(nan, Quality.BAD, 0.0, "no such channel"),
    "says nought": Reading(0.0),
    "says a good day": Reading(0.167),
    "says not a number": Reading(nan),
    "is in doubt": Reading(0.352, Quality.UNCERTAIN, 0.0, "it reads 2 mm above the rim"),
    "says it is full": Reading(0.345),
}


@pytest.mark.parametrize("wrong", WRONG)
@pytest.mark.parametrize("sensor", ["box-watch", "display-high"])
def test_whatever_it_says_a_float_cuts_when_it_would_without_it(sensor: str, wrong: str) -> None:
    plain = Night()
    plain.good(120)
    plain.wet(sensor)
    plain.run(3)
    told = night()
    told.reads(LEVEL, WRONG[wrong])
    told.run(6)
    told.wet(sensor)
    told.run(3)
    assert told.cut_after_s == plain.cut_after_s
    assert plain.cut_after_s is not None


@pytest.mark.parametrize("wrong", ["cannot be read", "says nought", "says a good day"])
def test_alone_it_stops_nothing(wrong: str) -> None:
    """An extra sensor that fails must not stop the water; it is told of, and that is all."""
    told = night()
    told.reads(LEVEL, WRONG[wrong])
    told.run(600)
    assert told.of(EventKind.PUMP_CUT) == []
    assert told.on("pump-relay")


def test_a_drop_out_does_not_end_what_it_has_seen() -> None:
    told = night()
    level(told, 0.250)
    told.run(HOLD_S + 1)
    told.bad(LEVEL)
    told.rest(RESTS_S[0] + 120)
    assert not told.on("pump-relay")
    assert told.alarm(SHORT) is not None
    assert len(told.of(EventKind.PUMP_CUT)) == 1


def test_a_drop_out_does_not_begin_its_time_anew() -> None:
    told = night()
    level(told, 0.250)
    told.run(HOLD_S - 2)
    told.bad(LEVEL)
    told.run(2)
    assert told.cut_after_s is None
    level(told, 0.250)
    told.run(3)
    assert told.cut_after_s == pytest.approx(2.0, abs=0.25)


def test_a_lower_level_takes_nothing_from_a_float_that_is_wet() -> None:
    """What the drains carry at most follows from the higher of the two marks."""
    plain, told = Night(), night(without=("drain-capacity",))
    plain.good(120)
    level(told, FIRST_M + TOLERANCE_M + 0.001)
    told.run(HOLD_S + 2)
    by_level = box(told).capacity_m3_s
    for each in (plain, told):
        each.wet("box-watch")
        each.run(0.9)
        each.tick()
    assert box(told).capacity_m3_s == box(plain).capacity_m3_s < by_level


# --- the signal alarm ----------------------------------------------------------------------------


def test_one_that_cannot_be_read_is_named_after_its_time() -> None:
    told = night()
    told.bad(LEVEL)
    told.run(4.8)
    assert told.raised(SIGNAL) == []
    told.run(0.5)
    (alarm,) = told.raised(SIGNAL)
    assert "level sensor of the overflow box" in alarm.saying.what
    assert "no such pin" in alarm.saying.what
    told.mend()
    told.run(20)
    assert told.alarm(SIGNAL) is not None
    assert told.of(EventKind.PUMP_CUT) == []


def test_a_float_that_is_wet_over_it_contradicts_it() -> None:
    told = night()
    told.wet("box-watch")
    told.run(6)
    (alarm,) = told.raised(SIGNAL)
    assert "says 167.1 mm while the float in the overflow box at 205.0 mm is wet" in (
        alarm.saying.what
    )
    assert told.raised("signal.box-watch") == []


def test_a_float_that_is_dry_under_it_contradicts_it() -> None:
    told = night()
    level(told, 0.230)
    told.run(6)
    (alarm,) = told.raised(SIGNAL)
    assert "is dry: one is wrong" in alarm.saying.what


@pytest.mark.parametrize(("level_m", "wet"), [(0.192, True), (0.219, False)])
def test_waves_and_the_ruler_are_no_contradiction(level_m: float, wet: bool) -> None:
    """Within its tolerance and 10 mm of the float it may be that both are right."""
    told = night()
    level(told, level_m)
    if wet:
        told.wet("box-watch")
    told.run(30)
    assert told.raised(SIGNAL) == []


def test_a_float_that_cannot_be_read_contradicts_nothing() -> None:
    told = night()
    told.bad("box-watch")
    told.run(30)
    assert told.raised(SIGNAL) == []
    assert len(told.raised("signal.box-watch")) == 1


# --- before the first night ----------------------------------------------------------------------


def test_the_assessment_names_it_where_it_sees_a_failure() -> None:
    found = assess(PLAN)
    table = {row.failure: row for row in found.coverage}
    assert LEVEL in table["main drain blocked"].sensors
    assert "box-watch" in table["main drain blocked"].sensors
    assert table["level sensor of the overflow box drifts"].sensors == ("box-watch",)
    assert LEVEL not in table["comb blocked"].sensors
    blocked = next(r for r in found.results if r.failure.title == "main drain blocked")
    assert blocked.failure.sort is Sort.ONE_DRAIN
    seen = {one.sensor: one for one in blocked.seen}
    assert seen[LEVEL].cuts
    assert seen[LEVEL].after_s >= HOLD_S
    assert seen[LEVEL].after_s > seen["box-watch"].after_s


def test_it_holds_a_blocked_drain_where_no_float_watches_and_is_judged_so() -> None:
    text = text_of("classroom").split("[sensors.box-watch]")
    rest = text[1].split("[sensors.refugium-high]")[1]
    bare = f"{text[0]}[sensors.refugium-high]{rest}"
    with_level = plan_for(site_of(f"{bare}\n{TABLE}"))
    result = next(r for r in assess(with_level).results if r.failure.title == "main drain blocked")
    assert any(seen.sensor == LEVEL and seen.cuts for seen in result.seen_at_worst)
    findings = judge(with_level, assess(with_level)).findings
    assert any("no drain-watch float hangs there" in finding.sentence for finding in findings)
    told = Night(with_level.site)
    told.good(120)
    told.reads(LEVEL, Reading(0.250))
    told.run(HOLD_S + 60)
    assert told.cut_after_s is None  # it stays low: all is carried
    told.reads(LEVEL, Reading(TOO_HIGH_M))
    told.run(1)
    assert told.cut_after_s is not None
