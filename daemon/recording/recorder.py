"""The last minutes of a guard in memory, to be written when something has happened."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from pathlib import Path

from daemon.recording.format import Head
from daemon.recording.write import Recorded, Writer, whole_file
from rules.memory import Memory
from rules.plan import Plan
from rules.signals import Decision, Event, Observation
from rules.site.model import Site

BLOCK_LOOKS = 100
"""Looks that are kept, and let go, together: the memory before the first of them is kept too."""


@dataclass(slots=True)
class _Block:
    plan: Plan
    before: Memory
    looks: list[tuple[float, Observation, tuple[bool, ...], tuple[Event, ...]]] = field(
        default_factory=list
    )
    """Up to when the guard remembered [s], what it saw, commanded and said."""


class Recorder:
    """Keeps the looks of the last `keeps_s` seconds, and no more than `most_looks`.

    `take` only puts references by; text is made when it is written, which may be in a thread of
    its own. It begins where the guard remembers what it did then, so that it replays exactly.
    """

    def __init__(
        self, head: Head, site: Site, keeps_s: float, most_looks: int | None = None
    ) -> None:
        self._head, self._site, self._keeps_s = head, site, keeps_s
        self._most_looks = most_looks or round(keeps_s * 20)
        self._blocks: deque[_Block] = deque()
        self._kept = 0

    def __len__(self) -> int:
        return self._kept

    def take(
        self, t_s: float, observation: Observation, decision: Decision, guard: Recorded
    ) -> None:
        """Put one look by."""
        blocks = self._blocks
        anew = bool(blocks) and guard.before.boot != blocks[-1].before.boot
        if not blocks or anew or len(blocks[-1].looks) >= BLOCK_LOOKS:
            blocks.append(_Block(guard.plan, guard.before))
        look = (guard.before.t_s, observation, decision.outputs, decision.events)
        blocks[-1].looks.append(look)
        self._kept += 1
        while len(blocks) > 1 and (
            blocks[1].looks[0][1].t_s <= t_s - self._keeps_s
            or self._kept - len(blocks[0].looks) >= self._most_looks
        ):
            self._kept -= len(blocks.popleft().looks)

    def snapshot(self) -> Recorder:
        """What is kept now, apart from what comes later: to be written by another thread."""
        apart = Recorder(self._head, self._site, self._keeps_s, self._most_looks)
        apart._blocks = deque(replace(block, looks=list(block.looks)) for block in self._blocks)
        apart._kept = self._kept
        return apart

    def write(self, path: Path) -> int:
        """Write a recording, whole or not at all; returns its rows. Raises OSError."""
        with whole_file(path) as stream:
            boot = self._blocks[0].before.boot if self._blocks else self._head.boot
            writer = Writer(stream, replace(self._head, boot=boot), self._site)
            remembered: str | None = None
            last_s = 0.0
            for block in self._blocks:
                if block.before.boot != remembered:  # the first, or a guard started anew
                    writer.remember(block.plan, block.before)
                    remembered, last_s = block.before.boot, block.before.t_s
                for before_s, observation, outputs, events in block.looks:
                    if before_s != last_s:
                        writer.passed(before_s)
                    last_s = observation.t_s
                    writer.row(observation, outputs, events)
            writer.end()
            return writer.rows
