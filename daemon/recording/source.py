"""The lines of a recording's file, plain or compressed, with a sentence for what is no text."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, cast

from daemon.errors import InputError

LONGEST_LINE = 1_000_000
TOLD_LINES = 2000
"""Progress is told once in so many lines."""

Progress = Callable[[float], None]
"""Is told how much of a file has been read: 0 to 1."""


def problem(file: str, line: int, column: str, sentence: str) -> InputError:
    """What is wrong in a file, and where."""
    where = f" line {line}" if line else ""
    where += f", column {column}" if column else ""
    return InputError(f"{file}:{where}{':' if where else ''} {sentence}")


def lines(path: Path, progress: Progress | None = None) -> Iterator[tuple[int, str]]:
    """Every line with its number, without its end; raises InputError with a sentence."""
    file, number = str(path), 0
    try:
        size = max(1, path.stat().st_size)
        with path.open("rb") as raw:
            packed = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            binary = cast(BinaryIO, gzip.GzipFile(fileobj=raw)) if packed else raw
            while line := binary.readline(LONGEST_LINE + 1):
                number += 1
                if len(line) > LONGEST_LINE:
                    raise problem(file, number, "", "longer than 1 MB: this is no recording")
                yield number, _text(file, number, line)
                if progress is not None and number % TOLD_LINES == 0:
                    progress(min(1.0, raw.tell() / size))
    except (EOFError, zlib.error, gzip.BadGzipFile):
        sentence = "what is compressed in it is damaged or cut short after this"
        raise problem(file, number, "", sentence) from None
    except OSError as error:
        raise problem(file, 0, "", f"cannot be read: {error.strerror or error}") from None


def _text(file: str, number: int, line: bytes) -> str:
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise problem(file, number, "", "not UTF-8 text; a recording is CSV, or CSV in .gz")
    if number == 1:
        text = text.removeprefix("\ufeff")  # some spreadsheets begin a file with this mark
    text = text.removesuffix("\n").removesuffix("\r")
    if "\r" in text:
        sentence = "its lines end in carriage returns alone; save it with the line ends of Unix"
        raise problem(file, number, "", sentence)
    return text
