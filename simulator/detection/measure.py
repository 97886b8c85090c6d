"""Experiments: how long after a loss begins it is told, and how often one is told that is none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rules.site.model import Site
from simulator.campaign.poisson import interval
from simulator.detection.boxes import DAY_S, STEP_S, Boxes
from simulator.detection.detectors import Detectors, guarded
from simulator.detection.site import BOX, geometry

Array = npt.NDArray[np.float64]
Profile = Callable[[Array], Array]
"""The share of the main drain that is left, by the time since the loss began [s]."""
Tell = Callable[[str], None]

YEAR_S = 365.25 * DAY_S
BEGIN_S, SPREAD_S = 6.0 * 3600.0, 4.0 * 3600.0
"""A loss begins so long after the guard began, at a moment drawn from so long."""


def step_of(share: float) -> Profile:
    """All at once."""
    return lambda t_s: np.where(t_s >= 0.0, 1.0 - share, 1.0)


def ramp_of(share: float, over_s: float) -> Profile:
    """Little by little, in a straight line."""
    return lambda t_s: 1.0 - share * np.clip(t_s / over_s, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Told:
    """Of each box: when the loss was told and when the pump was to be cut, after it began [s],
    infinite where neither came; and for how long the guard could see of that, no pause and no start
    in the way. Boxes of which one was told before it began are left out, counted in `before`."""

    after_s: Array
    seen_s: Array
    cut_s: Array
    before: int

    def share_within(self, limit_s: float) -> float:
        """The share of boxes in which it was told within so long."""
        return float(np.mean(self.after_s <= limit_s))

    def share_seen_within(self, limit_s: float) -> float:
        """The same, of the time in which the guard could see."""
        return float(np.mean(self.seen_s <= limit_s))

    def share_cut(self) -> float:
        """The share of boxes in which the pump was to be cut at all."""
        return float(np.mean(np.isfinite(self.cut_s)))

    def share_in_time(self) -> float:
        """The share in which it was told half an hour, or half of the time, before a cut was due;
        of those in which one was."""
        due = np.isfinite(self.cut_s)
        left_s = np.minimum(1800.0, 0.5 * self.cut_s[due])
        return float(np.mean(self.after_s[due] <= self.cut_s[due] - left_s))

    def percentiles_s(self) -> tuple[float, float, float]:
        """Median, 95 in a hundred, worst [s]."""
        found = np.sort(self.after_s)
        return tuple(float(found[int(q * (len(found) - 1))]) for q in (0.5, 0.95, 1.0))  # type: ignore[return-value]


class Trial:
    """A site's boxes and its guard's detectors, from one seed."""

    def __init__(self, site: Site, count: int, seed: int) -> None:
        by = guarded(site, BOX)
        self.boxes = Boxes(geometry(site, by.flow_m3_s, by.below_m), count, seed)
        self.detectors = Detectors(by.chart, count)
        self.cut_m = by.cut_m
        self.read_m = np.zeros(count)
        self.seen = np.zeros(count, dtype=bool)

    def step(self, left: Array) -> npt.NDArray[np.bool_]:
        """Ten seconds on; where an alarm stands."""
        self.read_m, flow_m3_s, self.seen = self.boxes.step(left)
        self.detectors.step(self.read_m, flow_m3_s, STEP_S, self.seen)
        return self.detectors.lost | self.detectors.faded


def told(
    site: Site, profile: Profile, *, count: int, seed: int, begin_s: float, lasts_s: float
) -> Told:
    """When each of many boxes is told of a loss, watched for so long after it begins."""
    trial = Trial(site, count, seed)
    begins_s = begin_s + np.random.default_rng(seed + 1).uniform(0.0, SPREAD_S, count)
    after_s, cut_s, seen_s = np.full(count, np.inf), np.full(count, np.inf), np.zeros(count)
    before = np.zeros(count, dtype=bool)
    ends_s = begin_s + SPREAD_S + lasts_s
    while trial.boxes.t_s < ends_s:
        since_s = trial.boxes.t_s + STEP_S - begins_s
        stands = trial.step(profile(since_s))
        before |= stands & (since_s < 0.0)
        begun = since_s >= 0.0
        seen_s += STEP_S * (begun & trial.seen & np.isinf(after_s))
        after_s = np.where(stands & np.isinf(after_s) & begun, since_s, after_s)
        high = (trial.read_m >= trial.cut_m) & begun
        cut_s = np.where(high & np.isinf(cut_s), since_s, cut_s)
    seen_s = np.where(np.isfinite(after_s), seen_s, np.inf)
    sound = ~before
    return Told(after_s[sound], seen_s[sound], cut_s[sound], int(before.sum()))


@dataclass(frozen=True, slots=True)
class Healthy:
    """Alarms in boxes that lose nothing: `episodes` in so many site-years."""

    episodes: int
    years: float

    @property
    def a_year(self) -> float:
        """Episodes a site-year."""
        return self.episodes / self.years

    @property
    def between(self) -> tuple[float, float]:
        """The exact interval of that, 95 times in 100, as if they came one by one."""
        low, high = interval(self.episodes)
        return low / self.years, high / self.years


def healthy(site: Site, *, count: int, seed: int, days: float, tell: Tell) -> Healthy:
    """Episodes without any loss; `tell` is told of the progress."""
    trial = Trial(site, count, seed)
    clean, stood = np.ones(count), np.zeros(count, dtype=bool)
    episodes, steps = 0, int(days * DAY_S / STEP_S)
    for i in range(steps):
        stands = trial.step(clean)
        episodes += int(np.sum(stands & ~stood))
        stood = stands
        if i % max(1, steps // 20) == 0:
            done = i / steps
            tell(f"  {100 * done:3.0f} % of {count * days / 365.25:.0f} years, {episodes} episodes")
    return Healthy(episodes, count * steps * STEP_S / YEAR_S)
