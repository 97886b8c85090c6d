"""A main drain that closes day by day: the date that is told, and what is not taken for it.

The water stands where the chart of the drains puts it; the night on the independent plant is in
`tests/simulator/test_fouling_nights.py`.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from math import inf
from statistics import linear_regression

import pytest
from scipy.stats import linregress

from rules.engine import plan_for
from rules.memory import Kept, keep
from rules.observer import growth
from rules.observer.chart import Chart
from rules.observer.condition import WANDER_M
from rules.observer.detector import LEARN_S, Detector, Mean, step
from rules.observer.growth import DAY_S, DAYS, NEW, Growth, Trend
from rules.signals import EventKind, Priority
from rules.site.model import Site
from tests.level_site import level_site
from tests.rules.nights import Night
from tests.rules.test_drain_fouling import sight, stands

ROW, FOULING = "drain-growth.overflow-box", "drain-fouling.overflow-box"
LOOK_S, SAMPLE_S = 60.0, 1800.0


@cache
def site() -> Site:
    return level_site()


@cache
def chart() -> Chart:
    found = plan_for(site()).drains[0].chart
    assert found is not None
    return found


def baseline() -> Mean:
    return Mean(chart().level_m, chart().flow_m3_s, LEARN_S)


def kept(*days: float) -> Kept:
    """What a guard left behind that had learned the drain, and then seen these days."""
    of = baseline()
    return Kept(
        baselines={"overflow-box": (of.level_m, of.flow_m3_s, of.seen_s)},
        days={"overflow-box": days},
    )


def night(*days: float, lost: float = 0.0, without: tuple[str, ...] = ()) -> Night:
    """A guard that begins with this behind it."""
    told = Night(site(), kept=kept(*days), without=without)
    stands(told, 1.0 - lost)
    told.run(120.0, 1.0)
    return told


def closes(told: Night, days: float, a_day: float, lost: float) -> float:
    """The drain loses so much more a day [share] for so many days; returns what is lost then."""
    for _ in range(round(days * 24.0)):
        stands(told, 1.0 - lost)
        told.run(3600.0, LOOK_S)
        lost += a_day / 24.0
    return lost


class Box:
    """Detector and days alone, of a drain that has been learned."""

    def __init__(self) -> None:
        self.detector, self.growth, self.told = Detector(baseline=baseline()), NEW, 0

    def sees(self, level_m: float, flow_m3_s: float) -> None:
        """The mean of half an hour."""
        before = self.growth.told
        self.detector = step(chart(), self.detector, level_m, flow_m3_s, SAMPLE_S)
        self.growth = growth.step(chart(), self.growth, self.detector, SAMPLE_S)
        self.told += before is None and self.growth.told is not None

    def closes(self, days: float, a_day: float, lost: float = 0.0) -> float:
        """As above; the flow is that of the good day."""
        for _ in range(round(days * DAY_S / SAMPLE_S)):
            self.sees(level_of(1.0 - lost), chart().flow_m3_s)
            lost += a_day * SAMPLE_S / DAY_S
        return lost


def level_of(share: float) -> float:
    """The level at which so much of the drain passes what it should [m]."""
    low, high = 0.0, 0.3
    for _ in range(40):
        middle = (low + high) / 2.0
        found = chart().share(middle, chart().flow_m3_s) / chart().share(
            chart().level_m, chart().flow_m3_s
        )
        low, high = (middle, high) if found > share else (low, middle)
    return low


# --- what is told --------------------------------------------------------------------------------


def test_a_drain_that_closes_is_told_of_with_a_date_before_the_loss_itself_is() -> None:
    found = []
    for without in ((), ("drain-growth",)):
        told = night(0.006, 0.018, lost=0.024, without=without)
        assert told.raised(ROW) == []
        lost = closes(told, 1.1, 0.012, 0.024)
        assert told.raised(FOULING) == []
        assert told.of(EventKind.PUMP_CUT) == []
        found.append(told.raised(ROW))
    (alarm,), nothing = found
    assert nothing == []
    assert alarm.priority is Priority.LOW
    trend = sight(told).growth.told
    assert trend is not None
    assert trend.a_day == pytest.approx(0.012, rel=0.1)
    truth_days = (growth.limit(chart(), baseline()) - lost + 0.1 * 0.012) / 0.012
    low, high = trend.band_days
    assert low < truth_days < high
    assert trend.left_days == pytest.approx(truth_days, rel=0.15)
    assert f"in about {round(trend.left_days)} days" in alarm.saying.what


def test_it_is_told_before_the_loss_by_a_box_alone_from_the_first_day_on() -> None:
    box = Box()
    box.closes(3.1, 0.015)
    assert box.told == 1
    assert not box.detector.faded


def test_it_ends_when_the_drain_has_been_cleaned_and_begins_anew() -> None:
    told = night(0.018, 0.030, 0.042, lost=0.048)
    assert len(told.raised(ROW)) == 1
    closes(told, 0.2, 0.012, 0.048)
    stands(told, 1.0)
    told.run(3600.0, LOOK_S)
    assert told.of(EventKind.ALARM_RETURNED, "overflow-box") == [], "somebody may have stirred"
    told.run(3.0 * 3600.0, LOOK_S)
    assert len(told.of(EventKind.ALARM_RETURNED, "overflow-box")) == 1
    assert sight(told).growth.days == ()


def test_it_ends_when_it_no_longer_closes() -> None:
    box = Box()
    lost = box.closes(3.1, 0.015)
    assert box.growth.told is not None
    box.closes(11.0, 0.0, lost)
    assert box.growth.told is None
    assert box.told == 1


def test_the_loss_itself_is_told_of_with_the_date() -> None:
    told = night(0.040, 0.052, 0.064, lost=0.070)
    closes(told, 1.5, 0.012, 0.070)
    assert len(told.raised(ROW)) == 1
    (alarm,) = told.raised(FOULING)
    assert "reaches its limit in about" in alarm.saying.what


# --- what outlives a restart ---------------------------------------------------------------------


def test_days_outlive_a_restart_and_are_written_once_a_day() -> None:
    before = night(0.006, 0.018, lost=0.024)
    lost, written = 0.024, set()
    for _ in range(25):
        lost = closes(before, 1.0 / 24.0, 0.012, lost)
        written.add(keep(before.plan, before.memory).days["overflow-box"])
    assert sorted(map(len, written)) == [2, 3]
    left = keep(before.plan, before.memory)
    assert left.days["overflow-box"] == pytest.approx((0.006, 0.018, 0.030), abs=0.0011)
    for known, raises in ((left, True), (replace(left, days={}), False), (Kept(), False)):
        after = Night(site(), kept=known)
        stands(after, 1.0 - lost)
        after.run(1800.0, 5.0)
        assert bool(after.raised(ROW)) is raises


def test_days_without_a_whole_baseline_are_forgotten() -> None:
    half = (0.167, 0.0011, LEARN_S / 2.0)
    for baselines in ({}, {"overflow-box": half}):
        known = Kept(baselines=baselines, days={"overflow-box": (0.02, 0.04, 0.06)})
        assert Night(site(), kept=known).memory.sights[0].growth == NEW


# --- what is not ---------------------------------------------------------------------------------


def test_a_loss_that_came_at_once_is_no_growth() -> None:
    told = night(0.0, 0.0)
    closes(told, 0.5, 0.0, 0.0)
    closes(told, 1.6, 0.0, 0.04)
    assert len(told.raised(FOULING)) == 1
    assert told.raised(ROW) == []


@pytest.mark.parametrize("off", [-0.03, 0.03])
def test_a_meter_that_drifts_for_days_is_no_growth(off: float) -> None:
    """One way and back; the water stands where it stood."""
    box = Box()
    for part in (0.3, 0.6, 1.0, 0.6, 0.3, 0.0):
        for _ in range(48):
            box.sees(chart().level_m, chart().flow_m3_s * (1.0 + part * off))
    assert box.told == 0


def test_a_slow_one_far_from_its_limit_is_told_of_later() -> None:
    box = Box()
    lost = box.closes(5.1, 0.006)
    assert box.told == 0
    box.closes(5.0, 0.006, lost)
    assert box.told == 1


def test_a_sensor_that_scatters_and_creeps_by_half_a_millimetre_is_no_growth() -> None:
    """Fifteen boxes for forty days each: the zero walks at random within its wander, and each
    half-hour's mean scatters by another fifth of a millimetre."""
    chance, told = random.Random(7), 0
    for _ in range(15):
        box, creep_m = Box(), 0.0
        for _ in range(40 * 48):
            creep_m = max(-WANDER_M, min(WANDER_M, creep_m + chance.gauss(0.0, 4e-5)))
            level_m = chart().level_m + creep_m + chance.gauss(0.0, 2e-4)
            box.sees(level_m, chart().flow_m3_s)
        told += box.told
    assert told == 0


# --- the line ------------------------------------------------------------------------------------


def test_the_line_is_that_of_two_general_libraries() -> None:
    """Slope and its standard error: scipy.stats.linregress; slope: statistics."""
    chance = random.Random(3)
    for n in (3, 5, 14):
        days = [0.02 + 0.01 * i + chance.gauss(0.0, 0.02) for i in range(n)]
        found, theirs = growth.line(days, 0.2), linregress(range(n), days)
        assert found is not None
        assert found.a_day == pytest.approx(theirs.slope)
        assert found.a_day == pytest.approx(linear_regression(range(n), days).slope)
        assert found.off_a_day == pytest.approx(growth.SURE * theirs.stderr)
        assert found.gone == pytest.approx(theirs.intercept + theirs.slope * (n - 0.5))


@pytest.mark.parametrize(
    ("trend", "left_days"),
    [
        (Trend(0.06, 0.02, 0.01, 0.16), 5.0),
        (Trend(0.06, 0.02, 0.03, 0.16), inf),
        (Trend(0.01, 0.02, 0.01, 0.16), inf),
        (Trend(0.06, -0.02, 0.01, 0.16), inf),
        (Trend(0.2, 0.02, 0.01, 0.16), 0.0),
    ],
)
def test_only_a_line_that_is_sure_has_a_date(trend: Trend, left_days: float) -> None:
    assert trend.left_days == pytest.approx(left_days)
    assert trend.band_days[0] <= trend.left_days <= trend.band_days[1]


def test_no_more_than_a_fortnight_is_remembered() -> None:
    grown = NEW
    for day in range(40):
        detector = Detector(baseline=baseline(), fading=0.001 * day)
        grown = growth.step(chart(), grown, detector, DAY_S)
    assert len(grown.days) == DAYS
    assert grown.days[-1] == pytest.approx(0.039)


def test_where_the_drains_never_fall_short_the_limit_is_all_of_it() -> None:
    its = replace(chart(), short_m=inf)
    assert growth.limit(its, baseline()) == 1.0


def test_nothing_is_gathered_before_the_drain_has_been_learned() -> None:
    early = Detector(baseline=Mean(0.167, 0.0011, LEARN_S - 1.0), fading=0.05)
    assert growth.step(chart(), Growth(), early, DAY_S) == NEW
