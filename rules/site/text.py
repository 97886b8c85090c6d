"""TOML text read into tables, with a sentence for what is no TOML."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from rules.site.problems import Problem

_AT = re.compile(r"\(at (line \d+, column \d+|end of document)\)")


class NotTomlError(ValueError):
    """The text is no TOML that can be read; `problem` says what is wrong, and where."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


def tables(text: str, file: str) -> dict[str, Any]:
    """The tables of a TOML text; `file` is only its name, for messages. Raises NotTomlError."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = _AT.search(str(error))
        what = _AT.sub("", str(error)).strip().rstrip(".")
        sentence = f"not TOML: {what[:1].lower()}{what[1:]}"
        raise NotTomlError(Problem(file, "", at[1] if at else "", sentence)) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, or tables without end
        sentence = "not TOML that can be read: a number too long, or brackets too deep"
        raise NotTomlError(Problem(file, "", "", sentence)) from None
