"""Time in a simulated night: every tick comes, as fast as is wished, slower while things happen."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from daemon.clock import SystemClock
from rules.signals import TICK_S

CATCH_UP_S = 0.25
"""Falling behind further than this, the pace starts anew instead of hurrying [s]."""


class SimulatedTime:
    """Ticks at exact multiples of the tick, until `over` says that the night is.

    `speed` is asked before each tick: times real time.
    """

    def __init__(self, over: Callable[[], bool], speed: Callable[[], float]) -> None:
        self._over = over
        self._speed = speed
        self._n = 0
        self._clock = SystemClock()
        self._due_s = self._clock.monotonic_s()

    @property
    def ended(self) -> bool:
        """True when the night is over."""
        return self._over()

    async def until_next(self) -> float:
        """Wait for the next tick and return its time [s]."""
        self._n += 1
        self._due_s += TICK_S / self._speed()
        now_s = self._clock.monotonic_s()
        if now_s - self._due_s > CATCH_UP_S:
            self._due_s = now_s
        await asyncio.sleep(max(0.0, self._due_s - now_s))
        return self._n * TICK_S
