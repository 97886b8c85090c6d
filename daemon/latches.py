"""Latched rows on disk, so that a restart of the daemon is no reset. Written by its own thread."""

from __future__ import annotations

import json
import os
import queue
import threading
from pathlib import Path

import structlog

log = structlog.get_logger(__name__)


def read_latches(path: Path) -> frozenset[str]:
    """The rows latched when the daemon last ran; none if there is no file.

    A file that cannot be read is set aside and said: it never keeps the guard from starting.
    """
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))["latched"]
        return frozenset(str(row) for row in rows)
    except FileNotFoundError:
        return frozenset()
    except (OSError, ValueError, KeyError, TypeError) as error:
        aside = path.with_suffix(".unreadable")
        log.error("the file of latched rows cannot be read; it is set aside", error=str(error))
        try:
            path.replace(aside)
        except OSError as failure:
            log.error("it cannot be set aside either", error=str(failure))
        return frozenset()


class Latches:
    """Keeps the file up to date; `keep` only hands over and never waits for the disk."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._last: frozenset[str] | None = None
        self._queue: queue.SimpleQueue[frozenset[str] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._write_all, name="latches", daemon=True)
        self._thread.start()

    def keep(self, rows: frozenset[str]) -> None:
        """Remember `rows`; called at every tick, does something only when they changed."""
        if rows != self._last:
            self._last = rows
            self._queue.put(rows)

    def close(self) -> None:
        """Write what is still to be written, for at most two seconds."""
        self._queue.put(None)
        self._thread.join(timeout=2.0)

    def _write_all(self) -> None:
        while (rows := self._queue.get()) is not None:
            try:
                self._write(rows)
            except OSError as error:
                log.error("latched rows cannot be written; guarding goes on", error=str(error))

    def _write(self, rows: frozenset[str]) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        new = self._path.with_suffix(".new")
        with new.open("w", encoding="utf-8") as file:
            json.dump({"latched": sorted(rows)}, file)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)
