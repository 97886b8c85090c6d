"""What happened under virtual time, line by line; its digest tells two runs apart."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import TextIO


class Trace:
    """A line for each thing that happened: when [s], who, what.

    Lines are counted and digested, and written to `file` where there is one; a night has too many
    to keep. The last ones are kept for whoever asks what led up to a failure.
    """

    def __init__(self, file: TextIO | None = None, keep: bool = False) -> None:
        self._file = file
        self._digest = hashlib.sha256()
        self._clock: Callable[[], float] = lambda: 0.0
        self._keep = keep
        self.lines: list[str] = []
        self.count = 0

    def by(self, clock: Callable[[], float]) -> None:
        """Take times from this clock from now on."""
        self._clock = clock

    def add(self, who: str, what: str) -> None:
        """Write one line."""
        line = f"{self._clock():.6f} {who}: {what}\n"
        self._digest.update(line.encode())
        self.count += 1
        if self._file is not None:
            self._file.write(line)
        if self._keep:
            self.lines.append(line)

    @property
    def digest(self) -> str:
        """The SHA-256 of all lines so far, in hexadecimal."""
        return self._digest.hexdigest()
