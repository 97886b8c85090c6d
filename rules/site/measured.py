"""Measured flows: what a bucket and a clock say of a pump, a branch or a passage."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from rules.site.base import Id, Name, Table
from rules.site.quantities import Flow, Length, Share

_DATE: type = type(tomllib.loads("day = 1970-01-01")["day"])
"""What TOML reads a date into; got so, since the rules import no module that has a clock in it."""

TOLERANCE_MOST = 0.5
"""A measurement that may be further off than this tells nothing."""


def _read_day(value: object) -> str:
    if type(value) is _DATE:
        return str(value)
    if isinstance(value, _DATE):
        raise ValueError("must be a date without a time, like 2026-03-14")
    raise ValueError("must be a date, written without quotes, like 2026-03-14")


if TYPE_CHECKING:
    Day = str
else:
    Day = Annotated[
        str,
        BeforeValidator(_read_day),
        WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-03-14"]}),
    ]


class Measured(Table):
    """One measured flow. What it is of must have been clean and running, and is measured once."""

    of: Id = Field(description="pump, branch or other passage that was measured")
    flow: Flow = Field(description="flow that was measured [m3/s]")
    tolerance: Share = Field(
        0.03,
        description="how far that may be off either way, 95 times in 100; more is stricter: 3 % "
        "suits a bucket and a clock",
    )
    date: Day = Field(description="day of the measurement")
    level: Length | None = Field(
        None,
        description="for a passage that no pump drives: the level in the chamber it leaves while "
        "it was measured [m above that chamber's bottom]",
    )
    how: Name | None = Field(None, description='how it was measured: "a bucket and a clock"')

    @model_validator(mode="after")
    def _of_use(self) -> Self:
        if self.flow <= 0.0:
            raise ValueError(
                "flow: it must be more than nought; without a flow leave the table out"
            )
        if not 0.0 < self.tolerance <= TOLERANCE_MOST:
            raise ValueError(
                "tolerance: nothing is measured without error, and past 50 % nothing is known; "
                'give more than "0 %" and at most "50 %"'
            )
        return self
