"""What happens to the water, and to what leads and holds it."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from rules.site.quantities import Duration, Flow, Length, Share, Volume
from simulator.story.happenings_base import Beginning, Gradual, Passing
from simulator.story.named import BranchRole, ChamberRole, PassageRole


class Block(Gradual):
    """Something sits in a passage."""

    what: Literal["block"]
    where: PassageRole
    share: Share = Field(1.0, description="share of its clean conductance that is lost")


class Unblock(Gradual):
    """It goes away again."""

    what: Literal["unblock"]
    where: PassageRole


class DrawsAir(Beginning):
    """A joint of a siphon drain lets air in: it cannot prime, and soon loses what prime it has."""

    what: Literal["draws air"]
    where: PassageRole


class Seals(Beginning):
    """The joint is tight again."""

    what: Literal["seals"]
    where: PassageRole


class LosesPrime(Beginning):
    """A siphon drain takes one gulp of air and must prime anew."""

    what: Literal["loses prime"]
    where: PassageRole


class Leak(Gradual):
    """A joint gives way: water runs onto the floor until it is mended or the chamber is empty."""

    what: Literal["leak"]
    where: ChamberRole
    flow: Flow
    mended_after: Duration | None = None

    @model_validator(mode="after")
    def _whole_before_mended(self) -> Self:
        if self.mended_after is not None and self.mended_after < self.over:
            raise ValueError("mended_after: a leak cannot be mended before it has come about")
        return self


class HoseSlips(Beginning):
    """A hose slips half off: part of what the pump lifts through a branch lands on the floor."""

    what: Literal["hose slips"]
    where: BranchRole
    share: Share = Field(description="share of the branch's flow that lands on the floor")


class LoseWater(Gradual):
    """Water is carried off, onto no floor; all of it when no volume is given."""

    what: Literal["lose water"]
    where: ChamberRole
    volume: Volume | None = None


class AddWater(Gradual):
    """Water is poured in."""

    what: Literal["add water"]
    where: ChamberRole
    volume: Volume


class Stir(Passing):
    """Something makes waves, a hand in the tank as a rule."""

    what: Literal["stir"]
    where: ChamberRole
    height: Length = Field(description="height of the waves above the mean level [m]")

    @model_validator(mode="after")
    def _bounds(self) -> Self:
        if not 0.0 < self.height <= 0.2:
            raise ValueError("height: give the waves more than 0 mm and at most 200 mm")
        return self


class Displace(Passing):
    """An arm, a bucket or a rock goes in: the level rises by its volume, and falls back after."""

    what: Literal["displace"]
    where: ChamberRole
    volume: Volume


class PlugBreak(Beginning):
    """The siphon break of a branch is plugged."""

    what: Literal["plug siphon break"]
    where: BranchRole


class ClearBreak(Beginning):
    """It is open again."""

    what: Literal["clear siphon break"]
    where: BranchRole


class ChangeDiffers(Gradual):
    """One pump of the water change gives more than the other, by a share of what is exchanged."""

    what: Literal["water change differs"]
    share: Share
    more: Literal["in", "out"] = Field(description="which of the two gives more")


class DryAir(Beginning):
    """More of the water evaporates than usual."""

    what: Literal["dry air"]
    a_day: Share = Field(description="share of all the water that evaporates in a day")
