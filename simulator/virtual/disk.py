"""A disk that can be full, stall, and be left in the middle of a write by a kill or a power cut."""

from __future__ import annotations

import errno
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from simulator.virtual.loop import Strand, VirtualLoop, current_strand
from simulator.virtual.trace import Trace

TAKES_S = (0.004, 0.030)
"""How long a synced write or a rename takes on a memory card [s]; own estimate."""

TORN = "\ufffd"
"""Stands in a file where a write was broken off: no text can be read past it."""

ROOM_BYTES = 8_000_000_000


@dataclass(slots=True)
class _UnderWay:
    """One step that a strand waits for: what comes of it, and what if it is broken off."""

    strand: Strand
    begins_s: float
    ends_s: float
    done: Callable[[], None]
    torn: Callable[[], None]


class VirtualDisk:
    """Files by path. Each step takes its time, and the strand that asked for it waits so long.

    `unreadable` are the files that were found torn when somebody read them.
    """

    def __init__(self, loop: VirtualLoop, chance: random.Random, trace: Trace) -> None:
        self._loop = loop
        self._chance = chance
        self._trace = trace
        self._under_way: list[_UnderWay] = []
        self.files: dict[str, str] = {}
        self.full = False
        self.unreadable: list[str] = []
        self._stalled_until_s = 0.0

    def stall(self, lasts_s: float) -> None:
        """Let every step take until so long from now, those under way too."""
        self._stalled_until_s = max(self._stalled_until_s, self._loop.time() + lasts_s)

    def read(self, path: Path) -> str:
        """See `Disk`."""
        strand = current_strand()
        if strand is not None:
            strand.hold(self, max(self._stalled_until_s, strand.free_at_s))
        text = self.files.get(str(path))
        if text is None:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory", str(path))
        if TORN in text:
            self.unreadable.append(str(path))
            raise ValueError("it is not text in UTF-8")
        return text

    def write(self, path: Path, text: str) -> None:
        """See `Disk`."""
        self._write(path, text, text)

    def write_bytes(self, path: Path, content: bytes) -> None:
        """See `Disk`; kept as text of as many letters."""
        self._write(path, content.decode("latin-1"), f"{len(content)} bytes")

    def append(self, path: Path, text: str) -> None:
        """See `Disk`; a line that is broken off stays as it is, for whoever appends next."""
        key = str(path)
        if self.full:
            self._trace.add("disk", f"{path.name} cannot be written: full")
            raise OSError(errno.ENOSPC, "No space left on device")

        def put(part: str) -> None:
            before = self.files.get(key, "")
            self.files[key] = before[: before.rfind("\n") + 1] + part
            self._trace.add("disk", f"{path.name} is longer by {len(part)}")

        self._step(lambda: put(text), lambda: put(text[: self._chance.randrange(len(text) + 1)]))

    def remove(self, path: Path) -> None:
        """See `Disk`."""

        def done() -> None:
            self.files.pop(str(path), None)

        self._step(done, lambda: None)

    def sizes(self, folder: Path) -> dict[str, int]:
        """See `Disk`."""
        paths = {Path(key): len(text) for key, text in self.files.items()}
        return {path.name: size for path, size in paths.items() if path.parent == folder}

    def free_bytes(self, folder: Path) -> int:
        """See `Disk`."""
        del folder
        return 0 if self.full else ROOM_BYTES

    def rename(self, path: Path, to: Path) -> None:
        """See `Disk`."""

        def done() -> None:
            if str(path) in self.files:
                self.files[str(to)] = self.files.pop(str(path))
                self._trace.add("disk", f"{path.name} is now {to.name}")

        self._step(done, lambda: None)  # whole or not at all

    def break_off(self, strand: Strand) -> None:
        """A strand is killed: what it had under way ends in the middle, the rest never begins."""
        for step in [each for each in self._under_way if each.strand is strand]:
            self._under_way.remove(step)
            if step.begins_s <= self._loop.time():
                step.torn()

    def _write(self, path: Path, text: str, told: str) -> None:
        key = str(path)
        if self.full:
            self.files[key] = ""
            self._trace.add("disk", f"{path.name} cannot be written: full")
            raise OSError(errno.ENOSPC, "No space left on device")

        def done() -> None:
            self.files[key] = text
            self._trace.add("disk", f"{path.name} written: {told}")

        def torn() -> None:
            self.files[key] = text[: self._chance.randrange(len(text) + 1)] + TORN
            self._trace.add("disk", f"{path.name} torn")

        self._step(done, torn)

    def _step(self, done: Callable[[], None], torn: Callable[[], None]) -> None:
        strand = current_strand()
        if strand is None:
            raise RuntimeError("only a process writes to the disk")
        begins_s = strand.free_at_s
        step = _UnderWay(strand, begins_s, begins_s + self._chance.uniform(*TAKES_S), done, torn)
        self._under_way.append(step)
        self._wait_for(step)

    def _wait_for(self, step: _UnderWay) -> None:
        step.ends_s = max(step.ends_s, self._stalled_until_s)
        step.strand.hold(self, step.ends_s)
        self._loop.call_at(step.ends_s, self._end, step, context=self._loop.world)

    def _end(self, step: _UnderWay) -> None:
        if step not in self._under_way:
            return
        if self._stalled_until_s > self._loop.time():
            self._wait_for(step)  # it stalled meanwhile
            return
        self._under_way.remove(step)
        step.done()
