"""What the running guard asks of a disk; each step can fail with OSError, or take long."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Protocol


class Disk(Protocol):
    """Small text files. Only what was synced outlives a power cut."""

    def read(self, path: Path) -> str:
        """The text of a file (UTF-8); raises OSError or ValueError."""

    def write(self, path: Path, text: str) -> None:
        """Write a file anew and sync it; it and its folder are made if need be."""

    def rename(self, path: Path, to: Path) -> None:
        """Give a file another name, in the place of what has that name: whole or not at all."""


class SystemDisk:
    """The disk of this machine."""

    def read(self, path: Path) -> str:
        """See `Disk`."""
        return path.read_text(encoding="utf-8")

    def write(self, path: Path, text: str) -> None:
        """See `Disk`."""
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())

    def rename(self, path: Path, to: Path) -> None:
        """See `Disk`."""
        path.replace(to)
