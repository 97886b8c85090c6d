"""Which column of a recording belongs to what on a site."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass

from daemon.recording import format as form
from daemon.recording import measures
from daemon.recording.source import problem
from rules.site.model import Site

WALL = "time"
"""A time column of readings from elsewhere: date and time in ISO 8601."""

KNOWN_UNITS = frozenset({"on"}).union(*measures.UNITS.values())


@dataclass(frozen=True, slots=True)
class Measured:
    """A sensor's column: its place in a row, and the unit it is given in."""

    place: int
    column: str
    unit: str
    factor: float


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a file as a site sees them: sensors and outputs in the order of the site.

    `absent` are the sensors without a column, `unused` the columns that belong to nothing.
    """

    time: int
    by_wall: bool
    sensors: tuple[Measured | None, ...]
    outputs: tuple[int | None, ...]
    texts: dict[str, int]
    absent: tuple[str, ...]
    unused: tuple[str, ...]


def match(file: str, line: int, header: tuple[str, ...], site: Site, *, ours: bool) -> Columns:
    """Find the columns; raises InputError with a sentence.

    A recording of the guard's own may hold sensors that another site has not; in readings from
    elsewhere such a name is a mistake.
    """
    time = _time(file, line, header)
    sensors: dict[str, Measured] = {}
    outputs: dict[str, int] = {}
    unused = []
    for place, column in enumerate(header):
        if place == time or column in form.TEXTS:
            continue
        key, _, unit = column.rpartition(".")
        if unit == "on" and key in site.outputs:
            outputs[key] = place
        elif key in site.sensors:
            known = measures.UNITS[site.sensors[key].kind]
            if unit not in known:
                ways = " or ".join(f"{key}.{name}" for name in known)
                sentence = f"a sensor of kind {site.sensors[key].kind} is given as {ways}"
                raise problem(file, line, column, sentence)
            if key in sensors:
                sentence = f"{key} has two columns: {sensors[key].column} and this"
                raise problem(file, line, column, sentence)
            sensors[key] = Measured(place, column, unit, known[unit])
        elif unit in KNOWN_UNITS and key and not ours:
            raise problem(file, line, column, _unknown(key, unit, site))
        else:
            unused.append(column)
    if not sensors and site.sensors:
        example = ", ".join(measures.column_of(k, s) for k, s in list(site.sensors.items())[:2])
        sentence = f"no column belongs to a sensor of {site.site.name}; they are named {example}"
        raise problem(file, line, "", f"{sentence} and so on")
    return Columns(
        time,
        header[time] == WALL,
        tuple(sensors.get(key) for key in site.sensors),
        tuple(outputs.get(key) for key in site.outputs),
        {name: header.index(name) for name in form.TEXTS if ours and name in header},
        tuple(key for key in site.sensors if key not in sensors),
        tuple(unused),
    )


def _time(file: str, line: int, header: tuple[str, ...]) -> int:
    if len(header) == 1 and any(mark in header[0] for mark in ";\t"):
        sentence = "columns are separated by commas, and decimals have a point"
        raise problem(file, line, "", sentence)
    if twice := next(_twice(header), None):
        raise problem(file, line, twice, "there are two columns of this name")
    if not {form.TIME, WALL} & set(header):
        sentence = f"no column {form.TIME} (seconds), and none called {WALL} (ISO 8601)"
        raise problem(file, line, "", f"{sentence}: when was each row?")
    return header.index(form.TIME if form.TIME in header else WALL)


def _twice(header: tuple[str, ...]) -> Iterator[str]:
    return (name for place, name in enumerate(header) if name in header[:place])


def _unknown(key: str, unit: str, site: Site) -> str:
    thing, known = ("output", site.outputs) if unit == "on" else ("sensor", site.sensors)
    close = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    hint = f'; did you mean "{close[0]}"?' if close else f"; it has {', '.join(known)}"
    return f'{site.site.name} has no {thing} "{key}"{hint}'
