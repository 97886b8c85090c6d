"""Changing one table of a site file's text, with all the rest left as it is."""

from __future__ import annotations

import os
import re
import stat
import tempfile
import tomllib
from collections.abc import Mapping
from pathlib import Path

from daemon.errors import InputError


def with_table(text: str, table: str, values: Mapping[str, str]) -> str:
    """The text with keys of a table ("measured.riser-flow") set to these TOML literals.

    A table that is not there is added at the end. Comments, order and line ends of everything else
    stay. Raises InputError if that cannot be done for certain.
    """
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.split("\n")
    start = _header(lines, table)
    if start is None:
        new = [f"[{table}]", *(f"{key} = {literal}" for key, literal in values.items())]
        gap = newline if text.endswith("\n") else newline * 2
        changed = text + gap + newline.join(new) + newline
    else:
        _set_keys(lines, start, values, newline.removesuffix("\n"))
        changed = "\n".join(lines)
    if not _only_that(text, changed, table, values):
        raise InputError(
            f"[{table}] is written in a way that this command does not change by itself; set "
            f"{', '.join(f'{key} = {literal}' for key, literal in values.items())} by hand"
        )
    return changed


def _header(lines: list[str], table: str) -> int | None:
    """The line on which a table begins."""
    name = r"\s*\.\s*".join(rf"[\"']?{re.escape(part)}[\"']?" for part in table.split("."))
    header = re.compile(rf"\s*\[\s*{name}\s*\]\s*(#.*)?")
    return next((i for i, line in enumerate(lines) if header.fullmatch(line)), None)


def _set_keys(lines: list[str], start: int, values: Mapping[str, str], line_end: str) -> None:
    """Set keys of the table that begins on line `start`; new ones stand after the last one set."""
    last = start
    for key, literal in values.items():
        end = next(
            (i for i in range(start + 1, len(lines)) if re.match(r"\s*\[", lines[i])), len(lines)
        )
        here = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=")
        at = next((i for i in range(start + 1, end) if here.match(lines[i])), None)
        new = f"{key} = {literal}{line_end}"
        if at is None:
            last += 1
            lines.insert(last, new)
        else:
            lines[at], last = new, at


def _only_that(before: str, after: str, table: str, values: Mapping[str, str]) -> bool:
    """Whether two texts say the same but for these keys."""
    expected = tomllib.loads(before)
    wanted = tomllib.loads("\n".join(f"{key} = {literal}" for key, literal in values.items()))
    inner = expected
    for part in table.split("."):
        inner = inner.setdefault(part, {})
    inner.update(wanted)
    try:
        return tomllib.loads(after) == expected
    except tomllib.TOMLDecodeError:
        return False


def read(path: Path) -> str:
    """The text of a file, its line ends as they are."""
    return path.read_bytes().decode("utf-8")


def replace(path: Path, text: str) -> None:
    """Put a text in a file's place, all of it or none; owner and permissions stay."""
    target = path.resolve()
    new = ""
    try:
        before = target.stat()
        handle, new = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
            os.fchmod(file.fileno(), stat.S_IMODE(before.st_mode))
            os.fchown(file.fileno(), before.st_uid, before.st_gid)
        Path(new).replace(target)
    except OSError as error:
        if new:
            Path(new).unlink(missing_ok=True)
        raise InputError(
            f"{path}: cannot be written, and is as it was: {error.strerror or error}"
        ) from None
