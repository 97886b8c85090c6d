"""Pipe sizes of the trade, with the bore that the standard promises and the one to expect.

Schedule 40 PVC: ASTM D1785, outside diameter and least wall in inches; the wall may be thicker
by the larger of 0.020 in or 12 %. Mean bore = bore at the middle of the wall's tolerance.
PVC-U metric: EN 1452-2, outside diameter x nominal (least) wall in mm (sizes from memory); its
wall may be thicker by 0.1 x wall + 0.2 mm (from memory too).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

from pydantic import BeforeValidator, WithJsonSchema

from rules.site.base import Table
from rules.site.quantities import read
from rules.site.show import INCH_M

PVC_ROUGHNESS_M = 1.5e-6
"""Roughness of drawn plastic pipe: 1.5 micrometres, a usual value in handbooks."""

# nominal size: (outside diameter, least wall), inches; ASTM D1785
SCHEDULE_40 = {
    "1/2": (0.840, 0.109),
    "3/4": (1.050, 0.113),
    "1": (1.315, 0.133),
    "1-1/4": (1.660, 0.140),
    "1-1/2": (1.900, 0.145),
    "2": (2.375, 0.154),
    "3": (3.500, 0.216),
    "4": (4.500, 0.237),
}
DECIMALS = {"0.5": "1/2", "0.75": "3/4", "1.25": "1-1/4", "1.5": "1-1/2", "1.0": "1", "2.0": "2"}

_SCHEDULE = re.compile(r"^([0-9./ -]+?)\s*(?:in|inch)\s+sch\.?\s*40$", re.IGNORECASE)
_METRIC = re.compile(r"^([0-9.]+)\s*x\s*([0-9.]+)\s*mm$", re.IGNORECASE)
_BORE = re.compile(r"^(.+?)\s+bore$", re.IGNORECASE)

EXAMPLE = '"1.5 in sch40", "50x2.4 mm" (outside diameter x wall) or "40.9 mm bore"'


class Pipe(Table):
    """A pipe's bore: the mean to compute with, the least to assess with."""

    label: str
    bore_m: float
    bore_least_m: float
    roughness_m: float = PVC_ROUGHNESS_M

    @property
    def area_m2(self) -> float:
        """Open area of the mean bore [m2]."""
        return 0.785398163397448 * self.bore_m * self.bore_m


def _schedule_40(text: str, size: str) -> Pipe:
    key = size.strip().replace(" ", "-")
    key = DECIMALS.get(key, key)
    if key not in SCHEDULE_40:
        known = ", ".join(SCHEDULE_40)
        raise ValueError(f'"{text}": no such schedule 40 size; known sizes in inches are {known}')
    outside, wall = SCHEDULE_40[key]
    thickest = wall + max(0.020, 0.12 * wall)
    return Pipe(
        label=f"{key} in sch40",
        bore_m=(outside - wall - thickest) * INCH_M,
        bore_least_m=(outside - 2 * thickest) * INCH_M,
    )


def _metric(text: str, outside_mm: float, wall_mm: float) -> Pipe:
    thickest = wall_mm * 1.1 + 0.2
    if outside_mm <= 2 * thickest:
        raise ValueError(f'"{text}": the wall leaves no bore; write it like {EXAMPLE}')
    return Pipe(
        label=f"{outside_mm:g}x{wall_mm:g} mm",
        bore_m=(outside_mm - wall_mm - thickest) / 1000,
        bore_least_m=(outside_mm - 2 * thickest) / 1000,
    )


def parse_pipe(value: object) -> object:
    """Read a pipe written in one of the forms of `EXAMPLE`; raises ValueError with a sentence."""
    if not isinstance(value, str):
        if isinstance(value, Pipe):
            return value
        raise ValueError(f"must be text like {EXAMPLE}")
    text = value.strip()
    if found := _SCHEDULE.match(text):
        return _schedule_40(text, found[1])
    if found := _METRIC.match(text):
        return _metric(text, float(found[1]), float(found[2]))
    if found := _BORE.match(text):
        bore = read(found[1], "m", EXAMPLE)
        if not 0.001 <= bore <= 1.0:
            raise ValueError(f'"{text}": a bore lies between 1 mm and 1 m')
        return Pipe(label=text, bore_m=bore, bore_least_m=bore * 0.98)
    raise ValueError(f'"{text}" is not a pipe; write it like {EXAMPLE}')


if TYPE_CHECKING:
    PipeSize = Pipe
else:
    PipeSize = Annotated[
        Pipe,
        BeforeValidator(parse_pipe),
        WithJsonSchema(
            {
                "type": "string",
                "description": "a pipe: size and schedule, outside diameter x wall, or bore",
                "examples": ["1.5 in sch40", "50x2.4 mm", "40.9 mm bore"],
            }
        ),
    ]

__all__ = ["Pipe", "PipeSize", "parse_pipe"]
