"""How much of a drain is left, with its band."""

from __future__ import annotations

from rules.observer.chart import Chart
from rules.observer.detector import FREE_S, Detector, Mean
from rules.signals import Condition

WANDER_M, WANDER_FLOW = 0.0005, 0.015
"""How far a level sensor [m] and a flow meter, as a share, may have wandered off since the baseline
was learned; own estimates for parts that are left alone."""


def condition(chart: Chart, detector: Detector, level_m: float, flow_m3_s: float) -> Condition:
    """What is left of the drain after a sample: against the baseline where one has been learned,
    else against the drawing."""
    baseline = detector.baseline
    if baseline.seen_s < FREE_S:
        share = chart.share(level_m, flow_m3_s)
        level_off, flow_off = chart.level_off_m, chart.flow_off
        least = chart.share(level_m + level_off, flow_m3_s * (1.0 - flow_off))
        most = chart.share(level_m - level_off, flow_m3_s * (1.0 + flow_off))
        return Condition(share, least * (1.0 - chart.lead_off), most * (1.0 + chart.lead_off))
    off_m, factor = chart.off(baseline.level_m, baseline.flow_m3_s)
    share = _share_of(chart, baseline, (level_m, flow_m3_s), -off_m, 1.0 / factor)
    ends = [
        _share_of(chart, baseline, (level_m + wander * WANDER_M, flow_m3_s * flow), level, off)
        for wander, flow in ((1.0, 1.0 - WANDER_FLOW), (-1.0, 1.0 + WANDER_FLOW))
        for level in (-chart.level_off_m, chart.level_off_m)
        for off in (1.0 - chart.flow_off, 1.0 + chart.flow_off)
    ]
    return Condition(share, min(share, *ends), max(share, *ends), learned=True)


def _share_of(
    chart: Chart, mean: Mean, sample: tuple[float, float], level_off_m: float, flow_off: float
) -> float:
    """The share if the level sensor and the meter were off by so much all along."""
    before = chart.share(mean.level_m + level_off_m, mean.flow_m3_s * flow_off)
    now = chart.share(sample[0] + level_off_m, sample[1] * flow_off)
    return now / before if before > 0.0 else 0.0
