"""What a drill states: what must come of the night, and what must not."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.site.base import Table
from rules.site.quantities import Duration, Volume
from simulator.story.named import ChamberRole, PassageRole, PumpRole

HazardName = Literal[
    "spill-edge",
    "drain-capacity",
    "drain-loss",
    "chamber-high",
    "dry-run",
    "leak",
    "flow-lost",
    "signal",
    "mains",
    "lease-lost",
    "top-off-long",
]
"""The hazards that a statement may name; a test holds them against the guard's own table."""


class _Statement(Table):
    on_sites_with: PassageRole | None = Field(
        None, description="said only of sites that have such a passage"
    )
    on_sites_without: PassageRole | None = Field(
        None, description="said only of sites that have no such passage"
    )


class _Timed(_Statement):
    within: Duration | None = Field(None, description="time from the cause [s]; any if not given")


class MustCut(_Timed):
    """The pump is cut."""

    what: Literal["pump cut"]
    where: PumpRole = "return pump"


class MustAlarm(_Timed):
    """An alarm of this hazard is raised."""

    what: Literal["alarm"]
    hazard: HazardName


class MustStayUnder(_Statement):
    """The level never reaches the rim."""

    what: Literal["stays under its rim"]
    where: ChamberRole


class MustTopOff(_Statement):
    """The top-off valve is opened so many times."""

    what: Literal["top-off opens"]
    times: int = Field(1, ge=1, description="at least so many times")


class MustRun(_Statement):
    """The pump gives flow again, or still, when the drill ends."""

    what: Literal["pump runs at the end"]
    where: PumpRole = "return pump"


Must = Annotated[
    MustCut | MustAlarm | MustStayUnder | MustTopOff | MustRun, Field(discriminator="what")
]


class NoCut(_Statement):
    """No pump is cut."""

    what: Literal["pump cut"]


class NoAlarm(_Statement):
    """No alarm is raised: of this hazard, or of any."""

    what: Literal["alarm"]
    hazard: HazardName | None = None


class NoSpill(_Statement):
    """No more than this goes over a rim: of one chamber, or of all together."""

    what: Literal["spill"]
    where: ChamberRole | None = None
    more_than: Volume = 0.0


class NoLoss(_Statement):
    """No more than this runs out of a leak onto the floor."""

    what: Literal["leak"]
    more_than: Volume


class NoDryRun(_Statement):
    """No pump runs dry for longer than this, all told."""

    what: Literal["dry run"]
    longer_than: Duration = 0.0


class NoTopOff(_Statement):
    """The top-off valve is not opened while a pump stands cut: the drain-down needs the room."""

    what: Literal["top-off opens while the pump is cut"]


MustNot = Annotated[
    NoCut | NoAlarm | NoSpill | NoLoss | NoDryRun | NoTopOff, Field(discriminator="what")
]
Statement = (
    MustCut
    | MustAlarm
    | MustStayUnder
    | MustTopOff
    | MustRun
    | NoCut
    | NoAlarm
    | NoSpill
    | NoLoss
    | NoDryRun
    | NoTopOff
)
