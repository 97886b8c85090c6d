"""Work beside the tick: what is done, apart from what runs it.

The work is a turn that does what is due and says how long it can wait for the next one. On a Pi a
thread takes the turns; under virtual time the event loop does.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from math import inf
from typing import Protocol

Turn = Callable[[], float | None]
"""Does what is due; returns the longest wait until the next turn [s], infinite until it is woken,
or None when there will be no other. A turn may wait for the network or a disk."""


class Worker(Protocol):
    """Takes the turns of one work."""

    def start(self) -> None:
        """Take the first turn soon; returns at once."""

    def wake(self) -> None:
        """Take a turn now, or another one after the one under way; returns at once."""

    def join(self, timeout_s: float) -> None:
        """Wait until the work has ended, for at most `timeout_s` [s]; at once if never started."""


class ThreadWorker:
    """Takes the turns in a thread of its own, which does not keep the process alive."""

    def __init__(self, name: str, turn: Turn) -> None:
        self._turn = turn
        self._woken = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """See `Worker`."""
        self._thread.start()

    def wake(self) -> None:
        """See `Worker`; the lock taken is held for a few instructions, never over a turn."""
        self._woken.set()

    def join(self, timeout_s: float) -> None:
        """See `Worker`."""
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _run(self) -> None:
        while (wait_s := self._turn()) is not None:
            self._woken.wait(None if wait_s == inf else wait_s)
            self._woken.clear()


Hire = Callable[[str, Turn], Worker]
"""Makes a worker with a name."""
