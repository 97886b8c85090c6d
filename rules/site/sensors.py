"""Sensors: what the guard can see, and on which pins."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from rules.site.base import Id, Name, Table
from rules.site.quantities import Duration, Length, PulsesPerVolume, Share

Pin = Annotated[int, Field(ge=0, le=27, description="GPIO number on the 40-pin header, 0 to 27")]


class _Sensor(Table):
    name: Name | None = Field(None, description="what people call it")
    pin: Pin


class FloatSwitch(_Sensor):
    """A float switch: wet or dry at one height."""

    kind: Literal["float"]
    chamber: Id = Field(description="the chamber it hangs in")
    height: Length = Field(description="level at which it turns [m above the chamber's bottom]")
    duty: Literal["spill-edge", "drain-watch", "dry-run", "top-off"] = Field(
        description="what it is for: spill-edge = last level before water leaves; drain-watch = a "
        "level the drains hold on a good day; dry-run = last level before the pump draws air; "
        "top-off = the level that evaporation replacement keeps"
    )
    closed_when: Literal["dry", "wet"] | None = Field(
        None,
        description="state of the water in which the contact is closed; by default the one in "
        "which a cut cable reads as alarm: dry, but wet for dry-run",
    )
    filter: Duration = Field(
        1.0,
        description="how long it must read wet, net of dry, before it counts (waves) [s]; "
        "from 0.2 to 10 s, shorter is stricter and trips falsely in waves",
    )

    @model_validator(mode="after")
    def _bounds(self) -> Self:
        if not 0.2 <= self.filter <= 10.0:
            raise ValueError("filter: give 0.2 s to 10 s; about 1 s suits the waves of a display")
        return self

    @property
    def wet_when_closed(self) -> bool:
        """True when a closed contact means wet."""
        return self.closed == "wet"

    @property
    def closed(self) -> Literal["dry", "wet"]:
        """State of the water in which the contact is closed, default filled in."""
        if self.closed_when is not None:
            return self.closed_when
        return "wet" if self.duty == "dry-run" else "dry"


class FlowMeter(_Sensor):
    """A meter that gives pulses, on one branch or on a pump's trunk."""

    kind: Literal["flow-meter"]
    on: Id = Field(description="the branch it measures, or the pump whose whole flow it measures")
    pulses: PulsesPerVolume = Field(description="pulses a volume, from its data sheet or a bucket")
    window: Duration = Field(2.0, description="time over which pulses are counted [s]; 0.5 to 30 s")
    silent_after: Duration = Field(
        3.0, description="no pulse for so long reads as no flow [s]; 0.5 to 60 s"
    )
    tolerance: Share = Field(0.10, description="how far it may be off; 10 % before calibration")

    @model_validator(mode="after")
    def _bounds(self) -> Self:
        if not 0.5 <= self.window <= 30.0:
            raise ValueError("window: give 0.5 s to 30 s")
        if not 0.5 <= self.silent_after <= 60.0:
            raise ValueError("silent_after: give 0.5 s to 60 s")
        return self


class LeakSensor(_Sensor):
    """A pad on the floor that closes a contact when wet."""

    kind: Literal["leak"]
    place: Name = Field(description="where it lies, for the text of the alert")
    closed_when: Literal["dry", "wet"] = Field(
        "wet", description="state in which the contact is closed; dry lets a cut cable alarm"
    )


class MainsSensor(_Sensor):
    """An input that tells whether the pump's supply is there (an isolated contact, never mains)."""

    kind: Literal["mains"]
    closed_when: Literal["present", "lost"] = Field(
        "present", description="state of the supply in which the contact is closed"
    )


Sensor = Annotated[FloatSwitch | FlowMeter | LeakSensor | MainsSensor, Field(discriminator="kind")]
