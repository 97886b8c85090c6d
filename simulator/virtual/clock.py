"""The clock of a simulated machine: one time that only goes on, and one that people set."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from simulator.virtual.loop import VirtualLoop
from simulator.virtual.trace import Trace

SYNCHRONISED_AFTER_S = 60.0
"""How long after a boot the machine has found a time source [s]; it has no clock of its own."""

DAY = datetime(2026, 3, 1, tzinfo=UTC)


class MachineClock:
    """See `daemon.clock.Clock`. `starts_at` is the time of day at which virtual time begins."""

    def __init__(self, loop: VirtualLoop, trace: Trace, starts_at: str) -> None:
        hours, minutes = starts_at.split(":")
        self._loop = loop
        self._trace = trace
        self._zero = DAY + timedelta(hours=int(hours), minutes=int(minutes))
        self._booted_s = 0.0
        self._behind_s = 0.0
        self._off_s = 0.0
        self._boots = 0

    def monotonic_s(self) -> float:
        """See `Clock`."""
        return self._loop.time() - self._booted_s

    def wall(self) -> datetime:
        """See `Clock`."""
        return self._zero + timedelta(seconds=self._loop.time() - self._behind_s + self._off_s)

    def synchronised(self) -> bool | None:
        """See `Clock`."""
        return self._behind_s == 0.0

    def jump(self, by_s: float) -> None:
        """Somebody, or a time source, sets the wall clock."""
        self._off_s += by_s
        self._trace.add("clock", f"jumps by {by_s:.0f} s to {self.wall().isoformat()}")

    def stand(self, lasts_s: float) -> None:
        """The machine is off for so long; its wall clock goes on from where it stood."""
        self._boots += 1
        self._behind_s += lasts_s
        self._booted_s = self._loop.time() + lasts_s
        found_s = self._booted_s + SYNCHRONISED_AFTER_S
        self._loop.call_at(found_s, self._found, self._boots, context=self._loop.world)

    def _found(self, boot: int) -> None:
        if boot == self._boots:
            self._behind_s = 0.0
            self._trace.add("clock", f"follows a time source: {self.wall().isoformat()}")
