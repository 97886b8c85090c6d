"""What the running guard asks of a disk; each step can fail with OSError, or take long."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Protocol


class Disk(Protocol):
    """Small files. Only what was synced outlives a power cut."""

    def read(self, path: Path) -> str:
        """The text of a file (UTF-8); raises OSError or ValueError."""

    def write(self, path: Path, text: str) -> None:
        """Write a file anew and sync it; it and its folder are made if need be."""

    def write_bytes(self, path: Path, content: bytes) -> None:
        """The same with what is no text."""

    def append(self, path: Path, text: str) -> None:
        """Put lines at the end of a file and sync it; made if need be, as its folder is.

        What stands behind the last line end was torn when it was written, and is cut off first.
        """

    def rename(self, path: Path, to: Path) -> None:
        """Give a file another name, in the place of what has that name: whole or not at all."""

    def remove(self, path: Path) -> None:
        """Remove a file, if it is there."""

    def sizes(self, folder: Path) -> dict[str, int]:
        """The files of a folder by their names, with their sizes [bytes]; none if there is none."""

    def free_bytes(self, folder: Path) -> int:
        """How much room is left where a folder is, or will be [bytes]."""


class SystemDisk:
    """The disk of this machine."""

    def read(self, path: Path) -> str:
        """See `Disk`."""
        return path.read_text(encoding="utf-8")

    def write(self, path: Path, text: str) -> None:
        """See `Disk`."""
        self.write_bytes(path, text.encode())

    def write_bytes(self, path: Path, content: bytes) -> None:
        """See `Disk`."""
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())

    def append(self, path: Path, text: str) -> None:
        """See `Disk`."""
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a+b") as file:
            if (size := file.tell()) and file.seek(size - 1) >= 0 and file.read(1) != b"\n":
                file.seek(0)
                file.truncate(file.read().rfind(b"\n") + 1)
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())

    def rename(self, path: Path, to: Path) -> None:
        """See `Disk`."""
        path.replace(to)

    def remove(self, path: Path) -> None:
        """See `Disk`."""
        path.unlink(missing_ok=True)

    def sizes(self, folder: Path) -> dict[str, int]:
        """See `Disk`."""
        try:
            with os.scandir(folder) as entries:
                return {each.name: each.stat().st_size for each in entries if each.is_file()}
        except FileNotFoundError:
            return {}

    def free_bytes(self, folder: Path) -> int:
        """See `Disk`."""
        while not folder.exists() and folder != folder.parent:
            folder = folder.parent
        return shutil.disk_usage(folder).free
