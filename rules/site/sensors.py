"""Sensors: what the guard can see, and on which pins."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from rules.site.base import Id, Name, Table
from rules.site.quantities import Duration, Length, PulsesPerVolume, Share

Pin = Annotated[int, Field(ge=0, le=27, description="GPIO number on the 40-pin header, 0 to 27")]


SPI_PINS = (11, 10, 9, 8, 7)
"""Pins of the first SPI bus: clock, data out, data in, and the two selects. With the bus switched
on the kernel holds both selects, whichever is used (Linux device tree of the boards)."""

CHANNELS = {"mcp3002": 2, "mcp3004": 4, "mcp3008": 8, "mcp3202": 2, "mcp3204": 4, "mcp3208": 8}
"""Analog-to-digital converters that can be used, and how many channels each has (data sheets)."""

ENDS = 0.01
"""So near to either end of a converter's range a share is no level: a broken wire reads there."""


class _Sensor(Table):
    name: Name | None = Field(None, description="what people call it")


class PinSensor(_Sensor):
    """A sensor that has a pin to itself."""

    pin: Pin


class FloatSwitch(PinSensor):
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
    voting: Literal["1oo2", "2oo3", "1oo3"] | None = Field(
        None,
        description="how it decides with one or two more of its duty at its height (within 5 mm): "
        "two always 1oo2, each by itself; three 2oo3, two of them together, or 1oo3, each by "
        "itself, which is stricter; by default 1oo2 and 2oo3",
    )

    @field_validator("voting", mode="before")
    @classmethod
    def _no_weaker(cls, told: object) -> object:
        if told in ("2oo2", "3oo3"):
            raise ValueError(
                f"voting: {told} acts only when every one of them asks for it, so that any float "
                "that hangs keeps the others from it: worse than one alone; leave it out for two, "
                'or fit three and say "2oo3"'
            )
        return told

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


class FlowMeter(PinSensor):
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


class LeakSensor(PinSensor):
    """A pad on the floor that closes a contact when wet."""

    kind: Literal["leak"]
    place: Name = Field(description="where it lies, for the text of the alert")
    closed_when: Literal["dry", "wet"] = Field(
        "wet", description="state in which the contact is closed; dry lets a cut cable alarm"
    )


class MainsSensor(PinSensor):
    """An input that tells whether the pump's supply is there (an isolated contact, never mains)."""

    kind: Literal["mains"]
    closed_when: Literal["present", "lost"] = Field(
        "present", description="state of the supply in which the contact is closed"
    )


class LevelPoint(Table):
    """One point of a level sensor's calibration: what it reads with the water at one level."""

    level: Length = Field(description="level, by a ruler [m above the chamber's bottom]")
    share: Share = Field(description="share of the converter's range that it then reads")


class LevelSensor(_Sensor):
    """An analog level sensor on one channel of a converter, which speaks over SPI.

    The level is a straight line through two points, in the water and with a ruler.
    """

    kind: Literal["level"]
    chamber: Id = Field(description="the chamber whose level it measures")
    converter: Literal["mcp3002", "mcp3004", "mcp3008", "mcp3202", "mcp3204", "mcp3208"] = Field(
        description="the analog-to-digital converter that it is wired to"
    )
    channel: int = Field(ge=0, le=7, description="channel of the converter, from 0")
    select: int = Field(
        0, ge=0, le=1, description="which select of the SPI bus the converter has: 0 or 1"
    )
    low: LevelPoint = Field(description="the lower of the two points of its calibration")
    high: LevelPoint = Field(description="the upper of the two points of its calibration")
    tolerance: Length = Field(
        0.005,
        description="how far its level may be off, either way [m]; more is stricter against "
        "needless cuts and later; 5 mm, for it is no better than the ruler it was set by",
    )
    filter: Duration = Field(
        1.0,
        description="time over which the middle one of its readings is taken (noise) [s]; from "
        "0.2 to 5 s, a change shows after half of it",
    )

    @model_validator(mode="after")
    def _of_use(self) -> Self:
        if self.channel >= CHANNELS[self.converter]:
            raise ValueError(
                f"channel: the {self.converter} has channels 0 to {CHANNELS[self.converter] - 1}"
            )
        for name, point in (("low", self.low), ("high", self.high)):
            if not 2 * ENDS <= point.share <= 1.0 - 2 * ENDS:
                raise ValueError(
                    f"{name}.share: a broken wire reads the end of the range too; lay the levels "
                    f"between {2 * ENDS:.0%} and {1 - 2 * ENDS:.0%} of it"
                )
        if self.high.level - self.low.level < 0.02:
            raise ValueError("high.level must lie at least 20 mm above low.level")
        if abs(self.high.share - self.low.share) < 0.05:
            raise ValueError("low.share and high.share must lie at least 5 % apart")
        if not 0.001 <= self.tolerance <= 0.05:
            raise ValueError("tolerance: give 1 mm to 50 mm")
        if not 0.2 <= self.filter <= 5.0:
            raise ValueError("filter: give 0.2 s to 5 s")
        return self

    def level_m(self, share: float) -> float:
        """The level at which it reads `share` [m above the chamber's bottom]."""
        slope = (self.high.level - self.low.level) / (self.high.share - self.low.share)
        return self.low.level + slope * (share - self.low.share)

    def share(self, level_m: float) -> float:
        """What it reads with the water at `level_m`, the converter's ends left out of account."""
        slope = (self.high.share - self.low.share) / (self.high.level - self.low.level)
        return self.low.share + slope * (level_m - self.low.level)


Sensor = Annotated[
    FloatSwitch | FlowMeter | LeakSensor | MainsSensor | LevelSensor, Field(discriminator="kind")
]
