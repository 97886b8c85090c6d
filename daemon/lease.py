"""Outputs that stay on only while they are renewed.

Whatever holds the loop up, a thread of its own lets every output go whose lease has run out. It
only ever switches off. A lease that ran out cannot be renewed by the tick that comes late:
that tick is told so, and decides anew.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable

from daemon.ports import Board
from daemon.worker import Hire, ThreadWorker, Worker
from rules.response import LEASE_S

LOOK_S = 0.1
"""How often the thread looks [s]; an output drops within the lease plus this."""


class Leases:
    """The leases of all outputs of a board; `drive` renews, the thread lets go."""

    def __init__(
        self,
        board: Board,
        outputs: tuple[str, ...],
        lease_s: float = LEASE_S,
        clock: Callable[[], float] = time.monotonic,
        hire: Hire = ThreadWorker,
    ) -> None:
        self._board = board
        self._outputs = outputs
        self._lease_s = lease_s
        self._clock = clock
        self._until_s: dict[str, float] = {}
        self._dropped: set[str] = set()
        # held for the time of a pin write, never over a wait
        self._lock = threading.Lock()
        self._closing = False
        self._hire = hire
        self._worker: Worker | None = None

    def start(self) -> None:
        """Start the thread; without it leases are still refused when renewed too late."""
        self._worker = self._hire("leases", self._watch)
        self._worker.start()

    def dropped(self) -> tuple[bool, ...]:
        """For each output whether its lease ran out since this was last asked."""
        with self._lock:
            self._drop_expired()
            dropped = tuple(output in self._dropped for output in self._outputs)
            self._dropped.clear()
        return dropped

    def look(self) -> None:
        """Let go whatever has run out: what the thread does again and again."""
        with self._lock:
            self._drop_expired()

    def drive(self, commands: tuple[bool, ...]) -> None:
        """Put every output on or off; on lasts for one lease. Raises OSError from the board."""
        with self._lock:
            self._drop_expired()
            now_s = self._clock()
            for output, on in zip(self._outputs, commands, strict=True):
                if on and output in self._dropped:
                    continue  # it ran out between being asked and now: stays off until told again
                if on:
                    self._board.drive(output, True)
                    self._until_s[output] = now_s + self._lease_s
                else:
                    self._board.drive(output, False)
                    self._until_s.pop(output, None)

    def close(self) -> None:
        """Let every output go and stop the thread."""
        self._closing = True
        if self._worker is not None:
            self._worker.wake()
            self._worker.join(2.0)
        with self._lock:
            self._until_s.clear()
            for output in self._outputs:
                self._let_go(output)

    def _watch(self) -> float | None:
        if self._closing:
            return None
        self.look()
        return LOOK_S

    def _drop_expired(self) -> None:
        now_s = self._clock()
        for output in [key for key, until_s in self._until_s.items() if now_s >= until_s]:
            del self._until_s[output]
            self._dropped.add(output)
            self._let_go(output)

    def _let_go(self, output: str) -> None:
        # a pin that cannot be driven is for the layers outside the process; the others still drop
        with contextlib.suppress(OSError):
            self._board.drive(output, False)
