"""The format of a recording, version 1.

A recording is one text file, CSV in UTF-8, plain (.csv) or compressed (.csv.gz). It is whole in
itself: the site file it was made with stands in it. `pandas.read_csv(path, comment="#")` reads it.

    # weirkeeper recording 1          the format and its version
    # site: classroom                 id of the site
    # boot: 5f2c91                    id of the run of the guard that made the first row
    # began: 2026-02-03T02:40:00+01:00  the clock on the wall at t_s = 0, where it is known
    # clock: not synchronised         whether that clock followed a time source, where that is known
    # source: pins                    where the signals came from; "sim+..." is a simulator
    # without: leak                   hazards that were taken out of the guard, where any were
    # story: ...                      what the recording is of, where somebody said it
    #|[site]                          the site file, line by line
    #={"rows": ...}                   what the guard remembered before the row that follows
    t_s,display-high.wet,...          the header
    0.1,0,...                         one row for every look of the guard
    #!812.3,1,...                     a look at which the guard itself failed, where there was one
    # end: 8000 rows                  written last; without it the file was cut short

Columns, in this order:

    t_s           monotonic time since the guard began [s]; it only ever grows
    SENSOR.UNIT   one a sensor, in the order of the site file: .wet and .present are 1 or 0, .m3_s
                  is a flow, .m a level above the chamber's bottom; empty where it gave no number
    OUTPUT.on     one an output, as the guard commanded it at this look: 1 or 0
    dropped       outputs whose lease ran out before this look, with spaces between
    commands      orders of people: order:code:origin:person
    events        what the guard said: kind:subject:row:text
    notes         readings that are more than a value: sensor:QUALITY:age:why

The last four are empty nearly always. Several entries of one cell stand with ";" between them.
Whatever could be taken for a separator, a quote or a comment (`%`, `,`, `;`, `:`, `"`, `#`, line
ends, letters beyond ASCII) is written as `%` and two hexadecimal digits for each byte of UTF-8, as
in a URL; so no cell needs quotes, and no line end inside a text is one of the file.

Numbers are in SI and written with as many digits as bring back the same number: the guard, given
the rows again, decides the same to the bit. For the same reason every look of the guard is a row,
also in a quiet night: filters and timers count looks and the time between them, and a flow differs
at nearly every look, so that little could be left out and much would have to be proven.

A "#>" line, which only simulated nights have, gives a time up to which looks were left out before
the row that follows, because the guard itself told that they would have changed nothing.

A "#=" line stands before the first row, and again before the first row of a guard that was started
anew, or after looks that were lost. It is JSON: the ids of sensors, pumps and rows of the matrix,
and the memory in their order.

A "#!" line is the row of a look after which the guard ended because a part of it failed: nothing
was decided at it, every output went off, and a replay takes no notice of it. Without the "#!" it is
a row like any other, with which to look for the mistake.

The running guard writes such files by itself: see `daemon.flight`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import isnan
from typing import Self
from urllib.parse import quote, unquote

from rules.signals import Command, Event, Order, Origin, Quality, Reading

MAGIC = "# weirkeeper recording"
VERSION = 1
SITE, MEMORY, PASSED, FAILED, END = "#|", "#=", "#>", "#!", "# end:"
TIME, DROPPED, COMMANDS, EVENTS, NOTES = "t_s", "dropped", "commands", "events", "notes"
TEXTS = (DROPPED, COMMANDS, EVENTS, NOTES)

_CLOCK: dict[bool | None, str] = {True: "synchronised", False: "not synchronised"}

_AS_IT_IS = " !$&'()*+/<=>?@[]^`{|}"


@dataclass(frozen=True, slots=True)
class Head:
    """What a recording says of itself. `began` is the wall clock at t_s = 0, if it is known, and
    `synchronised` whether it followed a time source."""

    site_id: str
    site_text: str
    boot: str
    source: str = ""
    began: datetime | None = None
    without: tuple[str, ...] = ()
    story: str = ""
    synchronised: bool | None = None

    def lines(self) -> list[str]:
        """The comment lines at the top of the file."""
        said = {
            "site": self.site_id,
            "boot": self.boot,
            "began": self.began.isoformat() if self.began else "",
            "clock": _CLOCK.get(self.synchronised, ""),
            "source": self.source,
            "without": " ".join(self.without),
            "story": self.story,
        }
        lines = [f"{MAGIC} {VERSION}"]
        lines += [f"# {key}: {escaped(value, ':,;')}" for key, value in said.items() if value]
        text = self.site_text.replace("\r\n", "\n")
        return lines + [f"{SITE}{line}" for line in text.split("\n")]

    @classmethod
    def of(cls, said: dict[str, str], site_text: str) -> Self:
        """The head of what its lines say; raises ValueError with a sentence."""
        began = None
        if said.get("began"):
            try:
                began = datetime.fromisoformat(unescaped(said["began"]))
            except ValueError:
                raise ValueError(f'"began: {said["began"][:40]}" is no date and time') from None
        return cls(
            unescaped(said.get("site", "")),
            site_text,
            unescaped(said.get("boot", "")),
            unescaped(said.get("source", "")),
            began,
            tuple(unescaped(said.get("without", "")).split()),
            unescaped(said.get("story", "")),
            {text: known for known, text in _CLOCK.items()}.get(said.get("clock", "")),
        )


@dataclass(frozen=True, slots=True)
class Said:
    """An event as a recording keeps it; `row` is the row of the matrix that an alarm is of."""

    kind: str
    subject: str
    row: str
    text: str

    @classmethod
    def of(cls, event: Event) -> Self:
        """What a recording keeps of an event."""
        row = event.alarm.row if event.alarm is not None else ""
        return cls(event.kind.value, event.subject, row, event.text)


def escaped(text: str, also: str = "") -> str:
    """A text without anything that could end a cell, an entry or a line."""
    return quote(text, safe=_AS_IT_IS + also, errors="surrogatepass")


def unescaped(text: str) -> str:
    """The text again; raises ValueError for bytes that are no text."""
    try:
        return unquote(text, errors="surrogatepass")
    except UnicodeDecodeError:
        raise ValueError(f'"{text[:40]}" is no text in UTF-8') from None


def passed_line(t_s: float) -> str:
    """The line before a row that tells up to when looks were left out [s]."""
    return f"{PASSED}{t_s!r}"


def end_line(rows: int) -> str:
    """The last line of a whole recording."""
    return f"{END} {rows} rows"


def _entry(*parts: str) -> str:
    return ":".join(escaped(part) for part in parts)


def _entries(cell: str, names: str) -> list[list[str]]:
    """The entries of a cell, each split into as many parts as `names` has."""
    wanted = names.count(":") + 1
    entries = [[unescaped(part) for part in entry.split(":")] for entry in cell.split(";")]
    if any(len(entry) != wanted for entry in entries):
        raise ValueError(f'"{cell[:60]}" is not {names}')
    return entries


def commands_cell(commands: tuple[Command, ...]) -> str:
    """Orders of people as a cell."""
    return ";".join(_entry(c.order.value, c.code, c.origin.value, c.person) for c in commands)


def read_commands(cell: str) -> tuple[Command, ...]:
    """The orders in a cell; raises ValueError with a sentence."""
    if not cell:
        return ()
    found = []
    for order, code, origin, person in _entries(cell, "order:code:origin:person"):
        try:
            found.append(Command(Order(order), code, Origin(origin), person))
        except ValueError:
            known = ", ".join([*Order, *Origin])
            raise ValueError(f'"{order}" or "{origin}" is none of {known}') from None
    return tuple(found)


def events_cell(events: tuple[Event, ...]) -> str:
    """Events as a cell."""
    said = map(Said.of, events)
    return ";".join(_entry(s.kind, s.subject, s.row, s.text) for s in said)


def read_events(cell: str) -> tuple[Said, ...]:
    """The events in a cell; raises ValueError with a sentence."""
    if not cell:
        return ()
    return tuple(Said(*parts) for parts in _entries(cell, "kind:subject:row:text"))


def note_of(sensor: str, reading: Reading) -> str:
    """What a reading is beside its value; empty for a plain good one."""
    plain = reading.quality is Quality.GOOD and reading.age_s == 0.0 and not reading.why
    if plain and not isnan(reading.value):
        return ""
    return _entry(sensor, reading.quality.name, repr(reading.age_s), reading.why)


def read_notes(cell: str) -> dict[str, tuple[Quality, float, str]]:
    """Quality, age [s] and why of the sensors that a cell names; ValueError with a sentence."""
    if not cell:
        return {}
    found = {}
    for sensor, quality, age, why in _entries(cell, "sensor:QUALITY:age:why"):
        if quality not in Quality.__members__:
            known = ", ".join(Quality.__members__)
            raise ValueError(f'"{quality[:20]}" is no quality; there are {known}')
        try:
            found[sensor] = (Quality[quality], float(age), why)
        except ValueError:
            raise ValueError(f'"{age[:20]}" is no age in seconds') from None
    return found
