"""Chambers: everything that holds water with a level of its own."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from rules.site.base import Name, Table
from rules.site.quantities import Area, Length, Share, Size


class Chamber(Table):
    """A tank, or one chamber of a tank. Heights in it are measured from its own inside bottom."""

    name: Name | None = Field(None, description="what people call it")
    bottom: Length = Field(description="height of its inside bottom above the site's datum [m]")
    rim: Size = Field(description="inside height of the edge over which it would spill [m]")
    length: Size | None = Field(None, description="inside length [m]; with width, or give area")
    width: Size | None = Field(None, description="inside width [m]; with length, or give area")
    area: Area | None = Field(
        None, description="inside plan area [m2], instead of length and width"
    )
    displacement: Share = Field(0.0, description="share of the volume that rock and gear take away")
    level: Length | None = Field(
        None,
        description="level while all runs [m above its bottom]; needed only where no passage "
        "holds it: the chamber a pump draws from, and a reservoir",
    )

    @model_validator(mode="after")
    def _one_way_to_size(self) -> Self:
        sides = self.length is not None and self.width is not None
        if sides == (self.area is not None) or (self.length is None) != (self.width is None):
            raise ValueError("give either length and width, or area")
        if self.level is not None and not 0.0 <= self.level <= self.rim:
            raise ValueError(
                f"level {self.level * 1000:.0f} mm must lie between the bottom and the rim "
                f"({self.rim * 1000:.0f} mm)"
            )
        return self

    @property
    def plan_m2(self) -> float:
        """Plan area of the water, less what stands in it [m2]."""
        if self.area is not None:
            return self.area * (1.0 - self.displacement)
        assert self.length is not None
        assert self.width is not None
        return self.length * self.width * (1.0 - self.displacement)

    @property
    def rim_m(self) -> float:
        """Height of the rim above the datum [m]."""
        return self.bottom + self.rim

    def above_datum_m(self, height_m: float) -> float:
        """A height of this chamber as a height above the site's datum [m]."""
        return self.bottom + height_m
