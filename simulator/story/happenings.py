"""What can go wrong in a drill, and what people do in it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.site.base import Table
from rules.site.quantities import Duration, Flow, Share, Volume
from simulator.story.named import (
    BranchRole,
    ChamberRole,
    MeterRole,
    PassageRole,
    PumpRole,
    SensorRole,
    ValveRole,
)


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
