"""Writing recordings: rows to text, and files that are there whole or not at all."""

from __future__ import annotations

import contextlib
import gzip
import io
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Protocol, Self, TextIO, cast

from daemon.errors import InputError
from daemon.recording import format as form
from daemon.recording import remembered
from daemon.recording.format import Head
from daemon.recording.rows import Rows
from rules.memory import Memory
from rules.plan import Plan
from rules.signals import Decision, Event, Observation
from rules.site.model import Site


class Recorded(Protocol):
    """What a recording needs of a guard beside its looks: the guard itself has all of it."""

    plan: Plan
    before: Memory
    """The memory before the last look."""


class Writer:
    """Writes one recording, row by row, to a text stream that keeps line ends as they are."""

    def __init__(self, stream: TextIO, head: Head, site: Site) -> None:
        self._stream = stream
        self._rows = Rows(site)
        self.rows = 0
        stream.writelines(f"{line}\n" for line in head.lines())

    def remember(self, plan: Plan, memory: Memory) -> None:
        """Put down what the guard remembered before the next row."""
        self._stream.write(f"{form.MEMORY}{remembered.line(plan, memory)}\n")

    def passed(self, t_s: float) -> None:
        """Put down that looks up to `t_s` [s] were left out before the next row."""
        self._stream.write(f"{form.passed_line(t_s)}\n")

    def row(
        self, observation: Observation, outputs: tuple[bool, ...], events: tuple[Event, ...]
    ) -> None:
        """Put down one look, what was commanded at it, and what was said."""
        if self.rows == 0:
            self._stream.write(f"{self._rows.header}\n")
        self.rows += 1
        self._stream.write(f"{self._rows.line(observation, outputs, events)}\n")

    def end(self) -> None:
        """Close with the line that tells that the file is whole."""
        if self.rows == 0:
            self._stream.write(f"{self._rows.header}\n")
        self._stream.write(f"{form.end_line(self.rows)}\n")


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[TextIO]:
    """A text file that takes its place only once all of it is written; compressed by its name.

    Raises OSError. Left by an exception, it leaves in its place what was there before.
    """
    place = path.resolve()
    beside = place.with_name(f".{place.name}.{os.getpid()}.part")
    try:
        with beside.open("wb") as raw:
            with contextlib.ExitStack() as stack:
                binary: BinaryIO = raw
                if path.name.endswith(".gz"):
                    # no name and no time inside: same rows, same bytes
                    packed = gzip.GzipFile("", "wb", compresslevel=6, fileobj=raw, mtime=0)
                    binary = cast(BinaryIO, stack.enter_context(packed))
                text = io.TextIOWrapper(binary, encoding="utf-8", newline="")
                yield text
                text.flush()
                text.detach()  # so that it closes nothing of its own
            raw.flush()
            os.fsync(raw.fileno())
        beside.replace(place)
    finally:
        beside.unlink(missing_ok=True)


class NothingToRecordError(Exception):
    """No guard looked at anything."""


class RecordingFile:
    """Puts every look of a guard into a file as it comes; to be used in a `with` statement.

    The file takes its place at the end of that, whole; a run that failed, or in which no guard
    looked at anything, leaves none. Raises InputError where it cannot be written.
    """

    def __init__(self, path: Path, head: Head, site: Site) -> None:
        self._path, self._head, self._site = path, head, site
        self._whole = whole_file(path)
        self._stream: TextIO | None = None
        self._writer: Writer | None = None
        self._boot: str | None = None
        self._last_s = 0.0

    def __enter__(self) -> Self:
        with _sentences(self._path):
            self._stream = self._whole.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with _sentences(self._path):
            if self._writer is not None and kind is None:
                self._writer.end()
            elif error is None:
                error = NothingToRecordError()
                kind = type(error)
            self._whole.__exit__(kind, error, trace)

    @property
    def rows(self) -> int:
        """How many looks have been put down."""
        return self._writer.rows if self._writer else 0

    def take(
        self, t_s: float, observation: Observation, decision: Decision, guard: Recorded
    ) -> None:
        """Put down one look of `guard`: the tap of a run."""
        assert self._stream is not None
        assert t_s == observation.t_s
        with _sentences(self._path):
            boot = guard.before.boot
            if self._writer is None:
                self._writer = Writer(self._stream, replace(self._head, boot=boot), self._site)
            if boot != self._boot:  # the first guard, or one that was started anew
                self._writer.remember(guard.plan, guard.before)
                self._boot = boot
            elif guard.before.t_s != self._last_s:  # what it remembered was brought forward
                self._writer.passed(guard.before.t_s)
            self._last_s = t_s
            self._writer.row(observation, decision.outputs, decision.events)


@contextlib.contextmanager
def _sentences(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror or error}") from None
