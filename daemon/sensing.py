"""From contacts, pulse counts and shares of a range to readings with value, quality and age."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from math import isfinite, nan
from statistics import median_low

from daemon.ports import Board
from rules.signals import Quality, Reading
from rules.site.model import Site
from rules.site.sensors import (
    ENDS,
    FloatSwitch,
    FlowMeter,
    LeakSensor,
    LevelSensor,
    MainsSensor,
    Sensor,
)

WET, DRY = Reading(1.0), Reading(0.0)

BEYOND = 2.0
"""A level beyond bottom or rim by more than its tolerance is doubtful, by more than this many times
that much more it is none."""


def true_when_closed(sensor: Sensor) -> bool:
    """True when a closed contact means wet, or supply present."""
    match sensor:
        case FloatSwitch():
            return sensor.wet_when_closed
        case LeakSensor():
            return sensor.closed_when == "wet"
        case MainsSensor():
            return sensor.closed_when == "present"
        case FlowMeter():
            raise TypeError("a flow meter gives pulses, not a state")
        case LevelSensor():
            raise TypeError("a level sensor gives a share of a range, not a state")


class _Meter:
    """The flow over a sliding window, from a pulse count that only grows."""

    def __init__(self, meter: FlowMeter) -> None:
        self._pulses_per_m3 = meter.pulses
        self._window_s = meter.window
        self._silent_s = meter.silent_after
        self._counts: deque[tuple[float, int]] = deque()
        self._last_pulse_s: float | None = None

    def read(self, t_s: float, count: int) -> Reading:
        counts = self._counts
        if counts and count < counts[-1][1]:
            counts.clear()
            return Reading(nan, Quality.BAD, 0.0, "its pulse count went backwards")
        if self._last_pulse_s is None or (counts and count > counts[-1][1]):
            self._last_pulse_s = t_s
        counts.append((t_s, count))
        while len(counts) > 2 and t_s - counts[1][0] >= self._window_s:
            counts.popleft()
        silent_s = t_s - self._last_pulse_s
        if silent_s >= self._silent_s:
            return Reading(0.0, Quality.GOOD, 0.0)
        span_s = t_s - counts[0][0]
        if span_s <= 0.0:
            return Reading(0.0, Quality.UNCERTAIN, 0.0, "it has just begun to count")
        flow = (count - counts[0][1]) / self._pulses_per_m3 / span_s
        return Reading(flow, Quality.GOOD, silent_s)


class _Level:
    """The level at a sensor: the middle one of its readings over a short window.

    The middle one follows a real change after half the window, and takes no notice of a spark.
    """

    def __init__(self, sensor: LevelSensor, rim_m: float) -> None:
        self._sensor = sensor
        self._rim_m = rim_m
        self._shares: deque[tuple[float, float]] = deque()

    def read(self, t_s: float, share: float) -> Reading:
        if not isfinite(share):
            return Reading(nan, Quality.BAD, 0.0, "its converter gives no number")
        shares = self._shares
        shares.append((t_s, share))
        while t_s - shares[0][0] >= self._sensor.filter:
            shares.popleft()
        middle = median_low(value for _, value in shares)
        if not ENDS < middle < 1.0 - ENDS:
            end = "bottom" if middle <= ENDS else "top"
            why = f"it reads the {end} of its converter's range: a broken wire, or no supply"
            return Reading(nan, Quality.BAD, 0.0, why)
        return self._judged(self._sensor.level_m(middle))

    def _judged(self, level_m: float) -> Reading:
        beyond_m = max(-level_m, level_m - self._rim_m) - self._sensor.tolerance
        if beyond_m <= 0.0:
            return Reading(level_m)
        why = f"it reads {abs(level_m) * 1000:.0f} mm below the bottom of its chamber"
        if level_m > 0.0:
            why = f"it reads {(level_m - self._rim_m) * 1000:.0f} mm above the rim of its chamber"
        if beyond_m > BEYOND * self._sensor.tolerance:
            return Reading(nan, Quality.BAD, 0.0, why)
        return Reading(level_m, Quality.UNCERTAIN, 0.0, why)


class Senses:
    """All sensors of a site, read through a board. One per guard."""

    def __init__(self, site: Site, board: Board) -> None:
        self._board = board
        self._meters: dict[str, _Meter] = {}
        self._levels: dict[str, _Level] = {}
        self._contacts: dict[str, bool] = {}
        self._read_at_s: dict[str, float] = {}
        self._order = tuple(site.sensors)
        for key, sensor in site.sensors.items():
            if isinstance(sensor, FlowMeter):
                self._meters[key] = _Meter(sensor)
            elif isinstance(sensor, LevelSensor):
                self._levels[key] = _Level(sensor, site.chambers[sensor.chamber].rim)
            else:
                self._contacts[key] = true_when_closed(sensor)

    def read(self, t_s: float) -> tuple[Reading, ...]:
        """Every sensor's reading at `t_s` [s], in the order of the site file."""
        return tuple(self._read_one(key, t_s) for key in self._order)

    def _read_one(self, key: str, t_s: float) -> Reading:
        try:
            if (meter := self._meters.get(key)) is not None:
                reading = meter.read(t_s, self._board.pulses(key))
            elif (level := self._levels.get(key)) is not None:
                reading = level.read(t_s, self._board.analog(key))
            elif self._board.closed(key) is self._contacts[key]:
                reading = WET
            else:
                reading = DRY
        except OSError as error:
            age_s = t_s - self._read_at_s.get(key, t_s)
            return Reading(nan, Quality.BAD, age_s, f"it cannot be read ({error})")
        if reading.quality is Quality.BAD and key in self._levels:
            return replace(reading, age_s=t_s - self._read_at_s.get(key, t_s))
        self._read_at_s[key] = t_s
        return reading
