"""What is wrong with a site file, as sentences: what, where, and what would be right."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from rules.site import outputs, passages, sensors
from rules.site.model import Site

SAFE_STATE = (
    "an output needs a safe state: say at which level of the pin its relay is released, "
    'safe = "low" or safe = "high"'
)
SECRET = (
    "a secret does not belong in the site file; put user name and password on two lines of a file "
    'named by secret_file = "/etc/weirkeeper/broker.secret", or set WEIRKEEPER_BROKER_USER and '
    "WEIRKEEPER_BROKER_PASSWORD"
)
SECRET_KEYS = {"password", "passwd", "user", "username", "secret", "token"}


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing that is wrong, and where."""

    file: str
    table: str
    key: str
    sentence: str

    def __str__(self) -> str:
        where = f"[{self.table}]" if self.table else "the file"
        key = f" {self.key}" if self.key else ""
        return f"{self.file}: {where}{key}: {self.sentence}"


class SiteError(Exception):
    """A site file that cannot be used, with every problem found in it."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


def _union_members(alias: Any) -> dict[str, type[BaseModel]]:
    """The models of a discriminated union by their kind."""
    members: dict[str, type[BaseModel]] = {}
    for model in get_args(get_args(alias)[0]):
        for kind in get_args(model.model_fields["kind"].annotation):
            members[kind] = model
    return members


KINDS: dict[str, dict[str, type[BaseModel]]] = {
    "passages": _union_members(passages.Passage),
    "sensors": _union_members(sensors.Sensor),
    "outputs": _union_members(outputs.Output),
}


def _keys_of(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _nearest(word: str, known: list[str]) -> str:
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    if close:
        return f'unknown key; did you mean "{close[0]}"?'
    return f"unknown key; this table knows {', '.join(known)}"


def _model_at(path: list[str], raw: Mapping[str, Any]) -> type[BaseModel] | None:
    """The model of the table at `path`, found by walking the site model and the file itself."""
    if not path:
        return Site
    if path[0] in KINDS:
        if len(path) < 2:
            return None
        table = raw.get(path[0], {}).get(path[1], {})
        kind = table.get("kind") if isinstance(table, dict) else None
        return KINDS[path[0]].get(kind) if isinstance(kind, str) else None
    field = Site.model_fields.get(path[0])
    if field is None:
        return None
    candidates = [field.annotation, *get_args(field.annotation)]
    models = [c for c in candidates if isinstance(c, type) and issubclass(c, BaseModel)]
    return models[0] if models else None


def _sentence(error: Mapping[str, Any], key: str, path: list[str], raw: Mapping[str, Any]) -> str:
    kind = str(error["type"])
    if kind == "extra_forbidden":
        if path[:1] == ["broker"] and key in SECRET_KEYS:
            return SECRET
        model = _model_at(path, raw)
        return _nearest(key, _keys_of(model)) if model else "unknown key"
    if kind == "missing":
        if path[:1] == ["outputs"] and key == "safe":
            return SAFE_STATE
        model = _model_at(path, raw)
        fields = model.model_fields.values() if model else ()
        meaning = next(
            (f.description for f in fields if f.alias == key and f.description),
            model.model_fields[key].description if model and key in model.model_fields else None,
        )
        return f"missing; it gives the {meaning}" if meaning else "missing"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        known = ", ".join(f'"{k}"' for k in KINDS.get(path[0] if path else "", {}))
        return f"kind must be one of {known}"
    if kind == "value_error":
        return str(error["msg"]).removeprefix("Value error, ")
    if kind == "string_pattern_mismatch" and key == "[key]":
        return "an id is lower-case letters, digits and single hyphens, like main-drain"
    text = str(error["msg"])
    given = error.get("input")
    shown = f" (it is {given!r})" if isinstance(given, (str, int, float, bool)) else ""
    return f"{text[:1].lower()}{text[1:]}{shown}"


def from_validation(file: str, failure: ValidationError, raw: Mapping[str, Any]) -> list[Problem]:
    """Every error of a failed validation as a problem with table and key."""
    problems = []
    for error in failure.errors(include_url=False, include_context=False):
        loc = [str(part) for part in error["loc"]]
        if len(loc) > 2 and loc[0] in KINDS and loc[2] in KINDS[loc[0]]:
            del loc[2]  # the kind by which the union was chosen; it is no key of the file
        tables = 2 if loc and loc[0] in {*KINDS, "chambers", "pumps", "people"} else 1
        path, rest = loc[:tables], loc[tables:]
        if not rest and error["type"] in ("missing", "extra_forbidden"):
            path, rest = loc[:-1], loc[-1:]
        sentence = _sentence(error, rest[-1] if rest else "", path, raw)
        problems.append(Problem(file, ".".join(path), ".".join(rest), sentence))
    return problems
