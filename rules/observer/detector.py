"""Has the main drain lost capacity? One sample of level and flow after another.

The loss of a sample is reckoned against a reference that follows slowly. The flow is taken as the
larger of what is read and what was: only water that stands higher tells of a loss, never a meter
alone that has come to read less. From the losses four rules raise, each in the open:

- quick: 5 % in three samples on end, none of them falling fast: a surge dies away, a block stays;
- fast: 3 % for a whole minute;
- slow: a cumulative sum (CUSUM) over blocks of five minutes, for what is small and stays (Page
  1954; design and run lengths: Lucas and Crosier 1982, NIST/SEMATECH e-Handbook 6.3.2.3);
- faded: 8 % against the baseline, or half the way to where the drains fall short, in the mean of
  half an hour: a slow ramp that the reference has followed.

Each is raised further by what the samples scatter among themselves: a noisy sensor, or one that is
looked at seldom, makes the guard slower, not wrong.

The reference stands still while anything is suspected, and the baseline once it has been learned.
All times are those of the samples: what the guard could not see does not count.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isinf, pi, sqrt

from rules.observer.chart import Chart

SAMPLE_S = 10.0
"""A sample is the mean of so long, or of one look where looks are further apart [s]."""

REFERENCE_S = 7200.0
"""The reference is the mean of so long, exponentially weighed [s]. Shorter follows a drifting
meter better, and swallows more of a loss before it is seen."""

WARM_S = 900.0
"""A reference must have seen so much before losses are told by it [s]."""

QUICK, QUICK_SAMPLES, FALLING = 0.05, 3, 0.8
"""So large a loss in so many samples on end; one under this share of the one before begins anew."""

FAST, FAST_S = 0.03, 60.0
"""So large a loss for so long on end [s]."""

BLOCK_S = 300.0
UNIT, K, H = 0.012, 0.5, 4.0
"""The cumulative sum counts block means in units of this loss, each less K, and raises at H: from
losses of 0.6 % on it rises, and one of 1.8 % is seen in four blocks."""

SUSPECT_SUM = 1.0
"""From this sum on, and from a loss of FAST in one sample, the reference stands still."""

QUICK_NOISE, FAST_NOISE, BLOCK_NOISE = 4.0, 2.5, 2.0
"""No limit is nearer than so many standard deviations of a sample, and no unit smaller than so many
of a block's mean; more is fewer false alarms and later."""

SCATTER_SAMPLES = 60
"""The scatter is taken over so many samples."""

OVER, OVER_BLOCKS = 0.008, 4
"""A loss that stays under this in the mean of so many blocks on end is over."""

FADED, FADED_OVER = 0.08, 0.6
"""Absolute limit against the baseline, at the most; and the share of it under which it is over."""
FADED_LEAST = 0.03
FADED_S = 1800.0

LEARN_S, FREE_S = 2.0 * 86400.0, 6.0 * 3600.0
"""The baseline is the mean of so long [s]; after the second time it moves in bounds only."""
MOST_LEVEL_M_S, MOST_FLOW_S = 0.001 / 86400.0, 0.02 / 86400.0
"""Those bounds: a millimetre a day, and 2 % of the flow."""


@dataclass(frozen=True, slots=True)
class Mean:
    """Level [m] and flow [m3/s] in the mean, and how much it has seen [s]."""

    level_m: float = 0.0
    flow_m3_s: float = 0.0
    seen_s: float = 0.0

    def with_sample(self, level_m: float, flow_m3_s: float, lasted_s: float, most_s: float) -> Mean:
        """One more sample; the mean of all until `most_s`, exponentially weighed from then on."""
        seen_s = min(most_s, self.seen_s + lasted_s)
        part = min(1.0, lasted_s / seen_s)
        return Mean(
            self.level_m + part * (level_m - self.level_m),
            self.flow_m3_s + part * (flow_m3_s - self.flow_m3_s),
            seen_s,
        )


NEIGHBOURS = sqrt(pi) / 2.0

NOTHING = Mean()


@dataclass(frozen=True, slots=True)
class Detector:
    """All that is remembered of one drain from sample to sample; of a fixed size.

    `lost` tells of a loss against the reference, found at `lost_share`; `faded` of one against the
    baseline, `fading` as the mean of half an hour. `noise` is the standard deviation of one sample,
    from how far the last `samples` lay apart; `blocked` counts those of the block at hand.
    """

    reference: Mean = NOTHING
    baseline: Mean = NOTHING
    loss: float = 0.0
    noise: float = 0.0
    samples: int = 0
    quick: int = 0
    fast_s: float = 0.0
    block: float = 0.0
    block_s: float = 0.0
    blocked: int = 0
    total: float = 0.0
    over: int = 0
    lost: bool = False
    lost_share: float = 0.0
    fading: float = 0.0
    faded: bool = False

    def anew(self) -> Detector:
        """With all forgotten but the baseline, and how it fares against it."""
        return Detector(baseline=self.baseline, fading=self.fading, faded=self.faded)

    @property
    def warm(self) -> bool:
        """True once the reference has seen enough."""
        return self.reference.seen_s >= WARM_S

    @property
    def suspects(self) -> bool:
        """True while a loss is told of, or may be one."""
        if self.lost or self.faded or self.total >= SUSPECT_SUM:
            return True
        return self.loss >= max(FAST, FAST_NOISE * self.noise)


def cusum(total: float, score: float, k: float = K) -> float:
    """One step of the upper cumulative sum: C = max(0, C + z - k), z in standard deviations."""
    return max(0.0, total + score - k)


def loss_against(chart: Chart, mean: Mean, level_m: float, flow_m3_s: float) -> float:
    """By which share less is left of the drain than at `mean`; below nought if it is more."""
    off_m, factor = chart.off(mean.level_m, mean.flow_m3_s)
    before = chart.share(mean.level_m - off_m, mean.flow_m3_s / factor)
    if before <= 0.0:
        return 0.0
    flow_m3_s = max(flow_m3_s, mean.flow_m3_s) / factor
    return 1.0 - chart.share(level_m - off_m, flow_m3_s) / before


def faded_limit(chart: Chart, baseline: Mean) -> float:
    """The loss against the baseline from which on it is told."""
    if isinf(chart.short_m):
        return FADED
    half = 0.5 * loss_against(chart, baseline, chart.short_m, baseline.flow_m3_s)
    return min(FADED, max(FADED_LEAST, half))


def step(
    chart: Chart, before: Detector, level_m: float, flow_m3_s: float, lasted_s: float
) -> Detector:
    """One sample on: mean level and inflow of the last `lasted_s` [s]."""
    loss = 0.0
    if before.reference.seen_s > 0.0:
        loss = loss_against(chart, before.reference, level_m, flow_m3_s)
    if before.warm:
        after = _against_reference(before, loss, lasted_s)
    else:
        after = replace(before, loss=loss)
    samples = min(SCATTER_SAMPLES, before.samples + 1)
    # neighbours of a normal distribution lie 2 / sqrt(pi) standard deviations apart in the mean
    apart = (abs(loss - before.loss) * NEIGHBOURS - before.noise) / samples
    after = replace(after, samples=samples, noise=before.noise + apart)
    if not (after.warm and after.suspects):
        followed = after.reference.with_sample(level_m, flow_m3_s, lasted_s, REFERENCE_S)
        after = replace(after, reference=followed)
    return _against_baseline(chart, after, level_m, flow_m3_s, lasted_s)


def _against_reference(before: Detector, loss: float, lasted_s: float) -> Detector:
    stays = before.quick == 0 or loss >= FALLING * before.loss
    quick = (
        (before.quick + 1 if stays else 1) if loss >= max(QUICK, QUICK_NOISE * before.noise) else 0
    )
    # a sample that stands for a longer time is still only one
    fast_s = (
        before.fast_s + min(lasted_s, SAMPLE_S)
        if loss >= max(FAST, FAST_NOISE * before.noise)
        else 0.0
    )
    block, block_s = before.block + loss * lasted_s, before.block_s + lasted_s
    blocked = before.blocked + 1
    total, over, mean = before.total, before.over, loss
    if block_s >= BLOCK_S:
        mean = block / block_s
        total = min(H, cusum(total, mean / max(UNIT, BLOCK_NOISE * before.noise / sqrt(blocked))))
        over = over + 1 if mean < OVER else 0
        block, block_s, blocked = 0.0, 0.0, 0
    lost, lost_share = before.lost, before.lost_share
    if not lost:
        soon = quick >= QUICK_SAMPLES or fast_s >= FAST_S
        lost, lost_share = soon or total >= H, loss if soon else mean
    if before.lost and over >= OVER_BLOCKS:
        lost, total, quick, fast_s = False, 0.0, 0, 0.0
    return replace(
        before,
        loss=loss,
        quick=min(quick, QUICK_SAMPLES),
        fast_s=min(fast_s, FAST_S),
        block=block,
        block_s=block_s,
        blocked=blocked,
        total=total,
        over=min(over, OVER_BLOCKS) if lost else 0,
        lost=lost,
        lost_share=lost_share if lost else 0.0,
    )


def _against_baseline(
    chart: Chart, before: Detector, level_m: float, flow_m3_s: float, lasted_s: float
) -> Detector:
    """Learn the baseline, and hold the mean of half an hour against it."""
    baseline = before.baseline
    if baseline.seen_s < LEARN_S and not before.suspects:
        baseline = _learned(baseline, level_m, flow_m3_s, lasted_s)
    if baseline.seen_s < FREE_S:
        return replace(before, baseline=baseline)
    loss = loss_against(chart, baseline, level_m, flow_m3_s)
    fading = before.fading + min(1.0, lasted_s / FADED_S) * (loss - before.fading)
    limit = faded_limit(chart, baseline)
    faded = fading >= (FADED_OVER * limit if before.faded else limit)
    return replace(before, baseline=baseline, fading=fading, faded=faded)


def _learned(mean: Mean, level_m: float, flow_m3_s: float, lasted_s: float) -> Mean:
    free = mean.with_sample(level_m, flow_m3_s, lasted_s, LEARN_S)
    if mean.seen_s < FREE_S:
        return free
    most_m, most_m3_s = MOST_LEVEL_M_S * lasted_s, MOST_FLOW_S * lasted_s * mean.flow_m3_s
    return Mean(
        mean.level_m + max(-most_m, min(most_m, free.level_m - mean.level_m)),
        mean.flow_m3_s + max(-most_m3_s, min(most_m3_s, free.flow_m3_s - mean.flow_m3_s)),
        free.seen_s,
    )
