"""From the text of a drill's file to a drill, with a sentence for everything wrong in it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from rules.site.problems import Problem
from rules.site.text import NotTomlError, tables
from simulator.story.drill import Drill
from simulator.story.happenings import Happening
from simulator.story.recorded import Recorded
from simulator.story.statements import Must, MustNot


class DrillError(Exception):
    """A drill file that cannot be used, with every problem found in it."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))


def _by_what(alias: Any) -> dict[str, type[BaseModel]]:
    return {
        what: model
        for model in get_args(get_args(alias)[0])
        for what in get_args(model.model_fields["what"].annotation)
    }


LISTS: dict[str, dict[str, type[BaseModel]]] = {
    "happens": _by_what(Happening),
    "must": _by_what(Must),
    "must_not": _by_what(MustNot),
}


def parse_drill(text: str, file: str) -> Drill:
    """Read a drill's text; `file` is only its name, for messages. Raises DrillError."""
    try:
        raw = tables(text, file)
    except NotTomlError as error:
        raise DrillError([error.problem]) from None
    try:
        return Drill.model_validate(raw)
    except ValidationError as error:
        raise DrillError(_problems(file, error, raw)) from None


def _problems(file: str, failure: ValidationError, raw: Mapping[str, Any]) -> list[Problem]:
    problems = []
    for error in failure.errors(include_url=False, include_context=False):
        loc = list(error["loc"])
        table, model = "", Drill
        entry: type[BaseModel] | None = model
        if len(loc) > 1 and loc[0] in LISTS and isinstance(loc[1], int):
            table = f"{loc[0]} {loc[1] + 1}"  # people count from one
            what = _entry(raw, str(loc[0]), loc[1]).get("what")
            entry = LISTS[str(loc[0])].get(what) if isinstance(what, str) else None
            loc = loc[2:]
            if loc and loc[0] == what:
                loc = loc[1:]  # the name by which the model was chosen is no key of the file
        elif len(loc) > 1 and loc[0] == "recording":
            table, entry, loc = "recording", Recorded, loc[1:]
        key = ".".join(str(part) for part in loc)
        problems.append(Problem(file, table, key, _sentence(error, key, table, entry)))
    return problems


def _fields(model: type[BaseModel] | None) -> dict[str, FieldInfo]:
    """The keys of a table as its file writes them ("with", not "with_"), and what each gives."""
    fields = model.model_fields if model else {}
    return {field.alias or name: field for name, field in fields.items()}


def _entry(raw: Mapping[str, Any], name: str, number: int) -> Mapping[str, Any]:
    entry = raw[name][number]
    return entry if isinstance(entry, dict) else {}


def _sentence(error: Mapping[str, Any], key: str, table: str, model: type[BaseModel] | None) -> str:
    kind = str(error["type"])
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        known = ", ".join(f'"{what}"' for what in LISTS[table.split(" ", maxsplit=1)[0]])
        return f"what must be one of {known}"
    if kind == "extra_forbidden":
        keys = list(_fields(model))
        close = difflib.get_close_matches(key, keys, n=1, cutoff=0.5)
        if close:
            return f'unknown key; did you mean "{close[0]}"?'
        return f"unknown key; there can be {', '.join(keys)}"
    if kind == "missing":
        field = _fields(model).get(key)
        return (
            f"missing; it gives {field.description}" if field and field.description else "missing"
        )
    if kind == "value_error":
        return str(error["msg"]).removeprefix("Value error, ")
    text = str(error["msg"])
    given = error.get("input")
    shown = f" (it is {given!r})" if isinstance(given, (str, int, float, bool)) else ""
    return f"{text[:1].lower()}{text[1:]}{shown}"
