"""What outlives a restart of the daemon, on disk: a restart is no reset."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterable
from math import inf
from pathlib import Path

import structlog
from pydantic import BaseModel, ConfigDict, NonNegativeFloat, NonNegativeInt

from daemon.disk import Disk
from daemon.machine import THIS, Machine
from rules.memory import Kept
from rules.resting import RESTS_S
from rules.site import show

log = structlog.get_logger(__name__)

AGAIN_S = 10.0
"""What a full or failing disk would not take is offered to it again this often [s]."""


def read_kept(path: Path, pumps: Iterable[str], disk: Disk = THIS.disk) -> Kept:
    """What the daemon kept when it last ran; nothing if there is no file.

    A file that cannot be read never keeps the guard from starting. It is set aside and said, and
    nobody knows what it held: each of `pumps` waits out its longest rest, and the next cut by
    water latches it.
    """
    try:
        return _kept_in(disk.read(path))
    except FileNotFoundError:
        return Kept()
    except (OSError, ValueError, RecursionError) as error:
        log.error(
            "what was latched cannot be read: every pump waits before it is started, and the next "
            "cut by water waits for a person; the file is set aside",
            error=str(error),
            file=str(path),
            waits=show.duration(RESTS_S[-1]),
        )
        _set_aside(path, disk)
        return Kept(attempts=dict.fromkeys(pumps, len(RESTS_S)))


class _File(BaseModel):
    """What the file holds. A guard that knew less left some of it out; nothing was kept of that."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)

    latched: list[str]
    attempts: dict[str, NonNegativeInt]
    flaps: dict[str, NonNegativeInt] = {}
    runs: dict[str, NonNegativeInt] = {}
    off_s: dict[str, NonNegativeFloat] = {}
    on: list[str] = []
    top_off_used_s: NonNegativeFloat = 0.0
    books: dict[str, NonNegativeFloat] = {}
    out_s: dict[str, NonNegativeFloat] = {}
    baselines: dict[str, tuple[NonNegativeFloat, NonNegativeFloat, NonNegativeFloat]] = {}
    days: dict[str, tuple[NonNegativeFloat, ...]] = {}


def _kept_in(text: str) -> Kept:
    """What a file's text says; ValueError where it is not what this module writes."""
    held = _File.model_validate_json(text)
    return Kept(
        frozenset(held.latched),
        held.attempts,
        held.flaps,
        held.runs,
        held.off_s,
        frozenset(held.on),
        held.top_off_used_s,
        held.books,
        held.out_s,
        held.baselines,
        held.days,
    )


def text_of(kept: Kept) -> str:
    """The text of the file that says this."""
    held = _File(
        latched=sorted(kept.latched),
        attempts=dict(kept.attempts),
        flaps=dict(kept.flaps),
        runs=dict(kept.runs),
        off_s=dict(kept.off_s),
        on=sorted(kept.on),
        top_off_used_s=kept.top_off_used_s,
        books=dict(kept.books),
        out_s=dict(kept.out_s),
        baselines=dict(kept.baselines),
        days=dict(kept.days),
    )
    return json.dumps(held.model_dump())


def _set_aside(path: Path, disk: Disk) -> None:
    try:
        disk.rename(path, path.with_suffix(".unreadable"))
    except OSError as failure:
        log.error("the file cannot be set aside either", error=str(failure))


class Latches:
    """Keeps the file up to date; `keep` only hands over and never waits for the disk."""

    def __init__(self, path: Path, machine: Machine = THIS) -> None:
        self._path = path
        self._disk = machine.disk
        self._last: Kept | None = None
        self._handed: deque[Kept] = deque()
        self._closing = False
        # from here on it belongs to the worker
        self._unwritten: Kept | None = None
        self._said = False
        self._worker = machine.hire("latches", self._turn)
        self._worker.start()

    def keep(self, kept: Kept) -> None:
        """Remember `kept`; called at every tick, does something only when it changed."""
        if kept != self._last:
            self._last = kept
            self._handed.append(kept)
            self._worker.wake()

    def close(self) -> None:
        """Write what is still to be written, for at most two seconds."""
        self._closing = True
        self._worker.wake()
        self._worker.join(2.0)

    def _turn(self) -> float | None:
        """Write what was handed over, or what the disk would not take the last time."""
        closing, tried = self._closing, False  # asked first: what follows is then the last
        while self._handed:
            self._unwritten, tried = self._handed.popleft(), True
            self._try()
        if not tried:
            self._try()
        if closing:
            return None
        return inf if self._unwritten is None else AGAIN_S

    def _try(self) -> None:
        if self._unwritten is None:
            return
        try:
            self._write(self._unwritten)
            self._unwritten, self._said = None, False
        except OSError as error:
            if not self._said:
                log.error("latched rows cannot be written; guarding goes on", error=str(error))
            self._said = True

    def _write(self, kept: Kept) -> None:
        new = self._path.with_suffix(".new")
        self._disk.write(new, text_of(kept))
        self._disk.rename(new, self._path)
