"""From contacts and pulse counts to readings with value, quality and age."""

from __future__ import annotations

from collections import deque
from math import nan

from daemon.ports import Board
from rules.signals import Quality, Reading
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, MainsSensor, Sensor

WET, DRY = Reading(1.0), Reading(0.0)


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


class Senses:
    """All sensors of a site, read through a board. One per guard."""

    def __init__(self, site: Site, board: Board) -> None:
        self._board = board
        self._meters: dict[str, _Meter] = {}
        self._contacts: dict[str, bool] = {}
        self._read_at_s: dict[str, float] = {}
        self._order = tuple(site.sensors)
        for key, sensor in site.sensors.items():
            if isinstance(sensor, FlowMeter):
                self._meters[key] = _Meter(sensor)
            else:
                self._contacts[key] = true_when_closed(sensor)

    def read(self, t_s: float) -> tuple[Reading, ...]:
        """Every sensor's reading at `t_s` [s], in the order of the site file."""
        return tuple(self._read_one(key, t_s) for key in self._order)

    def _read_one(self, key: str, t_s: float) -> Reading:
        try:
            meter = self._meters.get(key)
            if meter is not None:
                reading = meter.read(t_s, self._board.pulses(key))
            elif self._board.closed(key) is self._contacts[key]:
                reading = WET
            else:
                reading = DRY
        except OSError as error:
            age_s = t_s - self._read_at_s.get(key, t_s)
            return Reading(nan, Quality.BAD, age_s, f"it cannot be read ({error})")
        self._read_at_s[key] = t_s
        return reading
