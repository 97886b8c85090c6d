"""The site's own part of the cause-and-effect matrix: rows made stricter, and rows of its own.

Neither can take anything away. A row that the plumbing gives rise to may only be made to act
sooner, to wait for a person, or to do more; a row of the site's own stands beside those.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, Self, get_args

from pydantic import Field, ValidationInfo, WithJsonSchema, field_validator, model_validator

from rules.site.base import Id, Name, Table
from rules.site.quantities import Duration, read

Quantity = Literal[
    "level", "return-flow", "flow", "margin", "capacity", "spill-time", "dry-time", "reading"
]
"""What an own row may watch: the level of a chamber, the whole flow of a pump, the flow that one
meter shows, the margin or the capacity of a chamber's drains, the time until a chamber spills, the
time until a pump draws air, or what a float, pad or supply input says."""

QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)

UNITS: dict[Quantity, tuple[str, str]] = {
    "level": ("m", '"200 mm" or "8 in"'),
    "return-flow": ("m^3/s", '"50 l/min" or "900 gal/h"'),
    "flow": ("m^3/s", '"50 l/min" or "900 gal/h"'),
    "capacity": ("m^3/s", '"50 l/min" or "900 gal/h"'),
    "spill-time": ("s", '"2 min"'),
    "dry-time": ("s", '"2 min"'),
}
"""In which unit each is held inside, and how it is written; a margin is a plain number."""

ONLY_BELOW: frozenset[Quantity] = frozenset({"margin", "capacity", "spill-time", "dry-time"})
"""Quantities of which only too little is ever a trouble."""

LONGEST_S = 86400.0
"""The longest time for which a cause may have to stand [s]; what stands for a day is no alarm."""

Clears = Literal["when-clear", "on-acknowledge", "on-reset"]

if TYPE_CHECKING:
    Value = float
else:
    Value = Annotated[
        float,
        WithJsonSchema(
            {
                "type": ["string", "number"],
                "description": "text with a unit that suits the quantity; a number for a margin",
                "examples": ["200 mm", "50 l/min", "2 min", 1.5],
            }
        ),
    ]


def value_of(quantity: Quantity, given: object) -> float:
    """A value of a quantity in SI units; raises ValueError with what would be right."""
    if quantity == "reading":
        raise ValueError('a contact has no value; say what it reads, like reads = "wet"')
    if quantity == "margin":
        number = isinstance(given, (int, float)) and not isinstance(given, bool)
        if not number or not 0.0 <= float(str(given)) <= 100.0:
            raise ValueError("a margin is a plain number, drain capacity / return flow, like 1.5")
        return float(str(given))
    unit, example = UNITS[quantity]
    value = read(given, unit, example)
    if value < 0.0:
        raise ValueError(f'"{given}" is out of range: it must not be negative')
    return value


class OwnRow(Table):
    """One row of the site's own: a quantity, beyond which value and for how long, and what then."""

    name: Name = Field(description="what it is called in alarms, like: return flow is weak")
    quantity: Quantity = Field(description=f"what it watches: {', '.join(QUANTITIES)}")
    of: Id = Field(
        description="of what: a chamber for level, margin, capacity and spill-time; a pump for "
        "return-flow and dry-time; a sensor for flow and reading"
    )
    above: Value | None = Field(None, description="it is present above this value")
    below: Value | None = Field(None, description="it is present below this value")
    clears_at: Value | None = Field(
        None,
        description="once it stands, it is gone only beyond this value; by default the same one",
    )
    reads: Literal["wet", "dry", "present", "lost"] | None = Field(
        None, description="for a contact: what it says while the cause is present"
    )
    for_: Duration = Field(
        10.0,
        alias="for",
        description="how long it must be present, net, before it stands [s]; shorter is stricter",
    )
    does: Literal["alarm", "shut-top-off", "cut-pumps"] = Field(
        "alarm", description="what it does: alarm only, shut the top-off as well, or cut pumps too"
    )
    pumps: tuple[Id, ...] | None = Field(
        None, min_length=1, description="the pumps that it cuts, with does = cut-pumps"
    )
    priority: Literal["low", "medium", "high"] | None = Field(
        None, description="how soon to respond; by default as what it does calls for"
    )
    clear: Clears = Field(
        "when-clear", description="what ends it once its cause has gone; on-reset is strictest"
    )
    do_now: Name | None = Field(None, description="what a person should do, for the alarm's text")

    @field_validator("above", "below", "clears_at", mode="before")
    @classmethod
    def _of_its_quantity(cls, given: object, info: ValidationInfo) -> object:
        quantity = info.data.get("quantity")
        # without a quantity there is another sentence already
        return given if given is None else value_of(quantity, given) if quantity else 0.0

    @model_validator(mode="after")
    def _whole(self) -> Self:
        values = [self.above, self.below]
        if self.quantity == "reading":
            if self.reads is None:
                raise ValueError('reads: missing; say "wet" or "dry", "present" or "lost"')
        elif self.reads is not None:
            raise ValueError(f"reads: only a reading has it; give above or below for {self._it}")
        elif sum(value is not None for value in values) != 1:
            raise ValueError(f"give above or below, one of them, for {self._it}")
        elif self.above is not None and self.quantity in ONLY_BELOW:
            raise ValueError(f"above: {self._it} is no trouble when it is large; give below")
        self._check_times_and_ends()
        if (self.does == "cut-pumps") != (self.pumps is not None):
            raise ValueError('pumps: name the pumps to cut with does = "cut-pumps", and only then')
        return self

    def _check_times_and_ends(self) -> None:
        if self.for_ > LONGEST_S:
            raise ValueError("for: give at most 1 day")
        if self.clears_at is None:
            return
        wrong_above = self.above is not None and self.clears_at > self.above
        wrong_below = self.below is not None and self.clears_at < self.below
        if wrong_above or wrong_below:
            side = "above it" if wrong_above else "below it"
            raise ValueError(f"clears_at: lies {side}, where the cause is still present")

    @property
    def _it(self) -> str:
        return f"a {self.quantity}"


class Stricter(Table):
    """One derived row made stricter: sooner, waiting for a person, or doing more; never less."""

    delay: Duration | None = Field(
        None, description="how long its cause must stand, net [s]; no longer than of itself"
    )
    clear: Literal["on-acknowledge", "on-reset"] | None = Field(
        None, description="what ends it once its cause has gone; no easier than of itself"
    )
    effect: Literal["shut-top-off", "cut-pumps"] | None = Field(
        None, description="what it does besides the alarm; more than of itself"
    )
    pumps: tuple[Id, ...] | None = Field(
        None, min_length=1, description="the pumps that it cuts, with effect = cut-pumps"
    )

    @model_validator(mode="after")
    def _of_use(self) -> Self:
        if (self.effect == "cut-pumps") != (self.pumps is not None):
            raise ValueError('pumps: name the pumps to cut with effect = "cut-pumps", only then')
        if self.delay is None and self.clear is None and self.effect is None:
            raise ValueError("give delay, clear or effect: without one it changes nothing")
        return self
