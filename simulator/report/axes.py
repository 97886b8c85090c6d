"""Scales: where a time and a value lie in a drawing, and which of them are written beside it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, log10

from rules.site.show import GALLON_M3, INCH_M, Units

TIME_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200)
MOST_TICKS = 8
DAY_S = 86400.0
PAD_PX = 7.0


@dataclass(frozen=True, slots=True)
class Measure:
    """A unit to draw in: SI times `factor` gives numbers of it."""

    factor: float
    name: str


def heights(units: Units) -> Measure:
    """The unit of levels."""
    return Measure(1.0 / INCH_M, "in") if units is Units.US else Measure(1000.0, "mm")


def flows(units: Units) -> Measure:
    """The unit of flows."""
    if units is Units.US:
        return Measure(3600.0 / GALLON_M3, "gal/h")
    return Measure(60000.0, "l/min")


def volumes(units: Units) -> Measure:
    """The unit of water on the floor."""
    return Measure(1.0 / GALLON_M3, "gal") if units is Units.US else Measure(1000.0, "l")


def steps(low: float, high: float, most: int) -> list[float]:
    """Round numbers from `low` to `high`, at most `most` of them, one, two or five apart."""
    span = high - low
    if span <= 0.0:
        return [low]
    power = 10.0 ** floor(log10(span / most))
    for factor in (1.0, 2.0, 5.0, 10.0, 20.0):
        step = factor * power
        first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
        if last - first + 1 <= most:
            break
    return [i * step for i in range(first, last + 1)]


def written(values: list[float]) -> list[str]:
    """Numbers beside an axis, all with as many digits as their distance asks for."""
    gap = min((b - a for a, b in pairwise(values)), default=1.0)
    digits = max(0, -floor(log10(gap) + 1e-9)) if gap > 0 else 0
    return [f"{value:.{digits}f}" for value in values]


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from `low` at the foot to `high` at the head of a strip, `height_px` high."""

    low: float
    high: float
    height_px: float
    measure: Measure

    def y(self, value: float) -> float:
        """How far below the strip's head an SI value lies [px]; clipped to the strip."""
        share = (self.high - value) / (self.high - self.low)
        at = PAD_PX + share * (self.height_px - 2 * PAD_PX)
        return min(max(at, 0.0), self.height_px)

    def ticks(self) -> list[tuple[float, str]]:
        """Round values: where they lie [px], and as they are written."""
        factor = self.measure.factor
        most = max(2, int(self.height_px // 26))
        values = steps(self.low * factor, self.high * factor, most)
        return [(self.y(v / factor), said) for v, said in zip(values, written(values), strict=True)]


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of a night, from the start of the drill [s]; `clock_s` is the time of day then."""

    from_s: float
    to_s: float
    clock_s: float
    cause_s: float | None

    def share(self, t_s: float) -> float:
        """Where a time lies: 0 at the left edge, 1 at the right one; clipped."""
        return min(max((t_s - self.from_s) / (self.to_s - self.from_s), 0.0), 1.0)

    def percent(self, t_s: float) -> str:
        """The same, for an attribute."""
        return f"{self.share(t_s) * 100:.2f}%"

    def holds(self, t_s: float) -> bool:
        """True when a time lies in it."""
        return self.from_s <= t_s <= self.to_s

    @property
    def step_s(self) -> int:
        """Time between two marks on its axis [s]."""
        span = self.to_s - self.from_s
        return next((step for step in TIME_STEPS_S if span / step <= MOST_TICKS), 86400)

    def clock_ticks(self) -> list[tuple[float, str]]:
        """Round times of day in it: when [s], and as a clock shows them."""
        step = self.step_s
        first = ceil((self.from_s + self.clock_s) / step - 1e-9)
        last = floor((self.to_s + self.clock_s) / step + 1e-9)
        return [
            (i * step - self.clock_s, clock(i * step, seconds=step < 60))
            for i in range(first, last + 1)
        ]

    def cause_ticks(self) -> list[tuple[float, str]]:
        """Round times before and after the cause; empty where nothing goes wrong."""
        if self.cause_s is None:
            return []
        step = self.step_s
        first = ceil((self.from_s - self.cause_s) / step - 1e-9)
        last = floor((self.to_s - self.cause_s) / step + 1e-9)
        return [(self.cause_s + i * step, since(i * step)) for i in range(first, last + 1)]


def clock(t_s: float, *, seconds: bool = True) -> str:
    """A time of day, as a clock shows it."""
    whole = floor(t_s + 1e-6) % int(DAY_S)
    shown = f"{whole // 3600:02d}:{whole % 3600 // 60:02d}"
    return f"{shown}:{whole % 60:02d}" if seconds else shown


def since(t_s: float) -> str:
    """A time before or after the cause, short enough for an axis."""
    sign = "−" if t_s < 0 else "+"
    whole = abs(round(t_s))
    if whole == 0:
        return "0"
    if whole % 3600 == 0:
        return f"{sign}{whole // 3600} h"
    if whole > 3600:
        return f"{sign}{whole // 3600}:{whole % 3600 // 60:02d} h"
    if whole % 60 == 0:
        return f"{sign}{whole // 60} min"
    if whole > 60:
        return f"{sign}{whole // 60}:{whole % 60:02d}"
    return f"{sign}{whole} s"


def start_of_day_s(starts_at: str) -> float:
    """When a drill begins, from midnight [s]."""
    hours, minutes = starts_at.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0
