"""Looks of a running guard packed together: small in memory, and ready to be put into a file.

A look kept as it is takes 400 bytes and half a dozen objects that the interpreter's search for
dead objects walks over again and again; packed it takes 15. A recording is put together from the
packed blocks as they are, so that also an hour of looks is a file within milliseconds.
"""

from __future__ import annotations

import gzip
import zlib
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from daemon.recording import format as form
from daemon.recording import remembered
from daemon.recording.format import Head
from daemon.recording.rows import Rows
from rules.memory import Memory
from rules.plan import Plan
from rules.signals import Event, Observation
from rules.site.model import Site

BLOCK_LOOKS = 100
"""Looks that are packed together. More take less room, and the interpreter for longer at a time:
100 take 2 to 4 ms of it on a desktop machine, once in ten seconds."""

BLOCK_S = 10.0
"""A block is packed after so long, however few looks it holds [s]."""


class Look(NamedTuple):
    """What a guard saw at one look, commanded and said; `alarms` is how many stand.

    `before_s` is the time up to which it remembered everything before it [s].
    """

    before_s: float
    seen: Observation
    outputs: tuple[bool, ...]
    events: tuple[Event, ...]
    wall: datetime
    alarms: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Looks that follow each other, and what the guard remembered before the first of them."""

    number: int
    plan: Plan
    before: Memory
    looks: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch, packed: `rows` is a piece of a compressed file, `remembered` the packed line."""

    number: int
    first_s: float
    last_s: float
    looks: int
    remembered: bytes
    rows: bytes


class Packer:
    """Packs stretches of one guard."""

    def __init__(self, site: Site) -> None:
        self._rows = Rows(site)
        self._last_s = 0.0

    def pack(self, stretch: Stretch) -> Block:
        """The stretch as it stands in a file."""
        lines = []
        for look in stretch.looks:
            if look.before_s != self._last_s:
                lines.append(form.passed_line(look.before_s))
            lines.append(self._rows.line(look.seen, look.outputs, look.events))
            self._last_s = look.seen.t_s
        return Block(
            stretch.number,
            stretch.looks[0].seen.t_s,
            stretch.looks[-1].seen.t_s,
            len(stretch.looks),
            zlib.compress(remembered.line(stretch.plan, stretch.before).encode()),
            _packed(lines),
        )


class Ring:
    """The blocks of the last `keeps_s` seconds, and no more than `most`."""

    def __init__(self, keeps_s: float, most: int) -> None:
        self._keeps_s = keeps_s
        self._blocks: deque[Block] = deque(maxlen=most)

    def add(self, block: Block) -> None:
        """Keep a block, and let those go that are too old."""
        blocks = self._blocks
        blocks.append(block)
        while len(blocks) > 1 and blocks[1].first_s <= block.last_s - self._keeps_s:
            blocks.popleft()

    @property
    def blocks(self) -> tuple[Block, ...]:
        """What is kept, oldest first."""
        return tuple(self._blocks)


def recording(head: Head, site: Site, blocks: Iterable[Block], failed: str = "") -> bytes:
    """A whole recording as its file, compressed; `failed` is the row of a look that failed.

    A block that does not follow on the one before it begins with what the guard remembered then.
    """
    pieces, looks, number = [], 0, -1
    for block in blocks:
        if block.number != number + 1 or not looks:
            memory = f"{form.MEMORY}{zlib.decompress(block.remembered).decode()}"
            top = [*head.lines(), memory, Rows(site).header]
            pieces.append(_packed([memory] if looks else top))
        pieces.append(block.rows)
        looks, number = looks + block.looks, block.number
    if not looks:
        pieces.append(_packed([*head.lines(), Rows(site).header]))
    last = [f"{form.FAILED}{failed}"] if failed else []
    pieces.append(_packed([*last, form.end_line(looks)]))
    return b"".join(pieces)


def _packed(lines: Iterable[str]) -> bytes:
    """Lines as one piece of a gzip file (RFC 1952, 2.2: pieces may follow each other)."""
    return gzip.compress("".join(f"{line}\n" for line in lines).encode(), 6, mtime=0)
