"""Does the main drain close slowly, and when does it reach its limit? A straight line through days.

What has gone of it against the baseline is averaged over a day, so that feeding, evaporation and
the warmth of the lamps are in every figure alike. Through the last fortnight of such means goes a
straight line, by least squares. A day is one of samples: what the guard could not see does not
count, so that the days that are told to be left are rather too few.

A day's mean under nought counts as nought: a meter that reads more than flows would hide a loss,
and one that finds its way back would look like one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, isinf, sqrt

from rules.observer.chart import Chart
from rules.observer.detector import LEARN_S, Detector, Mean, loss_against

DAY_S = 86400.0

DAYS, LEAST_DAYS = 14, 3
"""The line goes through so many days' means at most, and at least."""

NOISE = 0.003
"""The days' means scatter by at least this, however well they lie on the line [share of the drain]:
a sixth of a millimetre at the level sensor. Less is stricter; an own estimate."""

SURE = 3.0
"""A slope counts from so many of its standard errors on; less is stricter."""

GONE = 0.02
"""As long as less has gone, nothing is told: a level sensor may have crept by half a millimetre.
Less is stricter."""

TOLD_DAYS, QUIET_DAYS = 21.0, 42.0
"""It is told when the limit is this near, and no longer when it is further than that [days]; more
is stricter."""

CLEANED, CLEANED_S = 0.5, 7200.0
"""It has been cleaned when under this share of the last day's loss is left for so long [s]."""

CLOSING_S = 120.0
"""So long before a day is full its next sample is wanted in time [s]."""


@dataclass(frozen=True, slots=True)
class Trend:
    """The line: what has gone at its end, and how much more goes a day, give or take `off_a_day`;
    all shares of the clean drain. `limit` is what may go at the most."""

    gone: float
    a_day: float
    off_a_day: float
    limit: float

    @property
    def sure(self) -> bool:
        """True if it surely closes, and more has gone than a sensor creeps."""
        return self.gone >= GONE and self.a_day > self.off_a_day

    @property
    def left_days(self) -> float:
        """How long until its limit [days]; infinite while nothing is sure."""
        return self._left(self.a_day) if self.sure else inf

    @property
    def band_days(self) -> tuple[float, float]:
        """The least and the most of it [days]."""
        if not self.sure:
            return inf, inf
        return self._left(self.a_day + self.off_a_day), self._left(self.a_day - self.off_a_day)

    def _left(self, a_day: float) -> float:
        return max(0.0, self.limit - self.gone) / a_day


@dataclass(frozen=True, slots=True)
class Growth:
    """What is remembered of one drain: `days`, each the mean loss of a day, the newest last, and
    the day at hand; of a fixed size. `told` is the line that is told of, if any; `back_s` is for
    how long the drain has been as if cleaned [s]."""

    days: tuple[float, ...] = ()
    loss_s: float = 0.0
    seen_s: float = 0.0
    back_s: float = 0.0
    told: Trend | None = None

    @property
    def closing(self) -> bool:
        """True while the day at hand is nearly full."""
        return self.seen_s >= DAY_S - CLOSING_S


NEW = Growth()


def step(chart: Chart, growth: Growth, detector: Detector, lasted_s: float) -> Growth:
    """One sample of the detector on; nothing is gathered before the baseline has been learned."""
    if detector.baseline.seen_s < LEARN_S:
        return growth
    before = growth.days[-1] if growth.days else 0.0
    back_s = 0.0
    if before >= GONE and detector.fading < CLEANED * before:
        back_s = growth.back_s + lasted_s
        if back_s >= CLEANED_S:
            return NEW
    seen_s = growth.seen_s + lasted_s
    loss_s = growth.loss_s + detector.fading * lasted_s
    if seen_s < DAY_S:
        return Growth(growth.days, loss_s, seen_s, back_s, growth.told)
    days = (*growth.days, max(0.0, loss_s / seen_s))[-DAYS:]
    trend = line(days, limit(chart, detector.baseline))
    within = TOLD_DAYS if growth.told is None else QUIET_DAYS
    told = trend if trend is not None and trend.left_days <= within else None
    return Growth(days, back_s=back_s, told=told)


def begun(chart: Chart, baseline: Mean, days: Sequence[float]) -> Growth:
    """What is known at the first look of a guard that begins with what an earlier run left."""
    if baseline.seen_s < LEARN_S:
        return NEW
    its = Growth(tuple(days)[-DAYS:])
    trend = line(its.days, limit(chart, baseline))
    return replace(its, told=trend) if trend is not None and trend.left_days <= TOLD_DAYS else its


def limit(chart: Chart, baseline: Mean) -> float:
    """The loss at which the drains fall short by their margin; all of it where they never do."""
    if isinf(chart.short_m):
        return 1.0
    return loss_against(chart, baseline, chart.short_m, baseline.flow_m3_s)


def line(days: Sequence[float], limit_share: float) -> Trend | None:
    """The straight line of least squares through the means of days; None through too few.

    Slope b = Sxy / Sxx with the standard error s / sqrt(Sxx), s^2 = (Syy - b Sxy) / (n - 2): any
    textbook of statistics, for instance NIST/SEMATECH e-Handbook 4.1.4.1. It is read at the end of
    the last day, half a day after the middle of its mean.
    """
    n = len(days)
    if n < LEAST_DAYS:
        return None
    middle, mean = (n - 1) / 2.0, sum(days) / n
    sxx = sum((i - middle) ** 2 for i in range(n))
    a_day = sum((i - middle) * (day - mean) for i, day in enumerate(days)) / sxx
    square = sum((day - mean - a_day * (i - middle)) ** 2 for i, day in enumerate(days))
    scatter = max(NOISE, sqrt(square / (n - 2)))
    gone = max(0.0, mean + a_day * (n / 2.0))
    return Trend(gone, a_day, SURE * scatter / sqrt(sxx), limit_share)
