"""A simulated process: its strands, its workers, and its pins, which a kill takes from it."""

from __future__ import annotations

import random
from collections.abc import Callable
from math import inf
from typing import TypeVar

from daemon.ports import Board
from daemon.worker import Turn
from simulator.virtual.loop import Strand, VirtualLoop, current_strand
from simulator.virtual.trace import Trace

T = TypeVar("T")

WOKEN_S = (0.00005, 0.002)
"""How long the scheduler takes to run a thread that was woken [s]; own estimate."""

LEAST_S = 1e-6
"""A thread that waits at all is away for so long at least [s]; time must not stand still."""


class Process:
    """Strands that live and die together; `main` is the one of the event loop."""

    def __init__(self, loop: VirtualLoop, name: str, chance: random.Random) -> None:
        self.loop = loop
        self.name = name
        self.chance = chance
        self.dead = False
        self.strands: list[Strand] = []
        self.workers: list[StrandWorker] = []
        self.main = self.strand("main")

    def strand(self, name: str) -> Strand:
        """Another thread of this process."""
        strand = Strand(self.loop, f"{self.name}/{name}")
        self.strands.append(strand)
        return strand

    def hire(self, name: str, turn: Turn) -> StrandWorker:
        """See `daemon.worker.Hire`."""
        worker = StrandWorker(self, name, turn)
        self.workers.append(worker)
        return worker

    def in_main(self, act: Callable[[], T]) -> T:
        """Do something as its main thread would."""
        return self.main.context.run(act)

    def die(self) -> None:
        """No strand of it ever runs again; nothing of it is unwound."""
        self.dead = True
        for strand in self.strands:
            strand.dead = True


class StrandWorker:
    """Takes the turns of one work as a strand of its own."""

    def __init__(self, process: Process, name: str, turn: Turn) -> None:
        self.strand = process.strand(name)
        self.ended = False
        self._process = process
        self._loop = process.loop
        self._turn = turn
        self._started = self._taking = self._woken = False
        self._joined_by: list[Strand] = []
        self._next = inf
        self._asked = 0

    def start(self) -> None:
        """See `Worker`."""
        self._started = True
        self._soon()

    def wake(self) -> None:
        """See `Worker`."""
        if self._taking:
            self._woken = True
        elif self._started and not self.ended and not self._process.dead:
            self._soon()

    def join(self, timeout_s: float) -> None:
        """See `Worker`; returns at once, and the caller waits before its next turn instead."""
        caller = current_strand()
        if caller is None or not self._started or self.ended or self._process.dead:
            return
        self._joined_by.append(caller)
        caller.hold(self, caller.free_at_s + timeout_s)

    def _soon(self) -> None:
        self._at(self._loop.time() + self._process.chance.uniform(*WOKEN_S))

    def _at(self, when_s: float) -> None:
        """Take the next turn then, unless it is due earlier already."""
        if when_s < self._next:
            self._next = when_s
            self._asked += 1
            self._loop.call_at(when_s, self._take, self._asked, context=self.strand.context)

    def _take(self, asked: int) -> None:
        if asked != self._asked or self.ended:
            return  # it was woken meanwhile, and has taken this turn
        self._next = inf
        self._taking, self._woken = True, False
        wait_s = self._turn()
        self._taking = False
        if wait_s is None:
            self.ended = True
            for caller in self._joined_by:
                caller.release(self)
        elif self._woken:
            self._at(self.strand.free_at_s)
        elif wait_s < inf:
            self._at(self.strand.free_at_s + max(wait_s, LEAST_S))


class ProcessPins:
    """The board as one process sees it: it ends with the process, and the pins go on."""

    def __init__(self, process: Process, pins: Pins) -> None:
        self._process = process
        self._pins = pins
        self.name = pins.name

    def closed(self, sensor: str) -> bool:
        """See `Board`."""
        return self._pins.closed(sensor)

    def pulses(self, sensor: str) -> int:
        """See `Board`."""
        return self._pins.pulses(sensor)

    def analog(self, sensor: str) -> float:
        """See `Board`."""
        return self._pins.analog(sensor)

    def drive(self, output: str, on: bool) -> None:
        """See `Board`."""
        if not self._process.dead:
            self._pins.drive(output, on)

    def close(self) -> None:
        """See `Board`."""
        if not self._process.dead:
            self._pins.close()


class Pins:
    """The board itself, with what each output was last left as; it writes changes down."""

    def __init__(self, outputs: tuple[str, ...], board: Board, trace: Trace) -> None:
        self._board = board
        self._trace = trace
        self.name = board.name
        self.left: dict[str, bool] = dict.fromkeys(outputs, False)
        self.told: list[Callable[[str, bool], None]] = []

    def closed(self, sensor: str) -> bool:
        """See `Board`."""
        return self._board.closed(sensor)

    def pulses(self, sensor: str) -> int:
        """See `Board`."""
        return self._board.pulses(sensor)

    def analog(self, sensor: str) -> float:
        """See `Board`."""
        return self._board.analog(sensor)

    def drive(self, output: str, on: bool) -> None:
        """See `Board`."""
        self._board.drive(output, on)
        for tell in self.told:
            tell(output, on)
        if on is not self.left[output]:
            self.left[output] = on
            self._trace.add("pins", f"{output} {'on' if on else 'off'}")

    def close(self) -> None:
        """See `Board`."""
        for output in self.left:
            self.drive(output, False)
