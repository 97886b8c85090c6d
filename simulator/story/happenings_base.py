"""What every happening of a drill has: when it begins, how long it takes or lasts."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field

from rules.site.base import Table
from rules.site.quantities import Duration


class Beginning(Table):
    """Something that begins at one moment."""

    needs_daemon: ClassVar[bool] = False
    """True when it can only happen to the whole daemon: its clock, its disk, its broker."""

    at: Duration = Field(description="when it begins, from the start of the drill [s]")
    cause: bool = Field(
        False, description="times are counted from here; without one, from the first happening"
    )


class Gradual(Beginning):
    """Something that comes about little by little."""

    over: Duration = Field(
        0.0, description="how long it takes to come about [s]; at once if nought"
    )


class Lasting(Beginning):
    """Something that is over by itself after a while, if it says so."""

    lasts: Duration | None = Field(
        None, description="after how long it is over [s]; to the end if not given"
    )


class Passing(Beginning):
    """Something that is over by itself after a while."""

    lasts: Duration = Field(description="after how long it is over [s]")
