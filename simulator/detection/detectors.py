"""The guard's own detector, for many boxes at once: the arithmetic of `rules.observer.detector`.

A test holds it against that one, sample by sample. The only file here that knows the rules: what is
measured is theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf

import numpy as np
import numpy.typing as npt

from rules.engine import plan_for
from rules.observer import detector as rules
from rules.observer.chart import STEP_M, Chart
from rules.site.model import Site

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Guarded:
    """What the guard of a site goes by at one chamber: its chart, and the reading of the level
    sensor at which it cuts the pump. So that the boxes are of the same size, what comes there and
    the level below, above the datum, on a good day."""

    chart: Chart
    cut_m: float
    flow_m3_s: float
    below_m: float


def guarded(site: Site, chamber: str) -> Guarded:
    """It for a site; the chamber must have a level sensor."""
    plan = plan_for(site)
    drain = next(drain for drain in plan.drains if drain.chamber == chamber)
    assert drain.chart is not None, "no level sensor"
    below_m = plan.figures.running.levels_m[site.passages[drain.lead].to]
    cut_m = drain.chart.short_m
    if drain.witnesses.edges:  # while the level is seen to stay under a limit, the pump runs on
        carried = [limit_m - drain.chart.level_off_m for _, limit_m in drain.witnesses.levels]
        cut_m = max([cut_m, *carried])
    return Guarded(drain.chart, cut_m, drain.inflow_m3_s, below_m)


@dataclass(slots=True)
class _Mean:
    level_m: Array
    flow_m3_s: Array
    seen_s: Array

    def take(
        self, level_m: Array, flow_m3_s: Array, lasted_s: float, most_s: float, where: Flags
    ) -> None:
        seen_s = np.minimum(most_s, self.seen_s + lasted_s)
        part = np.where(where, np.minimum(1.0, lasted_s / seen_s), 0.0)
        self.level_m = self.level_m + part * (level_m - self.level_m)
        self.flow_m3_s = self.flow_m3_s + part * (flow_m3_s - self.flow_m3_s)
        self.seen_s = np.where(where, seen_s, self.seen_s)


class Detectors:
    """One detector for each of `count` boxes, all of them by one chart."""

    def __init__(self, chart: Chart, count: int) -> None:
        self._chart = chart
        self._lead = np.array(chart.lead_m3_s)
        self._rest = np.array(chart.rest_m3_s)
        self.reference, self.baseline = (
            _Mean(np.zeros(count), np.zeros(count), np.zeros(count)) for _ in range(2)
        )
        self.loss, self.noise, self.samples, self.quick, self.fast_s = np.zeros((5, count))
        self.block, self.block_s, self.blocked, self.total, self.over = np.zeros((5, count))
        self.fading = np.zeros(count)
        self.lost, self.faded = np.zeros((2, count), dtype=bool)

    def share(self, level_m: Array, flow_m3_s: Array) -> Array:
        """See `Chart.share`."""
        place = np.clip(level_m / STEP_M, 0.0, len(self._lead) - 1.000001)
        i = place.astype(np.intp)
        part = place - i
        lead = self._lead[i] + part * (self._lead[i + 1] - self._lead[i])
        rest = self._rest[i] + part * (self._rest[i + 1] - self._rest[i])
        left = np.maximum(0.0, (flow_m3_s - rest) / np.maximum(lead, 1e-9))
        return np.where(lead > 1e-9, left, 0.0)

    def _loss(self, mean: _Mean, level_m: Array, flow_m3_s: Array) -> Array:
        chart = self._chart
        off_m = np.clip(mean.level_m - chart.level_m, -chart.level_off_m, chart.level_off_m)
        factor = np.clip(
            mean.flow_m3_s / chart.flow_m3_s, 1.0 - chart.flow_off, 1.0 + chart.flow_off
        )
        before = self.share(mean.level_m - off_m, mean.flow_m3_s / factor)
        now = self.share(level_m - off_m, np.maximum(flow_m3_s, mean.flow_m3_s) / factor)
        return np.where(before > 0.0, 1.0 - now / np.maximum(before, 1e-12), 0.0)

    @property
    def warm(self) -> Flags:
        """See `Detector.warm`."""
        return self.reference.seen_s >= rules.WARM_S

    @property
    def suspects(self) -> Flags:
        """See `Detector.suspects`."""
        told = self.lost | self.faded | (self.total >= rules.SUSPECT_SUM)
        return told | (self.loss >= np.maximum(rules.FAST, rules.FAST_NOISE * self.noise))

    def step(self, level_m: Array, flow_m3_s: Array, lasted_s: float, seen: Flags) -> None:
        """One sample on, where it is seen."""
        begun = self.reference.seen_s > 0.0
        loss = np.where(begun, self._loss(self.reference, level_m, flow_m3_s), 0.0)
        warm = self.warm
        apart = np.abs(loss - self.loss) * rules.NEIGHBOURS - self.noise
        self._against_reference(loss, lasted_s, warm & seen)
        self.loss = np.where(seen, loss, self.loss)
        self.samples = np.where(
            seen, np.minimum(rules.SCATTER_SAMPLES, self.samples + 1.0), self.samples
        )
        self.noise = np.where(seen, self.noise + apart / np.maximum(self.samples, 1.0), self.noise)
        follows = seen & ~(warm & self.suspects)
        self.reference.take(level_m, flow_m3_s, lasted_s, rules.REFERENCE_S, follows)
        self._against_baseline(level_m, flow_m3_s, lasted_s, seen)

    def _against_reference(self, loss: Array, lasted_s: float, at: Flags) -> None:
        stays = (self.quick == 0.0) | (loss >= rules.FALLING * self.loss)
        large = loss >= np.maximum(rules.QUICK, rules.QUICK_NOISE * self.noise)
        quick = np.where(large, np.where(stays, self.quick + 1.0, 1.0), 0.0)
        some = loss >= np.maximum(rules.FAST, rules.FAST_NOISE * self.noise)
        fast_s = np.where(some, self.fast_s + min(lasted_s, rules.SAMPLE_S), 0.0)
        block, block_s = self.block + loss * lasted_s, self.block_s + lasted_s
        blocked, total, over = self.blocked + 1.0, self.total, self.over
        whole = block_s >= rules.BLOCK_S
        if whole.any():
            mean = block / block_s
            unit = np.maximum(rules.UNIT, rules.BLOCK_NOISE * self.noise / np.sqrt(blocked))
            grown = np.minimum(rules.H, np.maximum(0.0, total + mean / unit - rules.K))
            total = np.where(whole, grown, total)
            over = np.where(whole, np.where(mean < rules.OVER, over + 1.0, 0.0), over)
            block, block_s, blocked = (np.where(whole, 0.0, x) for x in (block, block_s, blocked))
        soon = (quick >= rules.QUICK_SAMPLES) | (fast_s >= rules.FAST_S)
        lost = self.lost | soon | (total >= rules.H)
        done = self.lost & (over >= rules.OVER_BLOCKS)
        lost, total = lost & ~done, np.where(done, 0.0, total)
        quick, fast_s = np.where(done, 0.0, quick), np.where(done, 0.0, fast_s)
        quick, fast_s = np.minimum(quick, rules.QUICK_SAMPLES), np.minimum(fast_s, rules.FAST_S)
        over = np.where(lost, np.minimum(over, rules.OVER_BLOCKS), 0.0)
        for name, new in (
            ("quick", quick), ("fast_s", fast_s), ("block", block), ("block_s", block_s),
            ("blocked", blocked), ("total", total), ("over", over), ("lost", lost),
        ):  # fmt: skip
            setattr(self, name, np.where(at, new, getattr(self, name)))

    def _against_baseline(
        self, level_m: Array, flow_m3_s: Array, lasted_s: float, seen: Flags
    ) -> None:
        self._learn(level_m, flow_m3_s, lasted_s, seen)
        at = seen & (self.baseline.seen_s >= rules.FREE_S)
        if not at.any():
            return
        loss = self._loss(self.baseline, level_m, flow_m3_s)
        moved = self.fading + min(1.0, lasted_s / rules.FADED_S) * (loss - self.fading)
        self.fading = np.where(at, moved, self.fading)
        limit = np.full(len(loss), rules.FADED)
        if not isinf(self._chart.short_m):
            short_m = np.full(len(loss), self._chart.short_m)
            half = 0.5 * self._loss(self.baseline, short_m, self.baseline.flow_m3_s)
            limit = np.minimum(rules.FADED, np.maximum(rules.FADED_LEAST, half))
        faded = self.fading >= np.where(self.faded, rules.FADED_OVER * limit, limit)
        self.faded = np.where(at, faded, self.faded)

    def _learn(self, level_m: Array, flow_m3_s: Array, lasted_s: float, seen: Flags) -> None:
        mean = self.baseline
        at = seen & ~self.suspects & (mean.seen_s < rules.LEARN_S)
        if not at.any():
            return
        old_m, old_m3_s, free = mean.level_m, mean.flow_m3_s, mean.seen_s < rules.FREE_S
        mean.take(level_m, flow_m3_s, lasted_s, rules.LEARN_S, at)
        most_m, most_m3_s = rules.MOST_LEVEL_M_S * lasted_s, rules.MOST_FLOW_S * lasted_s * old_m3_s
        bound_m = np.clip(mean.level_m - old_m, -most_m, most_m)
        bound_m3_s = np.clip(mean.flow_m3_s - old_m3_s, -most_m3_s, most_m3_s)
        mean.level_m = np.where(free, mean.level_m, old_m + bound_m)
        mean.flow_m3_s = np.where(free, mean.flow_m3_s, old_m3_s + bound_m3_s)
