"""A drill: a night that goes wrong in a written way, what must come of it and what must not."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from rules.site.base import Name, Table
from rules.site.quantities import Duration, Flow, Share, Volume
from simulator.roles import Sort, check_phrase

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


def _role(sort: Sort) -> AfterValidator:
    return AfterValidator(lambda text: check_phrase(sort, text))


PassageRole = Annotated[Name, _role("passage")]
BranchRole = Annotated[Name, _role("branch")]
ChamberRole = Annotated[Name, _role("chamber")]
PumpRole = Annotated[Name, _role("pump")]
ValveRole = Annotated[Name, _role("valve")]
SensorRole = Annotated[Name, _role("sensor")]
MeterRole = Annotated[Name, _role("meter")]


class _Happening(Table):
    at: Duration = Field(description="when it begins, from the start of the drill [s]")
    cause: bool = Field(
        False, description="times are counted from here; without one, from the first happening"
    )


class _Gradual(_Happening):
    over: Duration = Field(
        0.0, description="how long it takes to come about [s]; at once if nought"
    )


class Block(_Gradual):
    """Something sits in a passage."""

    what: Literal["block"]
    where: PassageRole
    share: Share = Field(1.0, description="share of its clean conductance that is lost")


class Unblock(_Gradual):
    """It goes away again."""

    what: Literal["unblock"]
    where: PassageRole


class WearPump(_Gradual):
    """A pump loses part of its flow: growth, wear, scale."""

    what: Literal["wear"]
    where: PumpRole
    share: Share = Field(description="share of its flow that is lost")


class PumpDies(_Happening):
    """A pump stands still although it has current."""

    what: Literal["pump dies"]
    where: PumpRole


class PumpRevives(_Happening):
    """It turns again."""

    what: Literal["pump revives"]
    where: PumpRole


class StickValve(_Happening):
    """The top-off valve no longer obeys."""

    what: Literal["stick valve"]
    where: ValveRole = "top-off valve"
    state: Literal["open", "shut"]


class FreeValve(_Happening):
    """It obeys again."""

    what: Literal["free valve"]
    where: ValveRole = "top-off valve"


class StickSensor(_Happening):
    """A contact shows one state whatever the water does."""

    what: Literal["stick"]
    where: SensorRole
    state: Literal["wet", "dry", "present", "lost"]


class FreeSensor(_Happening):
    """It shows the truth again."""

    what: Literal["free"]
    where: SensorRole


class CutCable(_Happening):
    """The cable of a contact parts: it reads as open."""

    what: Literal["cut cable"]
    where: SensorRole


class SilenceMeter(_Happening):
    """A flow meter's wheel jams: no pulses at all."""

    what: Literal["silence"]
    where: MeterRole = "flow meter"


class DriftMeter(_Gradual):
    """A flow meter comes to read more, or less, than flows."""

    what: Literal["drift"]
    where: MeterRole = "flow meter"
    share: Share
    to: Literal["more", "less"]


class Leak(_Happening):
    """A joint bursts: water runs onto the floor until it is mended or the chamber is empty."""

    what: Literal["leak"]
    where: ChamberRole
    flow: Flow
    mended_after: Duration | None = None


class HoseSlips(_Happening):
    """A hose slips half off: part of what the pump lifts through a branch lands on the floor."""

    what: Literal["hose slips"]
    where: BranchRole
    share: Share = Field(description="share of the branch's flow that lands on the floor")


class LoseWater(_Gradual):
    """Water is carried off, onto no floor; all of it when no volume is given."""

    what: Literal["lose water"]
    where: ChamberRole
    volume: Volume | None = None


class AddWater(_Gradual):
    """Water is poured in."""

    what: Literal["add water"]
    where: ChamberRole
    volume: Volume


class PlugBreak(_Happening):
    """The siphon break of a branch is plugged."""

    what: Literal["plug siphon break"]
    where: BranchRole


class ClearBreak(_Happening):
    """It is open again."""

    what: Literal["clear siphon break"]
    where: BranchRole


class ChangeDiffers(_Gradual):
    """One pump of the water change gives more than the other, by a share of what is exchanged."""

    what: Literal["water change differs"]
    share: Share
    more: Literal["in", "out"] = Field(description="which of the two gives more")


class PowerCut(_Happening):
    """The mains go; the guard itself runs on."""

    what: Literal["power cut"]
    lasts: Duration | None = None


class DryAir(_Happening):
    """More of the water evaporates than usual."""

    what: Literal["dry air"]
    a_day: Share = Field(description="share of all the water that evaporates in a day")


Happening = Annotated[
    Block
    | Unblock
    | WearPump
    | PumpDies
    | PumpRevives
    | StickValve
    | FreeValve
    | StickSensor
    | FreeSensor
    | CutCable
    | SilenceMeter
    | DriftMeter
    | Leak
    | HoseSlips
    | LoseWater
    | AddWater
    | PlugBreak
    | ClearBreak
    | DryAir
    | ChangeDiffers
    | PowerCut,
    Field(discriminator="what"),
]


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


class Drill(Table):
    """A whole drill."""

    title: Name = Field(description="what people call it")
    story: Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)] = Field(
        description="the night, told in a paragraph"
    )
    starts_at: Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")] = Field(
        description='the time on the clock when it begins, like "02:40"'
    )
    lasts: Duration = Field(description="how long it goes on [s]")
    happens: tuple[Happening, ...] = Field((), description="what goes wrong, and when")
    must: tuple[Must, ...] = Field((), description="what has to come of it")
    must_not: tuple[MustNot, ...] = Field((), description="what may not come of it")

    @model_validator(mode="after")
    def _in_time(self) -> Self:
        if not 10.0 <= self.lasts <= 7 * 86400.0:
            raise ValueError("lasts: give 10 s to 7 days")
        if not self.must and not self.must_not:
            raise ValueError("a drill without must and must_not proves nothing; state at least one")
        late = [h.what for h in self.happens if h.at >= self.lasts]
        if late:
            raise ValueError(f'"{late[0]}" happens after the drill has ended')
        if sum(h.cause for h in self.happens) > 1:
            raise ValueError("only one happening can be the cause")
        return self

    @property
    def cause_s(self) -> float | None:
        """When the cause begins, from the start of the drill [s]; None if nothing goes wrong."""
        causes = [h.at for h in self.happens if h.cause]
        return causes[0] if causes else min((h.at for h in self.happens), default=None)
