"""What happens to the sensors and their cables."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from rules.site.quantities import Duration, Length, Share, Volume
from simulator.story.happenings_base import Beginning, Gradual, Lasting, Passing
from simulator.story.named import InputRole, LevelRole, MeterRole, PadRole, SensorRole


class StickSensor(Beginning):
    """A contact shows one state whatever the water does."""

    what: Literal["stick"]
    where: SensorRole
    state: Literal["wet", "dry", "present", "lost"]


class FreeSensor(Beginning):
    """It shows the truth again."""

    what: Literal["free"]
    where: SensorRole


class CutCable(Beginning):
    """The cable of a sensor parts: a contact reads as open, a meter is silent, a level is lost."""

    what: Literal["cut cable"]
    where: InputRole


class LooseCable(Lasting):
    """A cable has a bad joint: it parts for moments, again and again."""

    what: Literal["loose cable"]
    where: InputRole
    a_minute: float = Field(gt=0.0, le=600.0, description="how often it parts in a minute")
    for_: Duration = Field(alias="for", description="how long it stays parted each time [s]")

    @model_validator(mode="after")
    def _closes_too(self) -> Self:
        if not 0.0 < self.for_ * self.a_minute < 60.0:
            raise ValueError("for: parted so long and so often it would never close again")
        return self


class MendCable(Beginning):
    """A cut or loose cable is sound again."""

    what: Literal["mend cable"]
    where: InputRole


class Swap(Beginning):
    """Two contacts are plugged in at each other's place."""

    what: Literal["swap"]
    where: SensorRole
    with_: SensorRole = Field(alias="with", description="the contact that it is swapped with")


class Unswap(Beginning):
    """All swapped contacts are plugged in where they belong."""

    what: Literal["unswap"]


class Splash(Passing):
    """Spray wets a float or a pad for moments, under a lid left open as a rule."""

    what: Literal["splash"]
    where: SensorRole
    drops: float = Field(gt=0.0, le=600.0, description="how often it is wetted in a minute")


class DullPad(Beginning):
    """A leak pad corrodes: it takes more water on the floor to wet it."""

    what: Literal["dull pad"]
    where: PadRole = "leak pad"
    volume: Volume = Field(description="water on the floor that it now takes")


class SilenceMeter(Beginning):
    """A flow meter's wheel jams: no pulses at all."""

    what: Literal["silence"]
    where: MeterRole = "flow meter"


class ReviveMeter(Beginning):
    """The wheel of a flow meter turns freely again, and is clean."""

    what: Literal["revive meter"]
    where: MeterRole = "flow meter"


class DriftMeter(Gradual):
    """A flow meter comes to read more, or less, than flows."""

    what: Literal["drift"]
    where: MeterRole = "flow meter"
    share: Share = Field(description="share of what flows by which it comes to be off")
    to: Literal["more", "less"]


class FoulMeter(Gradual):
    """Growth brakes the wheel of a flow meter: it reads less, and starts to turn later."""

    what: Literal["foul"]
    where: MeterRole = "flow meter"
    share: Share = Field(description="share of the flow that it comes to miss")


class NoisyMeter(Beginning):
    """Pulses come down a flow meter's cable that no water made."""

    what: Literal["noise"]
    where: MeterRole = "flow meter"
    a_second: float = Field(gt=0.0, le=5000.0, description="how many in a second")


class QuietMeter(Beginning):
    """Its cable is quiet again."""

    what: Literal["quiet"]
    where: MeterRole = "flow meter"


class LevelOffset(Gradual):
    """A level sensor comes to read too high or too low."""

    what: Literal["offset"]
    where: LevelRole = "level sensor"
    by: Length = Field(ge=0.0, description="by how much it comes to be off [m]")
    to: Literal["more", "less"]


class LevelHiss(Beginning):
    """A level sensor grows noisy; a spread of nought ends it."""

    what: Literal["hiss"]
    where: LevelRole = "level sensor"
    spread: Length = Field(ge=0.0, description="standard deviation of its noise [m]")


class LevelDropsOut(Passing):
    """A level sensor gives nothing."""

    what: Literal["drop out"]
    where: LevelRole = "level sensor"


class LevelFreezes(Lasting):
    """A level sensor goes on giving what it gave last."""

    what: Literal["freeze"]
    where: LevelRole = "level sensor"
