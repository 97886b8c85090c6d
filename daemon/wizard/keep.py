"""Answers as a file: the draft of an interrupted run, and answers given for a whole one."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from daemon.errors import InputError
from daemon.wizard.question import Given
from daemon.wizard.sheet import GUESS, marked, quoted
from daemon.wizard.write import replace

HEAD = """\
# Answers given to weirkeeper new so far. The next run goes on from here; delete this file to
# begin anew.
"""
LONGEST_BYTES = 1_000_000


def draft_of(file: Path) -> Path:
    """Where the answers of an interrupted run are kept."""
    return file.with_name(f"{file.name}.draft")


def dump(answers: Mapping[str, Given]) -> str:
    """Answers as TOML: one table for each thing they are about; guesses are marked."""
    tables: dict[str, list[str]] = {}
    for key, given in answers.items():
        table, _, name = key.rpartition(".")
        mark = f"  # {GUESS}" if given.guess else ""
        tables.setdefault(table, []).append(f"{name} = {quoted(given.text)}{mark}\n")
    return "\n".join([HEAD, *(f"[{table}]\n{''.join(rows)}" for table, rows in tables.items())])


def load(file: Path) -> dict[str, Given]:
    """Answers by their keys; raises InputError with a sentence."""
    try:
        if file.stat().st_size > LONGEST_BYTES:
            raise InputError(f"{file}: larger than 1 MB: these are no answers")
        text = file.read_text(encoding="utf-8")
        raw = tomllib.loads(text)
    except UnicodeDecodeError:
        raise InputError(f"{file}: not UTF-8 text") from None
    except OSError as error:
        raise InputError(f"{file}: cannot be read: {error.strerror or error}") from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"{file}: not TOML: {error}") from None
    answers: dict[str, str] = {}
    _flatten(raw, "", answers, file)
    marks = {f"{table}.{key}" for table, key in marked(text)}
    return {key: Given(text, key in marks) for key, text in answers.items()}


def _flatten(table: Mapping[str, object], prefix: str, into: dict[str, str], file: Path) -> None:
    for key, value in table.items():
        path = f"{prefix}{key}"
        if isinstance(value, dict):
            _flatten(value, f"{path}.", into, file)
        elif isinstance(value, bool):
            into[path] = "yes" if value else "no"
        elif isinstance(value, (str, int)):
            into[path] = str(value)
        else:
            raise InputError(f"{file}: {path}: an answer is text, a whole number, or true or false")


def keep(file: Path, answers: Mapping[str, Given]) -> None:
    """Keep answers in `file`."""
    replace(file, dump(answers))
