"""The figures of detection: the guard's own arithmetic, and a short, seeded version of them.

The long version is `python -m simulator.detection`.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from rules.observer import detector
from simulator.campaign.poisson import interval
from simulator.detection import __main__ as detection
from simulator.detection import measure
from simulator.detection.__main__ import REPORTED_ON, main
from simulator.detection.boxes import STEP_S, Boxes
from simulator.detection.detectors import Detectors, guarded
from simulator.detection.measure import BEGIN_S, healthy, step_of, told
from simulator.detection.site import BOX, geometry, level_site

SITE = level_site()
BY = guarded(SITE, BOX)


def test_the_vectorised_detector_is_the_rules_own_sample_by_sample() -> None:
    """Losses of every size, pauses and surges; every figure that both remember."""
    count, steps = 6, 4000
    boxes = Boxes(geometry(SITE, BY.flow_m3_s, BY.below_m), count, 5)
    many = Detectors(BY.chart, count)
    each = [detector.Detector() for _ in range(count)]
    sizes = np.array([0.0, 0.02, 0.03, 0.06, 0.1, 0.3])
    told_of = 0
    for i in range(steps):
        there = 1500 <= i < 3000
        level_m, flow_m3_s, seen = boxes.step(1.0 - sizes * there)
        lasted_s = 60.0 if i % 7 == 0 else STEP_S
        many.step(level_m, flow_m3_s, lasted_s, seen)
        for j in np.flatnonzero(seen):
            sample = float(level_m[j]), float(flow_m3_s[j]), lasted_s
            each[j] = detector.step(BY.chart, each[j], *sample)
        if i % 50 and i != steps - 1:
            continue
        for j, one in enumerate(each):
            for name in (
                "loss", "noise", "samples", "quick", "fast_s", "block", "block_s", "blocked",
                "total", "over", "lost", "fading", "faded",
            ):  # fmt: skip
                assert getattr(many, name)[j] == pytest.approx(getattr(one, name), abs=1e-9), name
            for mean, other in ((many.reference, one.reference), (many.baseline, one.baseline)):
                assert mean.level_m[j] == pytest.approx(other.level_m, abs=1e-12)
                assert mean.flow_m3_s[j] == pytest.approx(other.flow_m3_s, abs=1e-12)
                assert mean.seen_s[j] == pytest.approx(other.seen_s)
            told_of += one.lost
    assert told_of > 20


def test_the_boxes_stand_where_what_comes_is_carried() -> None:
    """Torricelli and the lip of a shaft, worked anew in plain numbers."""
    drawn = geometry(SITE, BY.flow_m3_s, BY.below_m)
    boxes = Boxes(drawn, 50, 3)
    for left in (1.0, 0.9, 0.7):
        for _ in range(40):
            boxes.step(np.full(50, left))
        boxes._air[:] = boxes._surge_m3[:] = 0.0
        boxes._settle(boxes.flow_m3_s, np.full(50, left))
        for j in range(50):
            level_m = float(boxes.level_m[j])
            carried = left * float(boxes._main[j]) * sqrt(float(boxes._fall[j]) + level_m)
            for which, mouth_m in enumerate((drawn.open_mouth_m, drawn.emergency_mouth_m)):
                over = float(boxes._lip[which][j]) * max(0.0, level_m - mouth_m) ** 1.5
                most = float(boxes._limit[which][j])
                carried += over / (1.0 + (over / most) ** 4) ** 0.25
            assert carried == pytest.approx(float(boxes.flow_m3_s[j]), rel=2e-3)


def test_the_meters_drift_as_much_as_is_asked() -> None:
    """Half a part in a hundred in six hours, one in a day: one sigma of the difference."""
    boxes = Boxes(geometry(SITE, BY.flow_m3_s, BY.below_m), 1500, 9)
    start = boxes._drift.copy()
    found = []
    for hours in (6, 24):
        while boxes.t_s < hours * 3600.0:
            boxes.step(np.ones(1500))
        found.append(float(np.std(boxes._drift - start)))
    assert found == pytest.approx([0.005, 0.010], rel=0.1)


def test_losses_are_told_in_time() -> None:
    """Out of pauses, in which nothing can be seen."""
    tenth = told(SITE, step_of(0.10), count=120, seed=REPORTED_ON, begin_s=BEGIN_S, lasts_s=1800.0)
    assert tenth.before == 0
    assert tenth.share_seen_within(600.0) == 1.0
    assert tenth.percentiles_s()[0] < 60.0
    little = told(SITE, step_of(0.03), count=120, seed=REPORTED_ON, begin_s=BEGIN_S, lasts_s=5400.0)
    assert little.share_seen_within(3600.0) >= 0.98


def test_without_its_limits_they_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(detector, "H", 1e9)
    monkeypatch.setattr(detector, "FAST", 1.0)
    monkeypatch.setattr(detector, "QUICK", 1.0)
    tenth = told(SITE, step_of(0.10), count=40, seed=REPORTED_ON, begin_s=BEGIN_S, lasts_s=1800.0)
    assert tenth.share_within(600.0) == 0.0


def test_where_nothing_is_lost_nothing_is_told() -> None:
    """One site-year here; a hundred in the long version."""
    found = healthy(SITE, count=365, seed=REPORTED_ON + 3, days=1.0, tell=lambda _: None)
    assert found.years == pytest.approx(1.0, rel=0.01)
    assert found.episodes <= 1
    assert found.between == tuple(end / found.years for end in interval(found.episodes))


def test_the_command_prints_both_sets_of_seeds(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(detection, "BLOCKS_S", ())
    monkeypatch.setattr(detection, "BEGIN_S", 3600.0)
    monkeypatch.setattr(measure, "SPREAD_S", 600.0)
    short = ["--boxes", "4", "--years", "0.01", "--days", "0.5", "--without-slow"]
    assert main(short) == 0
    out = capsys.readouterr().out
    for words in ("limits chosen on", "reported on", "10 % at once", "3 % at once", "a year"):
        assert words in out
