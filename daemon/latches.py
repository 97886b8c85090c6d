"""What outlives a restart of the daemon, on disk: a restart is no reset. Written by a thread."""

from __future__ import annotations

import json
import os
import queue
import threading
from collections.abc import Iterable
from pathlib import Path

import structlog

from rules.memory import RESTS_S, Kept
from rules.site import show

log = structlog.get_logger(__name__)

AGAIN_S = 10.0
"""What a full or failing disk would not take is offered to it again this often [s]."""


def read_kept(path: Path, pumps: Iterable[str]) -> Kept:
    """What the daemon kept when it last ran; nothing if there is no file.

    A file that cannot be read never keeps the guard from starting. It is set aside and said, and
    nobody knows what it held: each of `pumps` waits out its longest rest, and the next cut by
    water latches it.
    """
    try:
        return _kept_in(path.read_text(encoding="utf-8"))
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
        _set_aside(path)
        return Kept(attempts=dict.fromkeys(pumps, len(RESTS_S)))


def _kept_in(text: str) -> Kept:
    """What a file's text says; ValueError where it is not what this module writes."""
    match json.loads(text):
        case {"latched": list(rows), "attempts": dict(attempts)} if all(
            isinstance(row, str) for row in rows
        ) and all(type(tried) is int and tried >= 0 for tried in attempts.values()):
            return Kept(frozenset(rows), attempts)
    raise ValueError("it does not hold latched rows and attempts")


def _set_aside(path: Path) -> None:
    try:
        path.replace(path.with_suffix(".unreadable"))
    except OSError as failure:
        log.error("the file cannot be set aside either", error=str(failure))


class Latches:
    """Keeps the file up to date; `keep` only hands over and never waits for the disk."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._last: Kept | None = None
        self._queue: queue.SimpleQueue[Kept | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._write_all, name="latches", daemon=True)
        self._thread.start()

    def keep(self, kept: Kept) -> None:
        """Remember `kept`; called at every tick, does something only when it changed."""
        if kept != self._last:
            self._last = kept
            self._queue.put(kept)

    def close(self) -> None:
        """Write what is still to be written, for at most two seconds."""
        self._queue.put(None)
        self._thread.join(timeout=2.0)

    def _write_all(self) -> None:
        unwritten: Kept | None = None
        closing = said = False
        while not closing:
            try:
                kept = self._queue.get(timeout=AGAIN_S if unwritten else None)
                closing = kept is None
                unwritten = kept or unwritten
            except queue.Empty:
                pass  # the disk would not take it the last time: try again
            if unwritten is None:
                continue
            try:
                self._write(unwritten)
                unwritten, said = None, False
            except OSError as error:
                if not said:
                    log.error("latched rows cannot be written; guarding goes on", error=str(error))
                said = True

    def _write(self, kept: Kept) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        new = self._path.with_suffix(".new")
        with new.open("w", encoding="utf-8") as file:
            json.dump({"latched": sorted(kept.latched), "attempts": dict(kept.attempts)}, file)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)
