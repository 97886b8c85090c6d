"""A guard with a flight recorder, on a machine that a test has in its hand."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from math import inf
from pathlib import Path

from daemon.disk import SystemDisk
from daemon.flight import Flight, Records
from daemon.guard import Guard
from daemon.machine import THIS, Machine
from daemon.recording.archive import Limits
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from daemon.worker import Hire, Turn, Worker
from rules.signals import TICK_S, Decision, Observation
from rules.site.model import Site
from simulator.library import load_site, site_text
from tests.daemon.boards import MemoryBoard

CLASSROOM = load_site("classroom")
BEGAN = datetime(2026, 2, 3, 2, 40, tzinfo=UTC)


class HandClock:
    """A clock that a test sets."""

    def __init__(self, began: datetime = BEGAN) -> None:
        self.now_s = 0.0
        self.began = began
        self.stands = False
        self.follows: bool | None = True

    def monotonic_s(self) -> float:
        return self.now_s

    def wall(self) -> datetime:
        return self.began if self.stands else self.began + timedelta(seconds=self.now_s)

    def synchronised(self) -> bool | None:
        return self.follows


class AtOnce:
    """A worker whose turns are taken by whoever wakes it: what is due is done when that returns."""

    def __init__(self, name: str, turn: Turn) -> None:
        del name
        self._turn = turn
        self._taking = self._again = self.ended = False
        self.wait_s = inf
        self.woken_s: float | None = None

    def start(self) -> None:
        self.wake()

    def wake(self) -> None:
        self._again, self.woken_s = True, None
        while self._again and not self._taking and not self.ended:
            self._taking, self._again = True, False
            wait_s = self._turn()
            self._taking = False
            self.ended = wait_s is None
            self.wait_s = inf if wait_s is None else wait_s

    def join(self, timeout_s: float) -> None:
        pass


class FaultyDisk(SystemDisk):
    """The real disk, until it is full; counts what was written."""

    def __init__(self) -> None:
        self.full = False
        self.free = 8_000_000_000
        self.written: list[tuple[str, int]] = []
        self.before: Callable[[], None] = lambda: None

    def _taken(self, path: Path, size: int) -> None:
        self.before()
        if self.full:
            raise OSError(errno.ENOSPC, "No space left on device")
        self.written.append((path.name, size))

    def write_bytes(self, path: Path, content: bytes) -> None:
        self._taken(path, len(content))
        super().write_bytes(path, content)

    def append(self, path: Path, text: str) -> None:
        self._taken(path, len(text))
        super().append(path, text)

    def free_bytes(self, folder: Path) -> int:
        return self.free


class Bench:
    """A guard on a board in memory, with its flight recorder, ten looks a second of its own time.

    By default everything that is due is done before `run` returns.
    """

    def __init__(
        self,
        state: Path,
        *,
        site: Site = CLASSROOM,
        hire: Hire = AtOnce,
        limits: Limits | None = None,
        disk: SystemDisk | None = None,
        hastened: bool = False,
        boot: str = "5f2c91ab",
    ) -> None:
        self.state, self.site = state, site
        self.clock = HandClock()
        self.disk = disk or FaultyDisk()
        self._workers: list[Worker] = []

        def hired(name: str, turn: Turn) -> Worker:
            self._workers.append(hire(name, turn))
            return self._workers[-1]

        self.machine = Machine(self.clock, hired, self.disk, THIS.open_session)
        self.board = MemoryBoard(site)
        self.guard = Guard(site, self.board, boot)
        records = Records(
            state, site_text("classroom"), "memory", hastened=hastened, limits=limits or Limits()
        )
        self.flight = Flight(self.guard, boot, records, self.machine)
        self.seen: list[tuple[Observation, Decision]] = []
        self.took_s: list[float] = []
        self.n = 0

    def run(self, seconds: float) -> None:
        """So many seconds of looks."""
        for _ in range(round(seconds / TICK_S)):
            self.tick()

    def tick(self) -> None:
        """One look, and its handing over, a little after it was due as on a real machine."""
        self.n += 1
        t_s = self.n * TICK_S + self.n * 7919 % 1000 * 1e-6
        self.clock.now_s = t_s
        if self.board.on["pump-relay"]:
            self.board.counts["return-flow"] += 45 + self.n * 31 % 7
        decision = self.guard.tick(t_s)
        assert self.guard.observation is not None
        self.seen.append((self.guard.observation, decision))
        began_s = time.perf_counter()
        self.flight.take(t_s, self.n, self.clock.wall(), decision)
        self.took_s.append(time.perf_counter() - began_s)
        self.wake_those_due()

    def wake_those_due(self) -> None:
        """Let workers that waited for long enough have their next turn."""
        for worker in self._workers:
            if not isinstance(worker, AtOnce):
                continue
            if worker.woken_s is None:
                worker.woken_s = self.clock.now_s
            elif self.clock.now_s >= worker.woken_s + worker.wait_s:
                worker.wake()

    def wet(self, sensor: str, seconds: float = 2.0) -> None:
        """A float gets wet for a while."""
        self.board.wet(sensor, True)
        self.run(seconds)
        self.board.wet(sensor, False)

    @property
    def t_s(self) -> float:
        """The time of the last look [s]."""
        return self.seen[-1][0].t_s

    def recordings(self) -> list[Path]:
        """What was written, oldest first."""
        return sorted((self.state / "recordings").glob("*"))

    def days(self) -> list[Path]:
        """The days' records, oldest first."""
        return sorted((self.state / "days").glob("*"))


def span(path: Path) -> tuple[float, float]:
    """The times of the first and the last row of a recording that is whole [s]."""
    recording = Recording(path)
    times = [row.t_s for row in recording.rows(recording.own_site())]
    assert recording.whole
    return times[0], times[-1]


def assert_replays_as_seen(path: Path, seen: list[tuple[Observation, Decision]]) -> int:
    """Every look of a recording, and everything that is decided at it now, is what it was, to the
    bit; returns how many looks there are."""
    recording = Recording(path)
    played = list(Replay(recording, recording.own_site()).play())
    known = {observation.t_s: (observation, decision) for observation, decision in seen}
    for one in played:
        observation, decision = known[one.t_s]
        assert repr(one.observation) == repr(observation)  # repr: no number equals itself
        assert one.decision == decision
        assert one.row is not None
        assert one.row.on == decision.outputs
    assert recording.whole
    return len(played)
