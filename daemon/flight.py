"""The flight recorder of the running guard.

The looks of the last ten minutes are always in memory. When a pump is cut or held off, an alarm of
high priority is raised, or a tick fails, they are written at once, so that also a power cut right
after leaves what led to it; and five minutes later again, with what came of it. Another trip within
those minutes prolongs them. `STATE/recordings/2026-02-03T02-41-09Z-5f2c91-cut-leak.pad.csv.gz`
is a recording as `daemon.recording.format` describes it: `weirkeeper replay` takes it, and
`pandas.read_csv(path, comment="#")`. Beside it goes a record of every day: `daemon.recording.days`.

The tick only puts references by. One worker packs them, another one writes.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from math import inf
from pathlib import Path
from typing import Any

import structlog

from daemon.guard import Guard
from daemon.machine import Machine
from daemon.recording.archive import Archive, Job, Limits, name_of
from daemon.recording.blocks import BLOCK_LOOKS, BLOCK_S, Block, Look, Packer, Ring, Stretch
from daemon.recording.format import Head
from daemon.recording.minutes import Minutes
from daemon.recording.rows import Rows
from rules.signals import Decision, Event, EventKind, Observation, Priority

log = structlog.get_logger(__name__)

BEFORE_S, AFTER_S = 600.0, 300.0
"""What a recording holds before its trip, and after the last trip in it [s]."""

LONGEST_S = 3600.0
"""From its first trip on a recording lasts for so long at most [s]; then another is begun."""

MOST_BLOCKS = 300
"""Blocks in memory at most: 30,000 looks are five times what ten minutes usually have."""

MOST_WAITING = 30
"""Stretches that wait to be packed; when it is held up for five minutes, the oldest are lost."""

PACKING_S, WRITING_S = 2.0, 5.0
"""How long the end of the guard waits for the last recording [s]."""

CUTS = frozenset({EventKind.PUMP_CUT, EventKind.PUMP_HELD})


@dataclass(frozen=True, slots=True)
class Records:
    """What is recorded where: the folder of the state, and what recordings tell of themselves.

    `hastened` is a night that passes faster than the clock on the wall: its time is counted on
    from where it began.
    """

    folder: Path
    site_text: str
    source: str
    story: str = ""
    without: tuple[str, ...] = ()
    hastened: bool = False
    limits: Limits = field(default_factory=Limits)


@dataclass(frozen=True, slots=True)
class Trip:
    """Why a recording is written: for its name, and for people; `grave` is one that cut."""

    what: str
    text: str
    grave: bool


@dataclass(slots=True)
class _UnderWay:
    trip: Trip
    name: str
    head: Head
    blocks: list[Block]
    began_s: float
    until_s: float


def trip_in(events: Iterable[Event]) -> Trip | None:
    """The gravest trip among the events of one look."""
    alarm = None
    for event in events:
        if event.kind in CUTS:
            word = "cut" if event.kind is EventKind.PUMP_CUT else "held"
            return Trip(f"{word}-{next(iter(event.causes), event.subject)}", event.text, True)
        raised = event.alarm if event.kind is EventKind.ALARM_RAISED else None
        if raised is not None and raised.priority is Priority.HIGH and alarm is None:
            alarm = Trip(f"alarm-{raised.row}", event.text, False)
    return alarm


class Flight:
    """Records one guard; `take` is a listener of its loop."""

    def __init__(self, guard: Guard, boot: str, records: Records, machine: Machine) -> None:
        site = guard.plan.site
        self._guard, self._boot = guard, boot
        self._records, self._clock = records, machine.clock
        self._began: datetime | None = None
        self._looks: list[Look] = []
        self._before = guard.before
        self._number = 0
        self._seen: Observation | None = None
        self._failure: tuple[Trip, str] | None = None
        self._waiting: deque[Stretch] = deque(maxlen=MOST_WAITING)
        self._closing = False
        self._archive = Archive(records.folder, site, boot, machine, records.limits)
        # from here on it belongs to the worker
        self._packer = Packer(site)
        self._minutes = Minutes(site)
        self.ring = Ring(BEFORE_S, MOST_BLOCKS)
        self._under_way: _UnderWay | None = None
        self._last: Look | None = None
        self._broken = ""
        self._worker = machine.hire("flight", self._turn)
        self._worker.start()

    # --- in the tick -----------------------------------------------------------------------------

    def take(self, t_s: float, _tick: int, wall: datetime, decision: Decision) -> None:
        """Put one look by; returns at once."""
        guard = self._guard
        seen = self._seen = guard.observation
        assert seen is not None
        if self._records.hastened:
            self._began = self._began or wall - timedelta(seconds=t_s)
            wall = self._began + timedelta(seconds=t_s)
        looks, before = self._looks, guard.before
        if not looks:
            self._before = before
        alarms = len(decision.alarms)
        looks.append(Look(before.t_s, seen, decision.outputs, decision.events, wall, alarms))
        if (
            len(looks) >= BLOCK_LOOKS
            or t_s - looks[0].seen.t_s >= BLOCK_S
            or (decision.events and trip_in(decision.events) is not None)
        ):
            self._hand_over()

    def _hand_over(self) -> None:
        if self._looks:
            looks, self._looks = tuple(self._looks), []
            self._waiting.append(Stretch(self._number, self._guard.plan, self._before, looks))
            self._number += 1
            self._worker.wake()

    def fail(self, error: BaseException) -> None:
        """A tick failed: the look that it failed at is recorded too, if it came to one."""
        text = f"the tick failed: {type(error).__name__}: {error}"
        seen, row = self._guard.observation, ""
        if seen is not None and seen is not self._seen:
            site = self._guard.plan.site
            row = Rows(site).line(seen, (False,) * len(site.outputs), ())
        self._failure = Trip("failed", text, True), row

    def close(self) -> None:
        """Write what is under way, for some seconds at most."""
        self._hand_over()
        self._closing = True
        self._worker.wake()
        self._worker.join(PACKING_S)
        self._archive.join(WRITING_S)

    # --- for people ------------------------------------------------------------------------------

    def status(self) -> dict[str, Any]:
        """What there is of recordings."""
        standing = self._archive.standing
        return {
            "folder": str(self._archive.folder),
            "newest": standing.newest or None,
            "newest_bytes": standing.newest_bytes,
            "files": standing.files,
            "under_way": self._under_way is not None,
            "trouble": self._broken or standing.trouble or None,
        }

    def lines(self) -> list[str]:
        """The same for people."""
        standing = self._archive.standing
        newest = "no recording yet"
        if standing.newest:
            path = self._archive.folder / standing.newest
            newest = f"newest recording: {path}, {standing.newest_bytes / 1000:.0f} kB"
        lines = [f"{newest}; one is under way" if self._under_way else newest]
        if self._broken:
            lines.append(f"nothing more is recorded: {self._broken}")
        elif standing.trouble:
            lines.append(f"recordings cannot be written: {standing.trouble}")
        return lines

    # --- in the worker ---------------------------------------------------------------------------

    def _turn(self) -> float | None:
        closing = self._closing  # asked first: what follows is then the last
        try:
            while self._waiting:
                self._pack(self._waiting.popleft())
            if closing:
                self._end()
        except Exception as error:
            # a mistake of the recorder's own must not end the guard, nor pass unseen
            self._broken = f"{type(error).__name__}: {error}"
            log.critical("nothing more is recorded; guarding goes on", exc_info=True)
            closing = True
        if closing:
            self._archive.close()
        return None if closing else inf

    def _pack(self, stretch: Stretch) -> None:
        block = self._packer.pack(stretch)
        self.ring.add(block)
        if self._under_way is not None:
            self._under_way.blocks.append(block)
        for look in stretch.looks:
            if ended := self._minutes.take(look):
                self._archive.add_row(*ended)
            if look.events and (trip := trip_in(look.events)) is not None:
                self._trip(trip, look.seen.t_s, look.wall)
        self._last = stretch.looks[-1]
        if self._under_way is not None and block.last_s >= self._under_way.until_s:
            self._put(whole=True)
            self._under_way = None

    def _trip(self, trip: Trip, t_s: float, wall: datetime) -> None:
        now = self._under_way
        if now is not None:
            now.until_s = min(now.began_s + LONGEST_S, t_s + AFTER_S)
            return
        records, site = self._records, self._guard.plan.site.site
        head = Head(
            site_id=site.id,
            site_text=records.site_text,
            boot=self._boot,
            source=records.source,
            began=wall - timedelta(seconds=t_s),
            without=records.without,
            story=": ".join(filter(None, (records.story, trip.text))),
            synchronised=self._clock.synchronised(),
        )
        name = name_of(wall, self._boot, trip.what)
        blocks = list(self.ring.blocks)
        self._under_way = _UnderWay(trip, name, head, blocks, t_s, t_s + AFTER_S)
        self._put(whole=False)

    def _put(self, *, whole: bool, failed: str = "") -> None:
        now = self._under_way
        assert now is not None
        blocks = tuple(now.blocks)
        self._archive.put(Job(now.name, now.head, blocks, now.trip.grave, whole, failed))

    def _end(self) -> None:
        """The guard ends: what is under way is written as far as it came."""
        row = ""
        if self._failure is not None:
            trip, row = self._failure
            if (now := self._under_way) is not None:
                now.head = replace(now.head, story=f"{now.head.story} Then {trip.text}")
            elif self._last is not None:
                self._trip(trip, self._last.seen.t_s, self._last.wall)
            else:
                self._trip(trip, 0.0, self._clock.wall())
        if self._under_way is not None:
            self._put(whole=True, failed=row)
            self._under_way = None
        if ended := self._minutes.end():
            self._archive.add_row(*ended)
