"""The guard's memory as one line of text, and back into the places of another plan."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from rules.memory import ContactMemory, Memory, PumpMemory, RowMemory, begin
from rules.plan import Plan

_MEMORY = TypeAdapter(Memory)
_T = TypeVar("_T")

_PLACED = ("contacts", "rows", "pumps")
_OF_ANY_SITE = ("boot", "t_s", "top_off_since_s", "top_off_used_s", "raised")
_BEGINNING = tuple(
    field.name for field in fields(Memory) if field.name not in (*_PLACED, *_OF_ANY_SITE)
)
"""What cannot be placed by ids begins as at a guard's first look where the sensors are others."""


def line(plan: Plan, memory: Memory) -> str:
    """The memory with the ids whose places its tuples follow, as JSON on one line."""
    plain = {**_places(plan), "memory": _MEMORY.dump_python(memory, mode="json")}
    return json.dumps(plain, separators=(",", ":"))


def _places(plan: Plan) -> dict[str, list[str]]:
    return {
        "sensors": list(plan.site.sensors),
        "pumps": list(plan.site.pumps),
        "rows": [row.id for row in plan.rows],
    }


def read(text: str, plan: Plan) -> Memory:
    """The memory in a line, for `plan`: whatever the plan knows too is taken over by its id.

    Raises ValueError with a sentence.
    """
    try:
        plain = json.loads(text)
        memory = _MEMORY.validate_python(plain["memory"])
        ids = {name: list(map(str, plain[name])) for name in ("sensors", "pumps", "rows")}
        wanted = _places(plan)
        contacts: tuple[ContactMemory, ...] = ()
        if memory.contacts:  # a guard that has looked at least once
            contacts = _placed(
                ids["sensors"], memory.contacts, wanted["sensors"], ContactMemory(0.0, False)
            )
        first = begin(plan, memory.boot)
        anew = {} if ids == wanted and _alike(memory, first) else _beginning(first)
        return replace(
            memory,
            **anew,
            contacts=contacts,
            rows=_placed(ids["rows"], memory.rows, wanted["rows"], RowMemory()),
            pumps=_placed(ids["pumps"], memory.pumps, wanted["pumps"], PumpMemory()),
        )
    except (ValueError, ValidationError, KeyError, TypeError, RecursionError) as error:
        raise ValueError(f"what the guard remembered cannot be read: {_short(error)}") from None


def _beginning(first: Memory) -> dict[str, Any]:
    return {name: getattr(first, name) for name in _BEGINNING}


def _alike(one: Memory, other: Memory) -> bool:
    """True if what signals did has the same places in both."""
    return all(
        len(getattr(one.judged, field.name)) == len(getattr(other.judged, field.name))
        for field in fields(one.judged)
    )


def _placed(ids: Sequence[str], things: Sequence[_T], wanted: Sequence[str], new: _T) -> Any:
    known = dict(zip(ids, things, strict=True))
    return tuple(known.get(key, new) for key in wanted)


def _short(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors(include_url=False)[0]
        return f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
    return f"{type(error).__name__}: {error}"[:100]
