"""The asyncio loop: ten ticks a second, and after each tick the handing over."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

import structlog

from daemon.clock import Clock, SystemClock
from daemon.guard import Guard
from daemon.logs import at_tick
from daemon.notify import Notify
from rules.signals import TICK_S, Command, Decision, Event, EventKind

log = structlog.get_logger(__name__)

LATE_S = 0.05
"""A tick later than this is counted and said once a minute at most [s]."""

URGENT = {EventKind.ALARM_RAISED, EventKind.PUMP_CUT, EventKind.PUMP_HELD}


class Time(Protocol):
    """How time goes: on a Pi by the clock, in a simulation as fast as is wished."""

    async def until_next(self) -> float:
        """Wait for the next tick and return its time, seconds since the guard began."""

    @property
    def ended(self) -> bool:
        """True when there is no next tick."""


class RealTime:
    """Ticks of the monotonic clock. A tick that is missed is left out, never made up for."""

    def __init__(self, clock: Clock | None = None) -> None:
        self._clock = clock or SystemClock()
        self._began_s = self._clock.monotonic_s()
        self._next = 0
        self.ended = False
        self.lateness_s = 0.0

    async def until_next(self) -> float:
        """Wait for the next tenth of a second."""
        now_s = self._clock.monotonic_s() - self._began_s
        self._next = max(self._next + 1, int(now_s / TICK_S) + 1)
        due_s = self._next * TICK_S
        await asyncio.sleep(max(0.0, due_s - now_s))
        t_s = self._clock.monotonic_s() - self._began_s
        self.lateness_s = t_s - due_s
        return t_s


@dataclass
class Tally:
    """What the loop counts about itself."""

    ticks: int = 0
    late: int = 0
    latest_s: float = 0.0
    said_s: float = field(default=-60.0)

    def count(self, lateness_s: float, t_s: float) -> None:
        """Count one tick and its lateness."""
        self.ticks += 1
        self.latest_s = max(self.latest_s, lateness_s)
        if lateness_s > LATE_S:
            self.late += 1
            if t_s - self.said_s >= 60.0:
                self.said_s = t_s
                log.warning("a tick came late", late_ms=round(lateness_s * 1000), so_far=self.late)


Listener = Callable[[float, int, datetime, Decision], None]
"""Told of every decision; must return at once."""


class Loop:
    """Runs a guard until it is stopped or its time ends.

    `before` is called with the time of each tick before the board is read (a plant moves there);
    `sources` give the commands that arrived; `listeners` are told of each decision.
    """

    def __init__(
        self, guard: Guard, pace: Time, notify: Notify, clock: Clock | None = None
    ) -> None:
        self._guard = guard
        self._pace = pace
        self._notify = notify
        self._clock = clock or SystemClock()
        self._stopping = asyncio.Event()
        self.before: list[Callable[[float], None]] = []
        self.sources: list[Callable[[], tuple[Command, ...]]] = []
        self.listeners: list[Listener] = []
        self.tally = Tally()
        self.failure: Exception | None = None

    def stop(self) -> None:
        """End after the tick under way."""
        self._stopping.set()

    async def run(self) -> int:
        """Tick until stopped. Returns 0, or 1 when a tick failed; all outputs are off after it.

        `failure` is then what failed.
        """
        self._catch_signals()
        self._guard.leases.start()
        try:
            while not self._stopping.is_set() and not self._pace.ended:
                t_s = await self._pace.until_next()
                if self._stopping.is_set():
                    break
                self._tick(t_s)
        except Exception as error:
            self.failure = error
            # whatever failed, the pump must not run on without a guard
            self._guard.close()
            log.critical("the tick failed; every output is off", exc_info=True)
            return 1
        finally:
            self._notify.stopping()
            self._guard.close()
        log.info("stopped; every output is off", ticks=self.tally.ticks, late=self.tally.late)
        return 0

    def _tick(self, t_s: float) -> None:
        at_tick(self.tally.ticks, t_s)
        for move in self.before:
            move(t_s)
        commands = tuple(command for source in self.sources for command in source())
        decision = self._guard.tick(t_s, commands)
        self._notify.alive()
        wall = self._clock.wall()
        for event in decision.events:
            say(event)
        for listener in self.listeners:
            listener(t_s, self.tally.ticks, wall, decision)
        self.tally.count(getattr(self._pace, "lateness_s", 0.0), t_s)

    def _catch_signals(self) -> None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            with contextlib.suppress(NotImplementedError, RuntimeError):
                loop.add_signal_handler(number, self.stop)


def say(event: Event) -> None:
    """Log one event."""
    speak = log.warning if event.kind in URGENT else log.info
    extra = {"row": event.alarm.row, "code": event.alarm.code} if event.alarm else {}
    if event.causes:
        extra["causes"] = ", ".join(event.causes)
    speak(event.text, event_kind=event.kind.value, subject=event.subject, **extra)
