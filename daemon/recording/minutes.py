"""What a guard saw and did within each minute, as one row of a day's record: see `days`."""

from __future__ import annotations

from datetime import UTC, timedelta
from math import inf, isnan

from daemon.recording import format as form
from daemon.recording import measures
from daemon.recording.blocks import Look
from rules.signals import TICK_S, EventKind
from rules.site.model import Site
from rules.site.sensors import Sensor

LONGEST_S = 60.0
"""What a look counts for at most [s]: after a guard that was held up nobody knows what was."""

MINUTE = timedelta(minutes=1)


class _Share:
    """The share of time for which a contact, or an output, was on."""

    names = ("",)

    def __init__(self) -> None:
        self._on_s = self._known_s = 0.0

    def add(self, value: float, lasts_s: float) -> None:
        self._known_s += lasts_s
        self._on_s += value * lasts_s

    def cells(self) -> list[str]:
        return [f"{self._on_s / self._known_s:.3g}" if self._known_s else ""]


class _Spread:
    """The least, mean and most of a value."""

    names = (".least", ".mean", ".most")

    def __init__(self) -> None:
        self._least, self._most = inf, -inf
        self._sum = self._known_s = 0.0

    def add(self, value: float, lasts_s: float) -> None:
        self._least, self._most = min(self._least, value), max(self._most, value)
        self._known_s += lasts_s
        self._sum += value * lasts_s

    def cells(self) -> list[str]:
        if not self._known_s:
            return ["", "", ""]
        return [f"{value:.5g}" for value in (self._least, self._sum / self._known_s, self._most)]


class _Minute:
    """One minute of a site, from the first look within it."""

    def __init__(self, site: Site, look: Look) -> None:
        self.began = look.wall.astimezone(UTC).replace(second=0, microsecond=0)
        self.first_s = look.seen.t_s
        self.looks = self.raised = self.standing = 0
        self.read = [_gathering(sensor)() for sensor in site.sensors.values()]
        self.driven = [_Share() for _ in site.outputs]

    def take(self, look: Look, lasts_s: float) -> None:
        """Take in a look that counts for so long [s]."""
        self.looks += 1
        for gathered, reading in zip(self.read, look.seen.readings, strict=True):
            if not isnan(reading.value):
                gathered.add(reading.value, lasts_s)
        for share, on in zip(self.driven, look.outputs, strict=True):
            share.add(float(on), lasts_s)
        self.raised += sum(event.kind is EventKind.ALARM_RAISED for event in look.events)
        self.standing = max(self.standing, look.alarms)

    def row(self) -> str:
        """The minute as a line."""
        cells = [self.began.strftime("%Y-%m-%dT%H:%M:%SZ"), f"{self.first_s:.1f}", str(self.looks)]
        for gathered in (*self.read, *self.driven):
            cells += gathered.cells()
        return ",".join([*cells, str(self.raised), str(self.standing)])


class Minutes:
    """Gathers looks into rows; a row ends when the minute on the wall clock does."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._now: _Minute | None = None
        self._last_s: float | None = None

    def take(self, look: Look) -> tuple[str, str] | None:
        """Take one look in; returns the row of the minute that is over, and its date first."""
        ended = None
        if self._now is None or not self._now.began <= look.wall < self._now.began + MINUTE:
            ended = self.end()
            self._now = _Minute(self._site, look)
        t_s = look.seen.t_s
        lasts_s = TICK_S if self._last_s is None else min(LONGEST_S, t_s - self._last_s)
        self._last_s = t_s
        self._now.take(look, lasts_s)
        return ended

    def end(self) -> tuple[str, str] | None:
        """The row of a minute that is over, or broken off, and its date; None before any look."""
        now, self._now = self._now, None
        return None if now is None else (now.began.date().isoformat(), now.row())


def header(site: Site) -> str:
    """The names of the columns of a site's days."""
    columns = ["time", form.TIME, "looks"]
    for key, sensor in site.sensors.items():
        columns += [measures.column_of(key, sensor) + name for name in _gathering(sensor).names]
    columns += [f"{key}.on" for key in site.outputs]
    return ",".join([*columns, "alarms.raised", "alarms.standing"])


def _gathering(sensor: Sensor) -> type[_Share] | type[_Spread]:
    unit = next(iter(measures.UNITS[sensor.kind]))
    return _Share if unit in measures.CONTACTS else _Spread
