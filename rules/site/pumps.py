"""Pumps and the top-off."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from rules.site.base import Id, Name, Table
from rules.site.passages import Fitting
from rules.site.pipes import PipeSize
from rules.site.quantities import Duration, Flow, Length, Share, Size, Volume


class CurvePoint(Table):
    """One point of a pump's catalogue curve."""

    flow: Flow = Field(description="flow at this point [m3/s]")
    head: Length = Field(description="height the pump still lifts at that flow [m]")


class Trunk(Table):
    """The pipe that all branches of a pump share."""

    pipe: PipeSize = Field(description="the pipe's size")
    length: Size = Field(description="length of pipe [m]")
    fittings: tuple[Fitting, ...] = Field((), description="every fitting on the way, in order")


class Pump(Table):
    """A return pump and the chamber it draws from; its branches are passages."""

    name: Name | None = Field(None, description="what people call it")
    from_: Id = Field(alias="from", description="the chamber it draws from")
    intake: Length = Field(
        description="level under which it draws air [m above the bottom of that chamber]"
    )
    curve: tuple[CurvePoint, ...] = Field(
        min_length=2, description="catalogue points, from no flow to most flow"
    )
    trunk: Trunk | None = Field(None, description="pipe shared by all its branches, if any")
    worn: Share = Field(0.0, description="share of its flow lost to wear and growth, at every head")
    speed: Share = Field(1.0, description="share of its full speed at which it runs")
    tolerance: Share = Field(
        0.10,
        description="how far its flow may be off the curve; 10 % for a catalogue, less once "
        "measured",
    )
    run_on: Duration = Field(
        2.0, description="how long water still rises after the power is cut [s]; at least 0.5 s"
    )

    @model_validator(mode="after")
    def _falling(self) -> Self:
        for before, after in zip(self.curve, self.curve[1:], strict=False):
            if after.flow <= before.flow or after.head >= before.head:
                raise ValueError(
                    "curve: from point to point the flow must grow and the head must fall"
                )
        if self.curve[-1].head < 0:
            raise ValueError("curve: a head cannot be below zero")
        if self.worn >= 1.0 or self.speed <= 0.0:
            raise ValueError("worn must be under 100 % and speed over 0 %, or it gives no flow")
        if self.run_on < 0.5:
            raise ValueError("run_on: no pump stops at once; give at least 0.5 s")
        return self


class TopOff(Table):
    """Fresh water that replaces what evaporates."""

    reservoir: Id = Field(description="the chamber that holds the fresh water")
    to: Id = Field(description="the chamber it is added to")
    rate: Flow = Field(description="flow while its valve is open [m3/s]")
    longest: Duration = Field(300.0, description="longest single opening [s]; shorter is stricter")
    counted: bool = Field(
        False,
        description="keep count of what is left in a reservoir without a sensor, and ask for it to "
        "be filled; whoever fills it must acknowledge that",
    )


class WaterChange(Table):
    """Water taken out and water brought in by two pumps that should match, and never quite do."""

    out_of: Id = Field(description="the chamber that old water is taken from")
    into: Id = Field(description="the chamber that new water is added to")
    daily: Volume = Field(description="water exchanged in a day [m3]")
    tolerance: Share = Field(
        0.05, description="how far the two pumps may differ, of what is exchanged"
    )
