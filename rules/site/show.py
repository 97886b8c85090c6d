"""SI numbers printed for people, in the units the site file asks for."""

from __future__ import annotations

import math
from enum import StrEnum

INCH_M = 0.0254
GALLON_M3 = 231 * INCH_M**3


class Units(StrEnum):
    """The units in which figures are printed; quantities may be written in any unit."""

    METRIC = "metric"
    US = "us"


def length(metres: float, units: Units) -> str:
    """A height or distance: "40.0 mm" or "1.57 in"."""
    if units is Units.US:
        return f"{metres / INCH_M:.2f} in"
    return f"{metres * 1000:.1f} mm"


def flow(m3_s: float, units: Units) -> str:
    """A flow: "60.0 l/min" or "951 gal/h"."""
    if units is Units.US:
        return f"{m3_s * 3600 / GALLON_M3:.0f} gal/h"
    return f"{m3_s * 60000:.1f} l/min"


def volume(m3: float, units: Units) -> str:
    """A volume: "12.3 l" or "3.25 gal"."""
    if units is Units.US:
        return f"{m3 / GALLON_M3:.2f} gal"
    return f"{m3 * 1000:.1f} l"


def duration(seconds: float) -> str:
    """A duration: "4.2 s", "3 min 20 s", "2 h 05 min", or "no end" for infinity."""
    if math.isinf(seconds):
        return "no end"
    if seconds < 10:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def share(value: float) -> str:
    """A share of one: "92 %"."""
    return f"{value * 100:.0f} %"
