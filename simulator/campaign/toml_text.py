"""Plain tables written as TOML: a drawn drill, or a drawn site, for people to read and run."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

_BARE = re.compile(r"^[A-Za-z0-9_-]+$")


def write(tables: Mapping[str, Any]) -> str:
    """The text of a TOML document; a list of tables is written as an array of tables."""
    return "\n".join(_table((), tables)).strip("\n") + "\n"


def _table(path: tuple[str, ...], table: Mapping[str, Any]) -> list[str]:
    lines: list[str] = []
    inner = [(key, value) for key, value in table.items() if _stands_apart(path, value)]
    own = [(key, value) for key, value in table.items() if not _stands_apart(path, value)]
    lines += [f"{_key(key)} = {_value(value)}" for key, value in own]
    for key, value in inner:
        name = ".".join(_key(part) for part in (*path, key))
        if isinstance(value, Mapping):
            below = _table((*path, key), value)
            only_tables = bool(value) and all(
                _stands_apart((*path, key), v) for v in value.values()
            )
            lines += ["", *([] if only_tables else [f"[{name}]"]), *below]
        else:
            for entry in value:
                lines += ["", f"[[{name}]]", *_table((*path, key), entry)]
    return lines


def _stands_apart(path: tuple[str, ...], value: object) -> bool:
    """True of what gets a header of its own: tables, and lists of tables at the top."""
    if isinstance(value, Mapping):
        return True
    tables = isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)
    return tables and not path


def _key(key: str) -> str:
    return key if _BARE.match(key) else json.dumps(key)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(_value(entry) for entry in value) + "]"
    raise TypeError(f"{type(value).__name__} is nothing that a TOML file can hold")
