"""Chambers: everything that holds water with a level of its own."""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise
from math import pi
from typing import Self

from pydantic import Field, model_validator

from rules.site.base import Name, Table
from rules.site.quantities import Area, Length, Share, Size, Volume


class Filling(Table):
    """One line of a table of levels and volumes, for a chamber of an odd shape."""

    level: Length = Field(description="level [m above the chamber's bottom]")
    volume: Volume = Field(description="water in it at that level [m3]")


class Chamber(Table):
    """A tank, or one chamber of a tank. Heights in it are measured from its own inside bottom.

    Its plan is given by length and width, by a diameter, by an area, or, for an odd shape, by a
    table of levels and volumes.
    """

    name: Name | None = Field(None, description="what people call it")
    bottom: Length = Field(description="height of its inside bottom above the site's datum [m]")
    rim: Size = Field(description="inside height of the edge over which it would spill [m]")
    length: Size | None = Field(None, description="inside length of a box [m]")
    width: Size | None = Field(None, description="inside width of a box [m]")
    diameter: Size | None = Field(None, description="inside diameter of an upright cylinder [m]")
    area: Area | None = Field(None, description="inside plan area [m2], of any upright shape")
    fillings: tuple[Filling, ...] | None = Field(
        None,
        description="for an odd shape: levels and volumes, from empty to the rim, both growing",
    )
    displacement: Share = Field(0.0, description="share of the volume that rock and gear take away")
    level: Length | None = Field(
        None,
        description="level while all runs [m above its bottom]; needed only where no passage "
        "holds it: the chamber a pump draws from, and a reservoir",
    )
    steady: Size | None = Field(
        None,
        description="how far its level may move for the gear that stands in it, such as a "
        "skimmer [m]",
    )

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        if (self.length is None) != (self.width is None):
            raise ValueError("give both length and width, or neither")
        if self.displacement >= 1.0:
            raise ValueError("displacement: rock and gear that take all of it leave no water")
        shapes = (self.length, self.diameter, self.area, self.fillings)
        if sum(shape is not None for shape in shapes) != 1:
            raise ValueError(
                "give its shape in one way: length and width, or diameter, or area, or fillings"
            )
        if self.fillings is not None:
            self._check_fillings(self.fillings)
        if self.level is not None and not 0.0 <= self.level <= self.rim:
            raise ValueError(
                f"level {self.level * 1000:.0f} mm must lie between the bottom and the rim "
                f"({self.rim * 1000:.0f} mm)"
            )
        return self

    def _check_fillings(self, fillings: tuple[Filling, ...]) -> None:
        if len(fillings) < 2 or fillings[0].level != 0.0 or fillings[0].volume != 0.0:
            raise ValueError("fillings: begin with level 0 and volume 0, and give at least two")
        for before, after in pairwise(fillings):
            if after.level <= before.level or after.volume <= before.volume:
                raise ValueError("fillings: from line to line level and volume must both grow")
        if fillings[-1].level < self.rim:
            raise ValueError("fillings: the last line must reach the rim")

    @property
    def _plan_m2(self) -> float:
        """Plan area of an upright shape, rock and gear still in [m2]."""
        if self.length is not None and self.width is not None:
            return self.length * self.width
        if self.diameter is not None:
            return pi / 4 * self.diameter * self.diameter
        assert self.area is not None
        return self.area

    def volume_m3(self, level_m: float) -> float:
        """Water in it with the level at `level_m` above its bottom [m3]; rock and gear left out."""
        level = max(0.0, level_m)
        if self.fillings is None:
            return self._plan_m2 * level * (1.0 - self.displacement)
        i = min(
            max(1, bisect_right(self.fillings, level, key=lambda line: line.level)),
            len(self.fillings) - 1,
        )
        low, high = self.fillings[i - 1], self.fillings[i]
        slope = (high.volume - low.volume) / (high.level - low.level)
        return (low.volume + slope * (level - low.level)) * (1.0 - self.displacement)

    def level_m(self, volume_m3: float) -> float:
        """Level above its bottom with `volume_m3` of water in it [m]."""
        whole = max(0.0, volume_m3) / (1.0 - self.displacement)
        if self.fillings is None:
            return whole / self._plan_m2
        i = min(
            max(1, bisect_right(self.fillings, whole, key=lambda line: line.volume)),
            len(self.fillings) - 1,
        )
        low, high = self.fillings[i - 1], self.fillings[i]
        slope = (high.level - low.level) / (high.volume - low.volume)
        return low.level + slope * (whole - low.volume)

    def plan_m2(self, level_m: float) -> float:
        """Area of its water's surface with the level at `level_m` above its bottom [m2]."""
        if self.fillings is None:
            return self._plan_m2 * (1.0 - self.displacement)
        i = min(
            max(1, bisect_right(self.fillings, max(0.0, level_m), key=lambda line: line.level)),
            len(self.fillings) - 1,
        )
        low, high = self.fillings[i - 1], self.fillings[i]
        slope = (high.volume - low.volume) / (high.level - low.level)
        return slope * (1.0 - self.displacement)

    def between_m3(self, low_m: float, high_m: float) -> float:
        """Water that fits between two heights above the datum [m3]; nought if they cross."""
        if high_m <= low_m:
            return 0.0
        return self.volume_m3(high_m - self.bottom) - self.volume_m3(low_m - self.bottom)

    @property
    def rim_m(self) -> float:
        """Height of the rim above the datum [m]."""
        return self.bottom + self.rim

    def above_datum_m(self, height_m: float) -> float:
        """A height of this chamber as a height above the site's datum [m]."""
        return self.bottom + height_m
