"""A day's record: one text file a day, a row a minute; this page is its format, version 1.

`STATE/days/2026-02-03.csv` is CSV in UTF-8; `pandas.read_csv(path, comment="#")` reads it. Days and
times are in UTC, so that no hour is missing or there twice.

    # weirkeeper day 1                the format and its version
    # site: classroom                 id of the site
    # boot: 5f2c91                    rows from here on are of this run of the guard
    time,t_s,looks,...                the header
    2026-02-03T02:40:00Z,0.1,600,...  one row a minute

Columns, in this order:

    time             when the minute began
    t_s              monotonic time of its first look since the guard began [s]
    looks            how often the guard looked within it; 600 are usual
    SENSOR.wet       share of the time for which it was wet, 0 to 1 (.present: for which there was
                     supply); empty when it could not be read at all
    SENSOR.UNIT.least, .mean, .most   of a flow [m3_s] or a level [m]; empty likewise
    OUTPUT.on        share of the time for which it was commanded on
    alarms.raised    how many alarms were raised within it
    alarms.standing  how many stood at once, at most

Rows are kept in memory for five minutes and then put at the end of the file, so that a power cut
costs at most those; at an orderly stop, and when a recording is written, they are put there at
once. A memory card writes a few pages of 4 kB for the least change: 288 times a day are about 5 MB
of them, where a write every minute would be 25.

A minute can stand there twice, or be short, after a restart or when the clock was set. What is torn
by a power cut has no line end: the guard cuts it off before it puts more behind it, and a reader
may find empty cells in that one line until then. When the site file changes its sensors within a
day, another file is begun: 2026-02-03.2.csv.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import count
from pathlib import Path

from daemon.disk import Disk

MAGIC = "# weirkeeper day 1"
DAYS = 400
"""Days that are kept: the same week a year ago, and a month more. A day takes 0.1 to 0.3 MB."""


class Days:
    """Puts rows into the files of their days; every method raises OSError from the disk."""

    def __init__(self, folder: Path, disk: Disk, site_id: str, boot: str, header: str) -> None:
        self._folder = folder
        self._disk = disk
        self._head = f"{MAGIC}\n# site: {site_id}\n"
        self._boot = f"# boot: {boot}\n"
        self._header = f"{header}\n"
        self._date = ""
        self._file = folder
        self._untidy = False

    def append(self, date: str, rows: Iterable[str]) -> None:
        """Put rows at the end of a day's file."""
        top = ""
        if date != self._date:
            self._file, new = self._file_of(date)
            top = f"{self._head}{self._boot}{self._header}" if new else self._boot
        self._disk.append(self._file, top + "".join(f"{row}\n" for row in rows))
        self._untidy = self._untidy or date != self._date
        self._date = date

    def _file_of(self, date: str) -> tuple[Path, bool]:
        """The day's file with these columns, and whether its head is still to be written."""
        for number in count(1):
            file = self._folder / (f"{date}.csv" if number == 1 else f"{date}.{number}.csv")
            try:
                text = self._disk.read(file)
            except FileNotFoundError:
                return file, True
            except ValueError:
                continue  # not text: damaged, or not ours
            lines = text.splitlines(keepends=True)
            header = next((line for line in lines if not line.startswith("#")), "")
            if header == self._header:
                return file, False
            if not header.endswith("\n"):  # no more than a head, or a part of one
                return file, True
        raise AssertionError("count() does not end")

    def tidy(self) -> None:
        """Let go of the oldest days when a new one has begun.

        By how many days there are and never by the clock, which may be wrong.
        """
        if not self._untidy:
            return
        files = [name for name in self._disk.sizes(self._folder) if name.endswith(".csv")]
        kept = sorted({name[:10] for name in files})[-DAYS:]
        for name in files:
            if name[:10] < kept[0]:
                self._disk.remove(self._folder / name)
        self._untidy = False
