"""Passages: every way for water from one chamber to another, each kind with its own keys."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from rules.site.base import Id, Name, Table
from rules.site.pipes import PipeSize
from rules.site.quantities import Flow, Length, Share, Size

Fitting = Literal[
    "entrance-flush",
    "entrance-projecting",
    "entrance-bellmouth",
    "elbow-90",
    "elbow-45",
    "bend-90-long",
    "tee-run",
    "tee-branch",
    "union",
    "gate-valve",
    "ball-valve",
    "check-valve",
    "exit",
]
"""Fittings whose loss coefficient is known; see `rules.hydraulics.fittings` for the values."""


class _Between(Table):
    name: Name | None = Field(None, description="what people call it")
    from_: Id = Field(alias="from", description="the chamber the water leaves")
    to: Id = Field(description="the chamber the water reaches")


class _Run(Table):
    """A run of pipe."""

    pipe: PipeSize = Field(description="the pipe's size")
    length: Size = Field(description="length of pipe from end to end [m]")
    fittings: tuple[Fitting, ...] = Field((), description="every fitting on the way, in order")


class Weir(_Between):
    """A straight edge that water goes over: a weir, or a baffle between two chambers."""

    kind: Literal["weir", "baffle"]
    crest: Length = Field(description="height of the edge [m above the bottom of `from`]")
    width: Size = Field(description="length of the edge that water goes over [m]")


class UnderBaffle(_Between):
    """A slot under a baffle, which water passes below its surface."""

    kind: Literal["under-baffle"]
    bottom: Length = Field(0.0, description="height of its lower edge [m above bottom of `from`]")
    gap: Size = Field(description="clear height of the slot [m]")
    width: Size = Field(description="clear width of the slot [m]")


class Comb(_Between):
    """A row of slots through the top of a wall, which keeps animals out of the overflow box."""

    kind: Literal["comb"]
    crest: Length = Field(
        description="height of the bottom of the slots [m above bottom of `from`]"
    )
    slots: int = Field(ge=1, le=1000, description="how many slots")
    slot_width: Size = Field(description="clear width of one slot [m]")
    slot_height: Size = Field(description="clear height of a slot [m]; above it is wall")


class LevelRun(Table):
    """A near-level stretch of a drain, which runs part full."""

    length: Size = Field(description="its length [m]")
    fall: Size = Field(description="how far it falls over that length [m]")


class _Drain(_Between, _Run):
    """What drains of every kind have."""

    mouth: Length = Field(description="height of its inlet or lip [m above the bottom of `from`]")
    outlet: Length = Field(description="height of its lower end [m above the bottom of `to`]")
    level_run: LevelRun | None = Field(
        None, description="the near-level stretch that it ends in, if it has one"
    )

    @model_validator(mode="after")
    def _gentle(self) -> Self:
        if self.level_run is not None and self.level_run.fall > 0.1 * self.level_run.length:
            raise ValueError("level_run: a fall of more than a tenth of its length is not level")
        return self


class SiphonDrain(_Drain):
    """A drain that runs full of water, throttled by a valve so that it carries most of the flow."""

    kind: Literal["siphon-drain"]
    tuned_share: Share | None = Field(
        None,
        description="share of the flow that the valve was set to carry while the level stands at "
        "the lip of the open drain; without it, or valve_open, the valve is taken as fully open",
    )
    valve_open: Share | None = Field(
        None, description="how far its gate valve is open, if that is known; at least 25 %"
    )

    @model_validator(mode="after")
    def _one_setting(self) -> Self:
        if self.tuned_share is not None and self.valve_open is not None:
            raise ValueError("give tuned_share or valve_open, not both: they say the same thing")
        if self.valve_open is not None and self.valve_open < 0.25:
            raise ValueError("valve_open: no table says what a valve passes under 25 %")
        return self


class OpenDrain(_Drain):
    """A drain with air down its middle: the rest of the flow trickles over its lip, quietly."""

    kind: Literal["open-drain"]


class EmergencyDrain(_Drain):
    """A drain that is dry on every good day and carries what the others no longer can."""

    kind: Literal["emergency-drain"]


class Screen(_Between):
    """A sponge or screen that water passes through; a baffle beside it takes what goes over."""

    kind: Literal["screen"]
    bottom: Length = Field(0.0, description="height of its lower edge [m above bottom of `from`]")
    top: Length = Field(description="height of its upper edge [m above the bottom of `from`]")
    clean_loss: Size = Field(description="difference of level across it when clean [m]")
    at_flow: Flow = Field(description="the flow at which that difference was seen [m3/s]")


class Hole(_Between):
    """A round hole through a wall."""

    kind: Literal["hole"]
    centre: Length = Field(description="height of its centre [m above the bottom of `from`]")
    diameter: Size = Field(description="clear diameter [m]")


class Canister(Table):
    """A media canister or reactor on a branch, by the loss seen across it."""

    loss: Size = Field(description="head lost across it [m]")
    at_flow: Flow = Field(description="the flow at which that loss was seen [m3/s]")

    @model_validator(mode="after")
    def _flows(self) -> Self:
        if self.at_flow <= 0.0:
            raise ValueError("at_flow must be more than nought")
        return self


class Branch(_Run):
    """A pump's way up to one place."""

    kind: Literal["branch"]
    name: Name | None = Field(None, description="what people call it")
    pump: Id = Field(description="the pump that feeds it")
    to: Id = Field(description="the chamber the water reaches")
    outlet: Length = Field(description="height of its open end [m above the bottom of `to`]")
    siphon_break: Length | None = Field(
        None,
        description="height of the hole that lets air in when the pump stops [m above the bottom "
        "of `to`]; without one, water runs back until the outlet itself is dry",
    )
    valve_loss: float = Field(
        0.0, ge=0.0, le=1e5, description="loss coefficient of a throttled valve on it; 0 = open"
    )
    canister: Canister | None = Field(
        None, description="a canister or reactor that the branch leads through, if any"
    )

    @model_validator(mode="after")
    def _break_above_outlet(self) -> Self:
        if self.siphon_break is not None and self.siphon_break < self.outlet:
            raise ValueError("siphon_break must be at or above the outlet, or it breaks nothing")
        return self


Gravity = Weir | UnderBaffle | Comb | SiphonDrain | OpenDrain | EmergencyDrain | Screen | Hole
Drain = SiphonDrain | OpenDrain | EmergencyDrain
Passage = Annotated[
    Weir | UnderBaffle | Comb | SiphonDrain | OpenDrain | EmergencyDrain | Screen | Hole | Branch,
    Field(discriminator="kind"),
]
