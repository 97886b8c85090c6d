"""What a level sensor tells of the main drain long before any float: what is told and what is not.

The water stands where the chart of the drains puts it: these nights are about what the guard makes
of its readings. Nights on the independent plant are in `tests/simulator/test_fouling_nights.py`.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from rules.memory import Kept, keep
from rules.observer import detector, observer
from rules.observer.detector import cusum
from rules.observer.sight import Sight
from rules.orders import BASELINE
from rules.signals import EventKind, Origin, Quality, Reading
from tests.level_site import LEVEL, level_site
from tests.rules.nights import Night

ROW = "drain-fouling.overflow-box"
WARM_S = observer.SETTLE_S + detector.WARM_S + 300.0


def level_at(told: Night, share: float, flow: float = 1.0) -> float:
    """The level at which the main drain passes what it should with this share of it left [m]."""
    drain = told.plan.drains[0]
    assert drain.chart is not None
    low, high = 0.0, 0.3
    for _ in range(60):
        middle = (low + high) / 2.0
        found = drain.chart.share(middle, flow * drain.inflow_m3_s)
        low, high = (middle, high) if found > share else (low, middle)
    return low


def flows(told: Night, flow: float) -> None:
    told.flow("return-flow", flow)


def stands(told: Night, share: float, flow: float = 1.0) -> None:
    told.reads(LEVEL, Reading(level_at(told, share, flow)))
    flows(told, flow)


def good(*, without: tuple[str, ...] = ()) -> Night:
    """A site that has run well for long enough."""
    told = Night(level_site(), without=without)
    told.good(120)
    stands(told, 1.0)
    told.run(WARM_S, 5.0)
    assert sight(told).detector.warm
    return told


def sight(told: Night) -> Sight:
    return told.memory.sights[0]


def raised_after_s(told: Night, lasts_s: float) -> float | None:
    """How long after now the alarm is raised, within so long [s]."""
    now_s = told.t_s
    while told.t_s < now_s + lasts_s:
        told.tick(2.0)
        if told.raised(ROW):
            return told.t_s - now_s
    return None


# --- what is told --------------------------------------------------------------------------------


def test_a_tenth_is_told_within_a_minute_and_a_little_within_half_an_hour() -> None:
    told = good()
    stands(told, 0.9)
    soon_s = raised_after_s(told, 600.0)
    assert soon_s is not None
    assert soon_s <= 60.0
    told = good()
    stands(told, 0.97)
    later_s = raised_after_s(told, 3600.0)
    assert later_s is not None
    assert later_s <= 1800.0
    told = good(without=("drain-fouling",))
    stands(told, 0.9)
    assert raised_after_s(told, 1200.0) is None
    assert told.decision is not None
    assert told.decision.alarms == ()


def test_it_cuts_nothing_and_shuts_nothing() -> None:
    told = good()
    stands(told, 0.9)
    told.run(600.0, 5.0)
    assert told.alarm(ROW) is not None
    assert told.of(EventKind.PUMP_CUT) == []
    told.dry("return-level")
    told.run(10.0)
    assert told.on("top-off-valve")


def test_a_loss_that_stays_is_not_swallowed_and_one_that_goes_is_over() -> None:
    """The reference stands still while it is told of."""
    told = good()
    stands(told, 0.97)
    told.run(10 * 3600.0, 10.0)
    assert len(told.raised(ROW)) == 1
    assert told.alarm(ROW) is not None
    assert told.of(EventKind.ALARM_RETURNED) == []
    stands(told, 1.0)
    told.run(3600.0, 10.0)
    assert len(told.of(EventKind.ALARM_RETURNED)) == 1


def test_a_ramp_that_the_reference_follows_is_told_by_the_baseline(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Half of the drain in a fortnight, after two days in which it was learned; with the cumulative
    sum taken out, which finds this one too while no noise hides it."""
    monkeypatch.setattr(detector, "H", 1e9)
    monkeypatch.setattr(detector, "SUSPECT_SUM", 1e9)
    told = good()
    told.run(2.0 * 86400.0, 50.0)
    assert sight(told).detector.baseline.seen_s == detector.LEARN_S
    began_s = told.t_s
    while not told.raised(ROW):
        share = 1.0 - 0.5 * (told.t_s - began_s) / (14.0 * 86400.0)
        assert share > 0.85, "by now a mark would tell"
        stands(told, share)
        told.run(600.0, 50.0)
    assert sight(told).detector.faded
    assert not sight(told).detector.lost


# --- what is not ---------------------------------------------------------------------------------


@pytest.mark.parametrize("flow", [0.7, 0.95, 1.05, 1.3])
def test_a_meter_that_drifts_alone_is_no_loss(flow: float) -> None:
    """The water stands where it stood."""
    told = good()
    flows(told, flow)
    assert raised_after_s(told, 7200.0) is None


@pytest.mark.parametrize("flow", [0.9, 1.05])
def test_a_pump_that_lifts_another_flow_is_no_loss(flow: float) -> None:
    told = good()
    stands(told, 1.0, flow)
    assert raised_after_s(told, 7200.0) is None


def test_a_surge_that_dies_away_is_no_loss() -> None:
    """Four litres tipped into the display: they come over the comb in half a minute."""
    told = good()
    for share in (0.7, 0.8, 0.92, 0.97, 1.0):
        stands(told, share)
        told.run(10.0, 0.5)
    assert raised_after_s(told, 3600.0) is None


def test_a_pause_a_start_and_a_sensor_in_doubt_tell_nothing() -> None:
    told = good()
    told.mend()
    told.pause("feeding", 600.0)
    told.reads(LEVEL, Reading(0.060))
    told.run(300.0, 1.0)
    assert sight(told).condition.share is None
    assert sight(told).condition.why == observer.PAUSED
    told.mend()
    told.reads(LEVEL, Reading(level_at(told, 0.9)))
    told.run(300.0 + 60.0 + 60.0, 1.0)
    assert sight(told).condition.why == observer.STARTED
    assert told.raised(ROW) == []
    told.run(observer.SETTLE_S + 120.0, 1.0)
    assert len(told.raised(ROW)) == 1, "what came in the pause is told after it"


@pytest.mark.parametrize(
    ("sensor", "reading", "why"),
    [
        (LEVEL, Reading(float("nan"), Quality.BAD, 0.0, "no converter"), "no converter"),
        ("return-flow", Reading(float("nan"), Quality.BAD, 0.0, "no pin"), "cannot be read"),
        ("return-flow", Reading(0.0), "cannot be right"),
    ],
)
def test_the_condition_is_not_known_and_says_why(sensor: str, reading: Reading, why: str) -> None:
    told = good()
    assert sight(told).condition.share == pytest.approx(1.0, abs=0.01)
    told.reads(sensor, reading)
    told.run(20.0)
    live = sight(told).condition
    assert live.share is None
    assert why in live.why


def test_the_band_holds_what_a_sensor_off_by_its_tolerance_would_hide() -> None:
    """Five millimetres at the sensor and five parts in a hundred at the meter, either way."""
    told = good()
    live = sight(told).condition
    assert live.share is not None
    for off_m in (-0.005, 0.005):
        for off in (0.95, 1.05):
            drain = told.plan.drains[0]
            assert drain.chart is not None
            read = drain.chart.share(level_at(told, 1.0) + off_m, drain.inflow_m3_s * off)
            assert live.least <= read <= live.most


# --- however often it looks ----------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.9, 0.975])
def test_ten_looks_a_second_and_one_in_ten_seconds_tell_at_the_same_time(share: float) -> None:
    found = []
    for dt_s in (0.1, 2.0, 10.0):
        told = good()
        stands(told, share)
        began_s = told.t_s
        while not told.raised(ROW):
            told.tick(dt_s)
        found.append(told.t_s - began_s)
    assert max(found) - min(found) <= 20.0


def test_no_memory_grows_and_a_tick_gathers_only() -> None:
    told = good()
    told.run(9.0)
    before = sight(told)
    told.tick()
    after = sight(told)
    assert after.detector is before.detector or after.gathered.lasted_s == 0.0


# --- the cumulative sum against published run lengths --------------------------------------------


def run_length(k: float, h: float, shift: float, chance: random.Random) -> int:
    """Samples until either of two one-sided sums passes h."""
    upper = lower = 0.0
    for n in range(1, 100_000):
        z = chance.gauss(shift, 1.0)
        upper, lower = cusum(upper, z, k), cusum(lower, -z, k)
        if upper > h or lower > h:
            return n
    raise AssertionError("it never passed")


@pytest.mark.parametrize(
    ("h", "shift", "published", "runs"),
    [
        (4.0, 0.0, 168.0, 800),
        (4.0, 0.5, 26.6, 1500),
        (4.0, 1.0, 8.38, 2000),
        (4.0, 2.0, 3.34, 2000),
        (5.0, 0.0, 465.0, 400),
        (5.0, 1.0, 10.38, 2000),
        (5.0, 2.0, 4.01, 2000),
    ],
)
def test_run_lengths_are_the_published_ones(
    h: float, shift: float, published: float, runs: int
) -> None:
    """Two-sided, k 0.5: Lucas and Crosier (1982), table 1; the same columns stand in the
    NIST/SEMATECH e-Handbook, 6.3.2.3.1."""
    assert detector.K == 0.5
    assert detector.H == 4.0
    chance = random.Random(20240)
    lengths = [run_length(detector.K, h, shift, chance) for _ in range(runs)]
    mean = sum(lengths) / runs
    error = (sum((n - mean) ** 2 for n in lengths) / runs) ** 0.5 / runs**0.5
    assert abs(mean - published) < 4.0 * error


def test_a_sum_without_its_allowance_would_not_have_them() -> None:
    chance = random.Random(1)
    lengths = [run_length(0.4, 4.0, 0.0, chance) for _ in range(500)]
    assert sum(lengths) / 500 < 130.0


def test_a_stale_reference_begins_anew_and_keeps_its_baseline() -> None:
    told = good()
    old = replace(sight(told), sampled_s=told.t_s - observer.STALE_S - 60.0)
    told.memory = replace(told.memory, sights=(old, *told.memory.sights[1:]))
    stands(told, 0.97)
    told.run(20.0)
    assert not sight(told).detector.warm
    assert sight(told).detector.baseline.seen_s > 600.0


# --- what outlives a restart, and a reset --------------------------------------------------------


def learned() -> Night:
    told = good()
    told.run(2.0 * 86400.0, 50.0)
    return told


def test_the_baseline_outlives_a_restart_and_tells_of_what_came_meanwhile() -> None:
    before = learned()
    kept = keep(before.plan, before.memory)
    assert set(kept.baselines) == {"overflow-box"}
    before.run(3600.0, 10.0)
    assert keep(before.plan, before.memory).baselines == kept.baselines, "nothing new to write"
    for known, raises in ((kept, True), (Kept(), False)):
        after = Night(level_site(), kept=known)
        stands(after, 0.88)
        after.run(WARM_S + 2.0 * 3600.0, 5.0)
        assert bool(after.raised(ROW)) is raises


def test_a_reset_of_the_baseline_forgets_it_and_releases_nothing() -> None:
    told = learned()
    stands(told, 0.97)
    assert raised_after_s(told, 3600.0) is not None
    denied = told.reset(BASELINE, Origin.BROKER)
    assert denied.kind is EventKind.ORDER_REFUSED
    assert sight(told).detector.baseline.seen_s == detector.LEARN_S
    assert told.reset(BASELINE).kind is EventKind.ORDER_OBEYED
    assert sight(told).detector == detector.Detector()
    told.run(3600.0, 10.0)
    assert len(told.raised(ROW)) == 1, "it is the good day of the new baseline"
    assert len(told.of(EventKind.ALARM_RETURNED)) == 1


def test_a_baseline_that_cannot_be_is_learned_anew() -> None:
    wrong = Kept(baselines={"overflow-box": (0.3, 1e-6, 172800.0), "gone": (0.1, 0.001, 1.0)})
    assert Night(level_site(), kept=wrong).memory.sights[0] == Sight()
