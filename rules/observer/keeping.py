"""The baseline of each drain, as it outlives a restart of the daemon, and as a person resets it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import floor

from rules.observer import growth
from rules.observer.detector import FREE_S, LEARN_S, Detector, Mean
from rules.observer.sight import Sight
from rules.plan import DrainPlan

Baseline = tuple[float, float, float]
"""Level [m], flow [m3/s], and how much it has seen [s]."""

Days = tuple[float, ...]
"""What had gone of the main drain on each of the last days, as a share; the newest last."""

SEEN_S = 6.0 * 3600.0
LEVEL_M, FLOW_M3_S = 1e-4, 0.1 / 60000.0
LOSS = 1e-3
"""It is kept in such steps, and once it has been learned it no longer changes: a card wears out by
writing."""


def kept(drains: Sequence[DrainPlan], sights: Sequence[Sight]) -> dict[str, Baseline]:
    """The baselines that have seen enough, by chamber."""
    found = {}
    for drain, sight in zip(drains, sights, strict=False):  # none before the first look
        mean = sight.detector.baseline
        if mean.seen_s >= FREE_S:
            found[drain.chamber] = (
                round(mean.level_m / LEVEL_M) * LEVEL_M,
                round(mean.flow_m3_s / FLOW_M3_S) * FLOW_M3_S,
                SEEN_S * floor(mean.seen_s / SEEN_S + 1e-9),
            )
    return found


def kept_days(drains: Sequence[DrainPlan], sights: Sequence[Sight]) -> dict[str, Days]:
    """What had gone of the main drain on each of the last days, by chamber; written once a day."""
    return {
        drain.chamber: tuple(LOSS * round(day / LOSS) for day in sight.growth.days)
        for drain, sight in zip(drains, sights, strict=False)
        if sight.growth.days
    }


def begun(
    drains: Sequence[DrainPlan],
    kept_by_chamber: Mapping[str, Baseline],
    days_by_chamber: Mapping[str, Days],
) -> tuple[Sight, ...]:
    """What is known of each drain at the first look; a baseline that cannot be is learned anew."""
    return tuple(
        _begun(drain, kept_by_chamber.get(drain.chamber), days_by_chamber.get(drain.chamber, ()))
        for drain in drains
    )


def _begun(drain: DrainPlan, baseline: Baseline | None, days: Days) -> Sight:
    if baseline is None or drain.chart is None:
        return Sight()
    level_m, flow_m3_s, seen_s = baseline
    if drain.chart.share(level_m, flow_m3_s) <= 0.0:
        return Sight()
    mean = Mean(level_m, flow_m3_s, min(LEARN_S, seen_s))
    return Sight(detector=Detector(baseline=mean), growth=growth.begun(drain.chart, mean, days))
