"""What is asked of a passage: which bore, and the levels on its two sides."""

from __future__ import annotations

from dataclasses import dataclass

from rules.explain.ground import Ground
from rules.explain.page import Named
from rules.hydraulics.build import Bore
from rules.hydraulics.network import Hydraulics


@dataclass(frozen=True, slots=True)
class Sides:
    """The higher and the lower water at an edge or an opening, as they stand on the page."""

    high: Named
    low: Named

    @property
    def from_below(self) -> bool:
        """True when the water of the lower chamber stands higher, and runs back."""
        return self.high[0] == "z2"


@dataclass(frozen=True, slots=True)
class Asked:
    """A passage at two levels above the datum [m], which stand on the page as z1 and z2."""

    ground: Ground
    key: str
    bore: Bore
    up_m: float
    down_m: float

    @property
    def sides(self) -> Sides:
        """Both levels, the higher one first."""
        up, down = ("z1", self.up_m), ("z2", self.down_m)
        return Sides(down, up) if self.up_m < self.down_m else Sides(up, down)

    @property
    def table(self) -> str:
        """Its table in the site file."""
        return f"passages.{self.key}"

    @property
    def hydraulics(self) -> Hydraulics:
        """The hydraulics with the bore asked for."""
        return self.ground.least if self.bore == "least" else self.ground.mean

    @property
    def bores(self) -> str:
        """The bore asked for, in words."""
        return f"{self.bore} bores"

    @property
    def measured(self) -> str:
        """The id of the measurement of the passage, where there is one."""
        return next(k for k, m in self.ground.site.measured.items() if m.of == self.key)
