"""The folder of a campaign: its terms, and one line for every night that has been played.

Lines are only ever added, and each is on its way to the disk before the next night's; what a crash
cuts in half is dropped on the next start. The same command goes on where it ended.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from simulator.campaign.play import Record, Terms

TERMS_FILE, NIGHTS_FILE = "campaign.json", "nights.jsonl"
DECIDING = ("rules", "simulator")
DECIDING_TOO = ("guard.py", "lease.py", "sensing.py")
"""What of the package decides how a night goes: these packages, and these files of the daemon."""


class OtherCampaignError(Exception):
    """The folder holds another campaign; the text is a sentence."""


def code_digest() -> str:
    """A digest of all code that decides how a night goes."""
    digest = hashlib.sha256()
    for package in DECIDING:
        for name, text in sorted(_sources(files(package), package)):
            digest.update(f"{name}\0".encode() + text)
    for name in DECIDING_TOO:
        digest.update((files("daemon") / name).read_bytes())
    return digest.hexdigest()


def _sources(folder: Traversable, path: str) -> Iterator[tuple[str, bytes]]:
    for entry in folder.iterdir():
        name = f"{path}/{entry.name}"
        if entry.is_dir() and entry.name != "__pycache__":
            yield from _sources(entry, name)
        elif entry.name.endswith(".py"):
            yield name, entry.read_bytes()


def plain_terms(terms: Terms) -> dict[str, Any]:
    """The terms as the folder keeps them; the judge goes with the code."""
    return {
        "the site file": hashlib.sha256(terms.site_text.encode()).hexdigest(),
        "the version of the program": code_digest(),
        "--seed": terms.seed,
        "--kinds": list(terms.labels),
        "--hours": terms.lasts_s / 3600.0,
        "--beside": terms.beside,
        "--without": sorted(terms.without),
        "--random-sites": terms.random_sites,
        "--every-tick": terms.every_tick,
    }


class Book:
    """A campaign's folder, open for adding to; raises OtherCampaignError, and OSError."""

    def __init__(self, folder: Path, terms: Terms) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._check(plain_terms(terms))
        self._path = folder / NIGHTS_FILE
        self.records: dict[int, Record] = dict(self._read())
        self._file = self._path.open("ab")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def add(self, record: Record) -> None:
        """Write down one night, for good."""
        line = json.dumps(record, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        self._file.write(line.encode() + b"\n")
        self._file.flush()
        os.fsync(self._file.fileno())
        self.records[record["night"]] = record

    def _check(self, terms: dict[str, Any]) -> None:
        path = self.folder / TERMS_FILE
        if not path.exists():
            text = json.dumps(terms, indent=2) + "\n"
            beside = path.with_suffix(".new")
            beside.write_text(text, encoding="utf-8")
            beside.replace(path)
            return
        try:
            before = json.loads(path.read_text(encoding="utf-8"))
        except ValueError:
            raise OtherCampaignError(f"{path} is not the terms of a campaign") from None
        if other := [key for key, value in terms.items() if before.get(key) != value]:
            raise OtherCampaignError(
                f"{self.folder} holds nights of another campaign ({', '.join(other)} differ"
                f"{'s' if len(other) == 1 else ''}); name another folder with --out, or remove it"
            )

    def _read(self) -> Iterator[tuple[int, Record]]:
        """The nights that are there whole; a line cut in half is taken off the end."""
        if not self._path.exists():
            return
        whole = 0
        with self._path.open("rb") as file:
            for line in file:
                try:
                    record = json.loads(line) if line.endswith(b"\n") else None
                except ValueError:
                    record = None
                if record is None:
                    break
                whole += len(line)
                yield record["night"], record
        if whole < self._path.stat().st_size:
            os.truncate(self._path, whole)
