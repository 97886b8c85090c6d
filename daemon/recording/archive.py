"""Where recordings and days' records are kept: written beside the tick, and let go when old.

Everything here happens in a worker of its own, which may wait for the disk as long as it likes:
what is handed over meanwhile waits in a bounded place. What the disk would not take is offered to
it again and again; that is said once, and guarding goes on.
"""

from __future__ import annotations

import errno
import re
import threading
from collections import deque
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from math import inf
from operator import itemgetter
from pathlib import Path

import structlog

from daemon.machine import Machine
from daemon.recording.blocks import Block, recording
from daemon.recording.days import Days
from daemon.recording.format import Head
from daemon.recording.minutes import header
from rules.site.model import Site

log = structlog.get_logger(__name__)

AGAIN_S = 30.0
"""What a full or failing disk would not take is offered to it again this often [s]."""

ROWS_S = 300.0
"""Rows of a day's record wait for so long before they are written together [s]: see `days`."""

MOST_ROWS = 1440
MOST_JOBS = 4
"""A day's rows, and so many recordings, wait for a disk at most; then the oldest go."""

LEAVE_BYTES = 50_000_000
"""Recordings leave so much room on the disk: what is latched must find room at any time."""

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
_NAME = re.compile(r"(\d{4}-\d\d-\d\dT\d\d-\d\d-\d\dZ)-.+\.csv\.gz")
_STAMP = "%Y-%m-%dT%H-%M-%SZ"


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is kept, and how much is written in a day.

    A recording takes 0.1 to 0.3 MB, one of an hour up to 1 MB, and a trip every few weeks is much:
    100 files are years. 20 MB and 24 trips a day leave the most of the 50 MB that a memory card
    bears, and keep an alarm that comes and goes, or a guard that dies at every start, from wearing
    it out and from driving every older recording out. Alarms that cut nothing may use half of
    that, so that the cut which follows them finds room.
    """

    files: int = 100
    bytes: int = 50_000_000
    files_a_day: int = 24
    bytes_a_day: int = 20_000_000


@dataclass(frozen=True, slots=True)
class Job:
    """A recording to be written; `grave` is one of a cut. One of the same name replaces it."""

    name: str
    head: Head
    blocks: tuple[Block, ...]
    grave: bool
    whole: bool
    failed: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """What is known of the recordings on the disk; `trouble` is why the last write failed."""

    newest: str = ""
    newest_bytes: int = 0
    files: int = 0
    trouble: str = ""


def name_of(wall: datetime, boot: str, what: str) -> str:
    """The name of a recording's file: when, which run of the guard, what happened."""
    plain = re.sub(r"[^A-Za-z0-9.]+", "-", f"{boot}-{what}").strip("-.")[:100]
    return f"{wall.astimezone(UTC).strftime(_STAMP)}-{plain}.csv.gz"


class Archive:
    """The folder of one guard; `put` and `add_row` return at once."""

    def __init__(
        self, folder: Path, site: Site, boot: str, machine: Machine, limits: Limits
    ) -> None:
        self.folder = folder / "recordings"
        self.standing = Standing()
        self._site, self._disk, self._clock = site, machine.disk, machine.clock
        self._limits = limits
        columns = header(site)
        self._days = Days(folder / "days", machine.disk, site.site.id, boot, columns)
        # held for a few instructions, never over the disk
        self._lock = threading.Lock()
        self._jobs: dict[str, Job] = {}
        self._rows: deque[tuple[int, str, str]] = deque()
        self._row = self._lost = 0
        self._oldest_s = inf
        self._at_once = self._closing = False
        # from here on it belongs to the worker
        self._looked = self._said = self._enough_said = False
        self._lately: deque[tuple[float, str, int]] = deque()
        self._worker = machine.hire("archive", self._turn)
        self._worker.start()

    def put(self, job: Job) -> None:
        """Have a recording written, soon."""
        with self._lock:
            self._jobs.pop(job.name, None)
            self._jobs[job.name] = job
            while len(self._jobs) > MOST_JOBS:
                del self._jobs[next(iter(self._jobs))]
                self._lost += 1
            self._at_once = True
        self._worker.wake()

    def add_row(self, date: str, row: str) -> None:
        """Have a row put into the record of its day, within some minutes."""
        with self._lock:
            self._row += 1
            self._rows.append((self._row, date, row))
            if len(self._rows) == 1:
                self._oldest_s = self._clock.monotonic_s()
            if len(self._rows) > MOST_ROWS:
                self._rows.popleft()
            first = len(self._rows) == 1
        if first:
            self._worker.wake()

    def close(self) -> None:
        """Write what waits, then end."""
        self._closing = True
        self._worker.wake()

    def join(self, timeout_s: float) -> None:
        """Wait for the end, for so long at most [s]."""
        self._worker.join(timeout_s)

    # --- in the worker ---------------------------------------------------------------------------

    def _turn(self) -> float | None:
        closing = self._closing  # asked first: what follows is then the last
        try:
            self._look_round()
            while job := self._waiting():
                self._keep(job)
            self._write_rows(closing)
            failed = False
            self._trouble("")
        except OSError as error:
            failed = True
            self._trouble(error.strerror or str(error))
        except Exception as error:
            # a mistake of the archive's own must not end the guard, nor pass unseen
            now = self.standing
            self.standing = replace(now, trouble=f"{type(error).__name__}: {error}")
            log.critical("nothing more is recorded; guarding goes on", exc_info=True)
            return None
        if closing:
            self._say_lost()
            return None
        if failed:
            return AGAIN_S
        return max(0.0, self._oldest_s + ROWS_S - self._clock.monotonic_s())

    def _waiting(self) -> Job | None:
        with self._lock:
            return next(iter(self._jobs.values()), None)

    def _look_round(self) -> None:
        """See what is there from earlier runs, once; what they left half written goes."""
        if self._looked:
            return
        found = self._disk.sizes(self.folder)
        for name in found:
            if name.endswith(".new"):
                self._disk.remove(self.folder / name)
        now, now_s = self._clock.wall(), self._clock.monotonic_s()
        for name, size in sorted(found.items()):
            # a machine without a clock of its own may have started with that of an hour ago
            if (wall := _wall_of(name)) and now - DAY <= wall <= now + HOUR:
                ago_s = max(0.0, (now - wall).total_seconds())
                self._lately.append((now_s - ago_s, name, size))
        self._looked = True
        self._count(found)

    def _keep(self, job: Job) -> None:
        if not self._affordable(job):
            self._done(job)
            return
        content = recording(job.head, self._site, job.blocks, job.failed)
        if self._disk.free_bytes(self.folder) < LEAVE_BYTES + len(content):
            raise OSError(errno.ENOSPC, f"less than {_size(LEAVE_BYTES)} would be left on the disk")
        path = self.folder / job.name
        new = path.with_name(f"{path.name}.new")
        try:
            self._disk.write_bytes(new, content)
            self._disk.rename(new, path)
        except OSError:
            self._disk.remove(new)
            raise
        self._done(job)
        self._lately.append((self._clock.monotonic_s(), job.name, len(content)))
        what = "recording written" if job.whole else "recording begun: what led to it is written"
        rows = sum(block.looks for block in job.blocks)
        log.info(what, file=str(path), size=_size(len(content)), rows=rows)
        self._tidy(job.name, len(content))

    def _done(self, job: Job) -> None:
        with self._lock:
            if self._jobs.get(job.name) is job:  # else there is more of it already
                del self._jobs[job.name]

    def _affordable(self, job: Job) -> bool:
        """Whether this day's writing leaves room for it; what was begun is ended in any case."""
        lately, day_s = self._lately, DAY.total_seconds()
        while lately and lately[0][0] < self._clock.monotonic_s() - day_s:
            lately.popleft()
        names = {name for _, name, _ in lately}
        share = 1.0 if job.grave else 0.5
        enough = (
            len(names) >= self._limits.files_a_day * share
            or sum(size for *_, size in lately) >= self._limits.bytes_a_day * share
        )
        if job.name in names or not enough:
            self._enough_said = self._enough_said and enough
            return True
        if not self._enough_said:
            self._enough_said = True
            written = f"{len(names)} within a day"
            log.warning("no recording of this: enough were written", written=written, of=job.name)
        return False

    def _tidy(self, name: str, size: int) -> None:
        """Let go of the oldest; by their names, and never of the one just written."""
        found = {**self._disk.sizes(self.folder), name: size}
        ours = sorted(each for each in found if _NAME.fullmatch(each) and each != name)
        room = self._limits.bytes - size - sum(found[each] for each in ours)
        for count, each in enumerate(ours):
            if len(ours) + 1 - count <= self._limits.files and room >= 0:
                break
            self._disk.remove(self.folder / each)
            room += found.pop(each)
        self._count(found, newest=name)

    def _count(self, found: dict[str, int], newest: str = "") -> None:
        ours = {name: size for name, size in found.items() if _NAME.fullmatch(name)}
        newest = newest or max(ours, default="")
        self.standing = Standing(newest, ours.get(newest, 0), len(ours), self.standing.trouble)

    def _write_rows(self, closing: bool) -> None:
        due = self._clock.monotonic_s() - self._oldest_s >= ROWS_S
        with self._lock:
            rows = tuple(self._rows) if due or closing or self._at_once else ()
        for date, of_day in groupby(rows, key=itemgetter(1)):
            numbers, _, texts = zip(*of_day, strict=True)
            self._days.append(date, texts)
            with self._lock:
                while self._rows and self._rows[0][0] <= numbers[-1]:
                    self._rows.popleft()
        self._days.tidy()
        with self._lock:
            self._at_once = False
            if not self._rows:
                self._oldest_s = inf
            elif rows:  # they came while these were written
                self._oldest_s = self._clock.monotonic_s()

    def _trouble(self, why: str) -> None:
        if why != self.standing.trouble:
            self.standing = replace(self.standing, trouble=why)
        if why and not self._said:
            log.error("recordings cannot be written; guarding goes on", error=why)
        self._said = bool(why)

    def _say_lost(self) -> None:
        lost = self._lost + len(self._jobs)
        if lost:
            log.error("recordings are lost: the disk did not take them", how_many=lost)


def _wall_of(name: str) -> datetime | None:
    try:
        found = _NAME.fullmatch(name)
        return datetime.strptime(found[1], _STAMP).replace(tzinfo=UTC) if found else None
    except ValueError:  # 99 is no month
        return None


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{count / 1e3:.0f} kB"
