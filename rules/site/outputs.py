"""Outputs: what the guard can do, and on which pins."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.site.base import Id, Name, Table
from rules.site.sensors import Pin

PULLED_UP_AT_POWER_ON = frozenset(range(9))
"""Pins that a Raspberry Pi pulls up until software speaks: GPIO 0 to 8; 9 to 27 are pulled down
(BCM2835 ARM Peripherals, table 6-31)."""


class _Output(Table):
    name: Name | None = Field(None, description="what people call it")
    pin: Pin
    safe: Literal["low", "high"] = Field(
        description="level of the pin at which the relay is released and the thing is off; "
        "the guard claims the pin at this level and falls back to it"
    )

    @property
    def pulled_safe_at_power_on(self) -> bool:
        """True when the pin's own pull at power-on already means off."""
        return (self.pin in PULLED_UP_AT_POWER_ON) == (self.safe == "high")


class PumpOutput(_Output):
    """The relay of a return pump; energised to run."""

    kind: Literal["pump"]
    pump: Id = Field(description="the pump it powers")


class TopOffOutput(_Output):
    """The valve of the top-off; energised to open."""

    kind: Literal["top-off"]


class SparePumpOutput(_Output):
    """A pump that keeps water moving inside one chamber while no return flow does."""

    kind: Literal["spare-pump"]
    chamber: Id = Field(
        description="the chamber in which it moves water, and out of which it moves none"
    )


class SounderOutput(_Output):
    """A sounder at the tanks, which needs no network."""

    kind: Literal["sounder"]


class HeartbeatOutput(_Output):
    """A line that changes once in half a second while the guard completes its cycles.

    An external timer relay in series with the pump opens when it stops.
    """

    kind: Literal["heartbeat"]


Output = Annotated[
    PumpOutput | TopOffOutput | SparePumpOutput | SounderOutput | HeartbeatOutput,
    Field(discriminator="kind"),
]
