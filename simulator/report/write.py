"""Writing a report into a folder: a page as soon as its drill is over, and the index anew."""

from __future__ import annotations

import os
import re
import tempfile
from contextlib import suppress
from pathlib import Path

from rules.site.model import Site
from simulator.report.index import Line, index_page, line, not_here
from simulator.report.page import drill_page
from simulator.report.told import Told

INDEX = "index.html"


class ReportError(Exception):
    """A report that cannot be written; the text is a sentence."""


class Report:
    """A folder of pages, of `count` drills in the end.

    Raises ReportError where it cannot be written, before any night is run.
    """

    def __init__(self, folder: str, site: Site, seed: int, count: int) -> None:
        self._folder = Path(folder)
        self._site = site
        self._seed = seed
        self._count = count
        self._lines: list[Line] = []
        self._taken = {INDEX}
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=self._folder):
                pass
        except OSError as error:
            raise self._cannot(error) from None

    def add(self, told: Told) -> None:
        """Write the page of one drill, and the index with it."""
        file = self._file(told.name)
        self._write(file, drill_page(told))
        self._list(line(told, file))

    def add_not_here(self, title: str, group: str, why: str) -> None:
        """Write the index with a drill that is about something this site lacks."""
        self._list(not_here(title, group, why))

    @property
    def start(self) -> Path:
        """Where to begin reading: the index."""
        return self._folder / INDEX

    def _list(self, added: Line) -> None:
        self._lines.append(added)
        self._write(INDEX, index_page(self._site, self._lines, self._seed, self._count))

    def _file(self, name: str) -> str:
        """A file name of this drill's own, within the folder, that any system can hold."""
        plain = re.sub(r"[^a-z0-9]+", "-", Path(name).name.removesuffix(".toml").lower())
        stem = plain.strip("-")[:80] or "drill"
        file, count = f"{stem}.html", 1
        while file in self._taken:
            count += 1
            file = f"{stem}-{count}.html"
        self._taken.add(file)
        return file

    def _write(self, file: str, page: str) -> None:
        """Write beside the file, then put it in its place: nobody ever sees half a page."""
        beside = None
        try:
            handle, beside = tempfile.mkstemp(dir=self._folder, prefix=f".{file}.")
            with os.fdopen(handle, "w", encoding="utf-8") as new:
                new.write(page)
            Path(beside).chmod(0o644)
            Path(beside).replace(self._folder / file)
        except OSError as error:
            if beside is not None:
                with suppress(OSError):
                    Path(beside).unlink()
            raise self._cannot(error) from None

    def _cannot(self, error: OSError) -> ReportError:
        return ReportError(
            f"{self._folder}: the report cannot be written: {error.strerror or error}"
        )
