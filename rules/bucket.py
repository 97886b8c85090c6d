"""A bucket and a clock: what timed runs say, and how far to believe it.

The doubt is put together as the Guide to the expression of uncertainty in measurement says
(JCGM 100:2008) for independent inputs of a product: relative standard uncertainties added as
squares (5.1.6), limits taken as rectangular (4.3.7), repeated runs as the deviation of their mean
(4.2.3), and widened to 95 times in 100 by Student's t for the effective degrees of freedom (G.4.1).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot, inf, sqrt

VOLUME_READING = 0.02
"""How far the mark of a bucket may be off, either way, as a share of its volume."""
CLOCK_READING_S = 0.3
"""How late or early a thumb may start the clock, and stop it [s]."""
PULSE_READING = 1.0
"""How many pulses may be missed or counted too many at the start, and at the end."""
RULER_READING_M = 0.002
"""How far a level read with a ruler may be off against the edge it stands over [m].

These four are our own estimates of what a careful person achieves; no source.
"""
METER_BELIEVED = (0.5, 2.0)
"""Pulses a volume over what the site file says, outside which somebody miscounted (own bounds)."""
SPREAD = "spread of the runs"

# Student's t, two-sided 95 %, by degrees of freedom; JCGM 100:2008, table G.2
_STUDENT_T = {
    1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 6: 2.45, 7: 2.36, 8: 2.31, 9: 2.26, 10: 2.23,
    11: 2.20, 12: 2.18, 13: 2.16, 14: 2.14, 15: 2.13, 16: 2.12, 17: 2.11, 18: 2.10, 19: 2.09,
    20: 2.09, 25: 2.06, 30: 2.04, 35: 2.03, 40: 2.02, 45: 2.01, 50: 2.01, 100: 1.984,
}  # fmt: skip
_NORMAL = 1.960


def effective_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Effective degrees of freedom of standard uncertainties, each with its own.

    u^4 / sum(u_i^4 / v_i), Welch and Satterthwaite; JCGM 100:2008, G.4.1.
    """
    weakness = sum(u**4 / freedom for u, freedom in parts if freedom < inf)
    whole = sum(u * u for u, _ in parts)
    return whole * whole / weakness if weakness > 0.0 else inf


def coverage(freedom: float) -> float:
    """Student's t for 95 times in 100, by the next lower degrees of freedom of the table."""
    if freedom == inf:
        return _NORMAL
    return _STUDENT_T[max(listed for listed in _STUDENT_T if listed <= max(1.0, freedom))]


@dataclass(frozen=True, slots=True)
class Found:
    """The mean of some runs, and where its doubt comes from.

    `parts` are standard uncertainties by their cause, as shares of the value.
    """

    value: float
    runs: int
    parts: Mapping[str, float]

    @property
    def coverage(self) -> float:
        """By what the standard uncertainty is widened to hold 95 times in 100."""
        freedom = {SPREAD: float(self.runs - 1)}
        return coverage(
            effective_freedom([(u, freedom.get(cause, inf)) for cause, u in self.parts.items()])
        )

    @property
    def tolerance(self) -> float:
        """How far the value may be off either way, 95 times in 100, as a share of it."""
        return self.coverage * hypot(*self.parts.values())

    def also(self, cause: str, limit: float) -> Found:
        """The same with one more cause of doubt, known by its limits either way, as a share."""
        return replace(self, parts={**self.parts, cause: limit / sqrt(3.0)})


def flow_of(runs: Sequence[tuple[float, float]]) -> Found:
    """Flow [m3/s] from runs of (volume [m3], time [s]); ValueError for a run of nothing."""
    if not runs or any(volume <= 0.0 or time_s <= 0.0 for volume, time_s in runs):
        raise ValueError("a run needs a volume and a time, each more than nought")
    flows = [volume / time_s for volume, time_s in runs]
    return _mean(flows, "clock", [CLOCK_READING_S / time_s for _, time_s in runs])


def pulses_of(runs: Sequence[tuple[float, float]]) -> Found:
    """Pulses a volume [1/m3] from runs of (volume [m3], pulses); ValueError for none."""
    if not runs or any(volume <= 0.0 or count <= 0.0 for volume, count in runs):
        raise ValueError("a run needs a volume and pulses, each more than nought")
    factors = [count / volume for volume, count in runs]
    return _mean(factors, "count", [PULSE_READING / count for _, count in runs])


def _mean(values: Sequence[float], cause: str, ends: Sequence[float]) -> Found:
    """The mean of runs with one bucket; `ends` limits each run's error at its start, and its end.

    The bucket is the same in all runs, so its error stays whole; those of the ends do not, so they
    shrink with the runs. They show in the spread as well: counted twice, on the careful side.
    """
    n = len(values)
    mean = sum(values) / n
    own = [value / mean * sqrt(2.0 / 3.0) * end for value, end in zip(values, ends, strict=True)]
    parts = {"bucket": VOLUME_READING / sqrt(3.0), cause: hypot(*own) / n}
    if n > 1:
        deviation = sqrt(sum((value - mean) ** 2 for value in values) / (n - 1))
        parts[SPREAD] = deviation / sqrt(n) / mean
    return Found(mean, n, parts)
