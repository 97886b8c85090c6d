"""What outlives a restart of the daemon, on disk: a restart is no reset. Written by a thread."""

from __future__ import annotations

import json
import os
import queue
import threading
from pathlib import Path

import structlog

from rules.memory import Kept

log = structlog.get_logger(__name__)


def read_kept(path: Path) -> Kept:
    """What the daemon kept when it last ran; nothing if there is no file.

    A file that cannot be read is set aside and said: it never keeps the guard from starting.
    """
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        attempts = {str(pump): int(tried) for pump, tried in found["attempts"].items()}
        return Kept(frozenset(str(row) for row in found["latched"]), attempts)
    except FileNotFoundError:
        return Kept()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        aside = path.with_suffix(".unreadable")
        log.error("what was latched cannot be read; the file is set aside", error=str(error))
        try:
            path.replace(aside)
        except OSError as failure:
            log.error("it cannot be set aside either", error=str(failure))
        return Kept()


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
        while (kept := self._queue.get()) is not None:
            try:
                self._write(kept)
            except OSError as error:
                log.error("latched rows cannot be written; guarding goes on", error=str(error))

    def _write(self, kept: Kept) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        new = self._path.with_suffix(".new")
        with new.open("w", encoding="utf-8") as file:
            json.dump({"latched": sorted(kept.latched), "attempts": dict(kept.attempts)}, file)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)
