"""Reading recordings, and tables of readings from elsewhere, row by row."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite, isnan, nan
from pathlib import Path
from typing import Any, ClassVar

from daemon.recording import format as form
from daemon.recording import measures
from daemon.recording.columns import Columns, Measured, match
from daemon.recording.format import Head, Said
from daemon.recording.source import Progress, lines, problem
from rules.signals import Command, Quality, Reading
from rules.site.model import Site
from rules.site.parse import parse_site

NO_VALUE = Reading(nan, Quality.BAD, 0.0, "the recording has no value")
_WET, _DRY = Reading(1.0), Reading(0.0)


@dataclass(frozen=True, slots=True)
class Row:
    """One row. `readings` follow the site's sensors, None for one that has no column; `on` its
    outputs as they were commanded. `remembered` is the text of what a guard that begins here
    remembered; `passed_s` is up to when looks were left out before it."""

    line: int
    t_s: float
    readings: tuple[Reading | None, ...]
    on: tuple[bool | None, ...]
    dropped: tuple[bool, ...]
    commands: tuple[Command, ...] = ()
    said: tuple[Said, ...] = ()
    remembered: str = ""
    passed_s: float | None = None


class Recording:
    """A file whose head has been read; `rows` may be called again and again.

    `head` is None for readings from elsewhere. After `rows` has come to its end, `whole` tells
    whether the file did too.
    """

    def __init__(self, path: Path) -> None:
        """Read the head; raises InputError with a sentence."""
        self.path = path
        self.file = str(path)
        self.head: Head | None = None
        self.whole = True
        self._header: tuple[str, ...] = ()
        self._header_line = 0
        self._read_head()

    @property
    def ours(self) -> bool:
        """True for a recording of a guard, and not readings from elsewhere."""
        return self.head is not None

    def own_site(self) -> Site:
        """The site that was recorded; raises InputError, or SiteError with sentences."""
        if self.head is None or not self.head.site_text.strip():
            sentence = "holds no site file of its own: name the one it belongs to with --site"
            raise problem(self.file, 0, "", sentence)
        return parse_site(self.head.site_text, f"{self.file}, its site file")

    def columns(self, site: Site) -> Columns:
        """What belongs to what on a site; raises InputError with a sentence."""
        return match(self.file, self._header_line, self._header, site, ours=self.ours)

    def rows(self, site: Site, progress: Progress | None = None) -> Iterator[Row]:
        """Every row, for a site; raises InputError with a sentence."""
        columns = self.columns(site)
        decoder = _Decoder(self.file, self._header, columns, site)
        remembered, passed_s, count = "", None, 0
        self.whole = not self.ours
        for number, text in lines(self.path, progress):
            if text.startswith("#"):
                if self.ours and text.startswith(form.MEMORY):
                    remembered = text.removeprefix(form.MEMORY)
                if self.ours and text.startswith(form.PASSED):
                    passed_s = self._passed_s(number, text.removeprefix(form.PASSED))
                self.whole = self.whole or text == form.end_line(count)
            elif number > self._header_line and text.strip():
                row = decoder.row(number, text)
                if remembered or passed_s is not None:
                    row = replace(row, remembered=remembered, passed_s=passed_s)
                yield row
                remembered, passed_s, count = "", None, count + 1
        if not count:
            raise problem(self.file, 0, "", "has a header and no rows")

    def _read_head(self) -> None:
        said: dict[str, str] = {}
        site_lines = []
        ours = False
        for number, text in lines(self.path):
            if number == 1 and text.startswith(form.MAGIC):
                ours = True
                self._check_version(text.removeprefix(form.MAGIC).strip())
            elif text.startswith(form.SITE):
                site_lines.append(text.removeprefix(form.SITE))
            elif text.startswith("#"):
                key, found, value = text[1:].partition(":")
                if found:
                    said.setdefault(key.strip(), value.removeprefix(" "))
            elif text.strip():
                self._header = tuple(name.strip() for name in _cells(self.file, number, text))
                self._header_line = number
                break
        if not self._header:
            raise problem(self.file, 0, "", "is empty: there is no header and there are no rows")
        if ours:
            try:
                self.head = Head.of(said, "\n".join(site_lines))
            except ValueError as error:
                raise problem(self.file, 0, "", str(error)) from None

    def _passed_s(self, number: int, text: str) -> float:
        try:
            return _number(text)
        except ValueError as error:
            raise problem(self.file, number, "", str(error)) from None

    def _check_version(self, text: str) -> None:
        if text != str(form.VERSION):
            sentence = f'its format is "{text[:20]}"; this version of Weirkeeper reads format 1'
            raise problem(self.file, 1, "", sentence)


def _cells(file: str, number: int, text: str) -> list[str]:
    if '"' not in text:
        return text.split(",")
    try:
        return next(csv.reader([text], strict=True))
    except csv.Error as error:
        raise problem(file, number, "", f"quotes that do not match ({error})") from None


class _Decoder:
    """Turns lines into rows, and knows which row came before."""

    _READ: ClassVar[dict[str, Callable[[str], Any]]] = {
        form.DROPPED: str.split,
        form.COMMANDS: form.read_commands,
        form.EVENTS: form.read_events,
        form.NOTES: form.read_notes,
    }

    def __init__(self, file: str, header: tuple[str, ...], columns: Columns, site: Site) -> None:
        self._file, self._header, self._columns = file, header, columns
        self._sensors, self._outputs = tuple(site.sensors), tuple(site.outputs)
        self._none_dropped = (False,) * len(self._outputs)
        self._before: tuple[int, float] | None = None
        self._first: datetime | None = None

    def row(self, number: int, text: str) -> Row:
        """The row in a line; raises InputError."""
        cells = _cells(self._file, number, text)
        if len(cells) != len(self._header):
            sentence = f"{len(cells)} values under a header of {len(self._header)} columns"
            raise problem(self._file, number, "", sentence)
        columns, place = self._columns, -1
        try:
            place = columns.time
            t_s = self._time(number, cells[place])
            readings: list[Reading | None] = []
            for measured in columns.sensors:
                place = measured.place if measured else -1
                readings.append(None if measured is None else _reading(cells[place], measured))
            on: list[bool | None] = []
            for place in (-1 if p is None else p for p in columns.outputs):
                on.append(None if place < 0 else _on(cells[place]))
            texts = {}
            for name, place in columns.texts.items():
                if cells[place]:
                    texts[name] = self._READ[name](cells[place])
        except ValueError as error:
            column = self._header[place] if place >= 0 else ""
            raise problem(self._file, number, column, str(error)) from None
        notes = texts.get(form.NOTES, {})
        for i, key in enumerate(self._sensors) if notes else ():
            reading = readings[i]
            if reading is not None and key in notes:
                readings[i] = Reading(reading.value, *notes[key])
        gone = texts.get(form.DROPPED)
        dropped = tuple(key in gone for key in self._outputs) if gone else self._none_dropped
        commands, said = texts.get(form.COMMANDS, ()), texts.get(form.EVENTS, ())
        return Row(number, t_s, tuple(readings), tuple(on), dropped, commands, said)

    def _time(self, number: int, cell: str) -> float:
        t_s = self._wall_s(cell) if self._columns.by_wall else _number(cell)
        if not isfinite(t_s):
            raise ValueError(f'"{cell}" is no time')
        if self._before is not None and t_s <= self._before[1]:
            line, before_s = self._before
            word = "runs backwards" if t_s < before_s else "stands still"
            raise ValueError(f"time {word}: {t_s!r} s after {before_s!r} s in line {line}")
        self._before = number, t_s
        return t_s

    def _wall_s(self, cell: str) -> float:
        try:
            wall = datetime.fromisoformat(cell.strip())
            self._first = self._first or wall
            return (wall - self._first).total_seconds()
        except ValueError:
            raise ValueError(f'"{cell[:40]}" is no date and time in ISO 8601') from None
        except TypeError:
            sentence = "some times have an offset from UTC and some have not"
            raise ValueError(sentence) from None


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        raise ValueError(f'"{cell[:40]}" is no number of seconds') from None


def _reading(cell: str, measured: Measured) -> Reading:
    if measured.unit in measures.CONTACTS:
        if cell == "0":
            return _DRY
        if cell == "1":
            return _WET
    value = measures.read(cell, measured.unit, measured.factor)
    return NO_VALUE if isnan(value) else Reading(value)


def _on(cell: str) -> bool | None:
    if cell in ("0", "1"):
        return cell == "1"
    value = measures.read(cell, "on", 1.0)
    if isnan(value):
        return None
    if value not in (0.0, 1.0):
        raise ValueError(f"{cell.strip()} is neither 1 (on) nor 0")
    return value == 1.0
