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
    if path[0] not in KINDS:
        return _model_in(Site, path[:1])
    if len(path) < 2:
        return None
    table = raw.get(path[0], {}).get(path[1], {})
    kind = table.get("kind") if isinstance(table, dict) else None
    return KINDS[path[0]].get(kind) if isinstance(kind, str) else None


def _model_in(model: type[BaseModel] | None, path: list[str]) -> type[BaseModel] | None:
    """The model of a table inside another, at the keys `path`; places in a list are no keys."""
    for key in path:
        if model is None or key.isdigit():
            continue
        fields = {field.alias or name: field for name, field in model.model_fields.items()}
        model = _first_model(fields[key].annotation) if key in fields else None
    return model


def _first_model(annotation: Any) -> type[BaseModel] | None:
    """The first model that a type names, however deep inside."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (_first_model(inner) for inner in get_args(annotation))
    return next((model for model in found if model is not None), None)


def _missing(model: type[BaseModel] | None, key: str) -> str:
    fields = {f.alias or name: f for name, f in model.model_fields.items()} if model else {}
    meaning = fields[key].description if key in fields else None
    if not meaning:
        return "missing"
    article = "" if meaning.startswith(("how ", "the ", "what ", "where ")) else "the "
    return f"missing; it gives {article}{meaning}"


OF_ITS_OWN = {"chambers", "pumps", "pauses", "rows", "measured", "people"}
"""Tables in which each thing has a table of its own, and that know no kinds."""

NO_TABLE = {"model_type", "model_attributes_type", "dict_type"}
NO_LIST = {"tuple_type", "list_type"}


def _sentence(
    error: Mapping[str, Any], rest: list[str], path: list[str], raw: Mapping[str, Any]
) -> str:
    kind, key = str(error["type"]), rest[-1] if rest else ""
    model = _model_in(_model_at(path, raw), rest[:-1])
    if kind == "extra_forbidden":
        if path[:1] == ["broker"] and key in SECRET_KEYS:
            return SECRET
        return _nearest(key, _keys_of(model)) if model else "unknown key"
    if kind == "missing":
        return SAFE_STATE if path[:1] == ["outputs"] and key == "safe" else _missing(model, key)
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        known = ", ".join(f'"{k}"' for k in KINDS.get(path[0] if path else "", {}))
        return f"kind must be one of {known}"
    if kind == "value_error":
        return str(error["msg"]).removeprefix("Value error, ")
    if kind == "string_pattern_mismatch" and key == "[key]":
        return "an id is lower-case letters, digits and single hyphens, like main-drain"
    if kind == "literal_error" and key == "[key]":
        known = str(error["msg"]).removeprefix("Input should be ").replace("'", '"')
        return f"there can be {known}, and no others"
    if kind in NO_TABLE | NO_LIST:
        wanted = "a table with keys of its own" if kind in NO_TABLE else "a list in square brackets"
        return f"must be {wanted}"
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
        tables = 2 if loc and loc[0] in {*KINDS, *OF_ITS_OWN} else 1
        if loc[:1] == ["stricter"]:
            tables = 3  # the hazard, and where it is seen
        path, rest = loc[:tables], loc[tables:]
        if not rest and error["type"] in ("missing", "extra_forbidden"):
            path, rest = loc[:-1], loc[-1:]
        sentence = _sentence(error, rest, path, raw)
        problems.append(Problem(file, ".".join(path), ".".join(rest), sentence))
    return problems
