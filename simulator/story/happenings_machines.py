"""What happens to pumps, the valve, the relays and the supply."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from rules.site.quantities import Share
from simulator.story.happenings_base import Beginning, Gradual, Lasting
from simulator.story.named import OutputRole, PumpRole, ValveRole


class WearPump(Gradual):
    """A pump loses part of its flow: growth, wear, scale."""

    what: Literal["wear"]
    where: PumpRole
    share: Share = Field(description="share of its flow that is lost")


class PumpDies(Beginning):
    """A pump stands still although it has current."""

    what: Literal["pump dies"]
    where: PumpRole


class PumpRevives(Beginning):
    """It turns again."""

    what: Literal["pump revives"]
    where: PumpRole


class Unplug(Lasting):
    """Somebody pulls a pump's plug, to feed or to clean, and puts it back."""

    what: Literal["unplug"]
    where: PumpRole


class StickValve(Beginning):
    """The top-off valve no longer obeys, or opens no further than half."""

    what: Literal["stick valve"]
    where: ValveRole = "top-off valve"
    state: Literal["open", "shut", "half open"]
    share: Share = Field(0.5, description="how far it opens when half open")

    @model_validator(mode="after")
    def _share_of_what(self) -> Self:
        if self.state != "half open" and "share" in self.model_fields_set:
            raise ValueError('share: only a valve that is "half open" has one')
        return self


class FreeValve(Beginning):
    """It obeys again, and opens whole."""

    what: Literal["free valve"]
    where: ValveRole = "top-off valve"


class WeldRelay(Beginning):
    """The contacts of a relay weld: what it switches stays on."""

    what: Literal["weld relay"]
    where: OutputRole


class DeadRelay(Beginning):
    """A relay no longer closes: what it switches stays off."""

    what: Literal["dead relay"]
    where: OutputRole


class MendRelay(Beginning):
    """It obeys again."""

    what: Literal["mend relay"]
    where: OutputRole


class PowerCut(Lasting):
    """The mains go; the guard itself runs on."""

    what: Literal["power cut"]
