"""What a drill states: what must come of the night, and what must not."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from rules.site.base import Id, Table
from rules.site.quantities import Duration, Volume
from simulator.story.named import ChamberRole, HazardName, InputRole, PassageRole, PumpRole


class _Statement(Table):
    needs_daemon: ClassVar[bool] = False
    """True when it is about what the whole daemon does: an alert that somebody reads."""

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
    row: Id | None = Field(None, description="by this one of the site's own rows")


class MustAlarm(_Timed):
    """An alarm of this hazard is raised."""

    what: Literal["alarm"]
    hazard: HazardName
    row: Id | None = Field(None, description="of the site's own rows this one, with hazard = own")

    @model_validator(mode="after")
    def _of_own(self) -> Self:
        if self.row is not None and self.hazard != "own":
            raise ValueError('row: the site has rows of its own with hazard = "own" alone')
        return self


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


class MustRestart(_Timed):
    """The pump, once cut or paused, is started again."""

    what: Literal["pump restarts"]
    where: PumpRole = "return pump"


class MustPause(_Timed):
    """The pump is stopped by a planned pause."""

    what: Literal["pump pauses"]
    where: PumpRole = "return pump"


class MustStandOff(_Statement):
    """The pump has no current when the drill ends."""

    what: Literal["pump off at the end"]
    where: PumpRole = "return pump"


class MustName(_Statement):
    """An alarm of this hazard names the sensor."""

    what: Literal["alarm names"]
    hazard: HazardName
    sensor: InputRole


class MustArrive(_Timed):
    """An alert of this hazard arrives at whoever reads them."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["alert arrives"]
    hazard: HazardName


Must = Annotated[
    MustCut
    | MustPause
    | MustRestart
    | MustStandOff
    | MustRun
    | MustAlarm
    | MustName
    | MustArrive
    | MustStayUnder
    | MustTopOff,
    Field(discriminator="what"),
]


class NoCut(_Statement):
    """No pump is cut."""

    what: Literal["pump cut"]


class NoAlarm(_Statement):
    """No alarm is raised, or no more than so many: of this hazard, or of any."""

    what: Literal["alarm"]
    hazard: HazardName | None = None
    more_than: int = Field(0, ge=0, description="how many alarms are none too many")


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


class NoRestart(_Statement):
    """The pump, once cut, is not started again."""

    what: Literal["pump restarts"]
    where: PumpRole = "return pump"


class NoPumpOn(_Statement):
    """The pump is not switched on while an alarm that it was cut for still stands."""

    what: Literal["pump on"]
    where: PumpRole = "return pump"
    while_: Literal["cut cause stands"] = Field(alias="while", description="when it may not be on")


class NoHunting(_Statement):
    """The pump is started no more often than this, all told."""

    what: Literal["starts"]
    where: PumpRole = "return pump"
    more_than: int = Field(ge=0, description="how many starts are none too many")


class NoAlertTwice(_Statement):
    """No alert arrives as two: of this hazard, or of any."""

    needs_daemon: ClassVar[bool] = True

    what: Literal["alert twice"]
    hazard: HazardName | None = None


MustNot = Annotated[
    NoCut
    | NoRestart
    | NoPumpOn
    | NoHunting
    | NoAlarm
    | NoAlertTwice
    | NoSpill
    | NoLoss
    | NoDryRun
    | NoTopOff,
    Field(discriminator="what"),
]
Statement = (
    MustCut
    | MustPause
    | MustRestart
    | MustStandOff
    | MustRun
    | MustAlarm
    | MustName
    | MustArrive
    | MustStayUnder
    | MustTopOff
    | NoCut
    | NoRestart
    | NoPumpOn
    | NoHunting
    | NoAlarm
    | NoAlertTwice
    | NoSpill
    | NoLoss
    | NoDryRun
    | NoTopOff
)
