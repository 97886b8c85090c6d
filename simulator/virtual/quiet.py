"""How ticks come under virtual time: all of them, or few while nothing moves.

See `simulator.night.pace`: looks of which the guard itself says that they would change nothing are
left out. The outputs are renewed meanwhile, as the looks left out would have done.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from math import ceil
from typing import Protocol

from daemon.guard import Guard
from rules.signals import TICK_S, Decision
from simulator.night.night import Night
from simulator.night.pace import Pace
from simulator.virtual.loop import VirtualLoop, current_strand

RENEW_S = 1.0
"""How often outputs are renewed in a stretch without ticks [s]; half of a lease."""


class Passage(Protocol):
    """The world, as far as the coming of ticks depends on it."""

    night: Night

    @property
    def quiet_until_s(self) -> float:
        """Until when nothing happens around the guard [s]; now, when something just has."""

    def move_until(self, t_s: float) -> float:
        """Bring the world to `t_s`, or to where a sensor shows anything new; the time then [s]."""


class QuietTime:
    """See `daemon.loop.Time`; it takes its guard once the daemon is put together."""

    def __init__(self, loop: VirtualLoop, world: Passage) -> None:
        self.ended = False
        self.lateness_s = 0.0
        self._busy: Callable[[], bool] = lambda: False
        self._loop = loop
        self._world = world
        self._began_s = loop.time()
        self._n = 0
        self._guard: Guard | None = None
        self._pace: Pace | None = None
        self._outputs: tuple[bool, ...] | None = None

    def take(self, guard: Guard, busy: Callable[[], bool]) -> None:
        """Ask this guard when it is idle; it is not while it is `busy` with orders or leaving."""
        self._guard = guard
        self._busy = busy
        self._pace = Pace(self._world.night.drill, guard, every_tick=False)

    def note(self, decision: Decision) -> None:
        """Take what came of the tick."""
        self._outputs = decision.outputs

    async def until_next(self) -> float:
        """Wait for the next tick that could change anything, and return its time [s]."""
        now_s = self._loop.time() - self._began_s
        if now_s > (self._n + 1) * TICK_S:
            self._n = int(now_s / TICK_S)  # the loop was held up: what is missed is left out
        due = self._stretch() or self._n + 1
        self._n = due
        due_s = self._began_s + due * TICK_S
        while due_s - self._loop.time() > 1.5 * RENEW_S and self._guard is not None:
            await asyncio.sleep(RENEW_S)
            self._guard.leases.drive(self._outputs or ())
        await asyncio.sleep(max(0.0, due_s - self._loop.time()))
        self.lateness_s = self._loop.time() - due_s
        return self._loop.time() - self._began_s

    def _stretch(self) -> int | None:
        """The tick at the end of a stretch without any; None when the next is to come."""
        if self._pace is None or self._outputs is None or self._busy():
            return None
        strand = current_strand()
        if strand is None or strand.dead or strand.held:
            return None  # it was killed, or held up, in the middle of this tick
        night = self._world.night
        due = self._pace.next_tick(self._n, night.drill_s if night.begun else None)
        quiet_s = self._world.quiet_until_s - self._began_s
        if quiet_s < due * TICK_S:
            due = int(quiet_s / TICK_S)
        if due <= self._n + 1:
            return None
        reached_s = self._world.move_until(self._began_s + due * TICK_S) - self._began_s
        reached = max(self._n + 1, ceil(reached_s / TICK_S - 1e-6))
        if self._guard is not None and reached > self._n + 1:
            self._guard.pass_over((reached - 1) * TICK_S)
        return reached
