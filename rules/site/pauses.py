"""Planned pauses: what a site may set of the kinds that the guard knows."""

from __future__ import annotations

from typing import Literal, Self, get_args

from pydantic import Field, model_validator

from rules.site.base import Id, Table
from rules.site.quantities import Duration

PauseKind = Literal["feeding", "rinsing", "water-change", "cleaning"]
"""What a pump is paused for: feeding the animals, rinsing a sponge, changing water, cleaning a
pump."""

PAUSE_KINDS: tuple[PauseKind, ...] = get_args(PauseKind)

USUAL_S: dict[PauseKind, float] = {
    "feeding": 600.0,
    "rinsing": 600.0,
    "water-change": 1800.0,
    "cleaning": 1800.0,
}
"""How long a pause lasts if neither the order nor the site says [s]; common practice, no source."""

LONGEST_S: dict[PauseKind, float] = {
    "feeding": 1800.0,
    "rinsing": 1800.0,
    "water-change": 7200.0,
    "cleaning": 7200.0,
}
"""The longest that may be ordered where the site does not say [s]: an hour or two without return
flow is what animals bear when somebody is there to see them; common practice, no source."""

LEAST_S = 60.0
"""The shortest pause [s]: in less, the water has not even run down."""

MOST_S = 4 * 3600.0
"""No pause is longer than this, whatever a file says [s]: what is off for longer is no pause."""


class Pause(Table):
    """One kind of planned pause, where the site sets it otherwise."""

    usual: Duration | None = Field(
        None, description="how long it lasts if nobody says otherwise [s]; shorter is stricter"
    )
    longest: Duration | None = Field(
        None, description="the longest that may be ordered [s], up to 4 h; shorter is stricter"
    )
    pumps: tuple[Id, ...] | None = Field(
        None, min_length=1, description="the pumps that stop for it; all of a circuit by default"
    )

    @model_validator(mode="after")
    def _bounds(self) -> Self:
        for name, given_s in (("usual", self.usual), ("longest", self.longest)):
            if given_s is not None and not LEAST_S <= given_s <= MOST_S:
                raise ValueError(f"{name}: give 1 min to 4 h")
        return self
