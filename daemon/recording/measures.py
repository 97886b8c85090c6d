"""How each kind of sensor stands in a recording: its unit in a column's name, and its values."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan

from rules.site.sensors import Sensor
from rules.site.show import GALLON_M3, INCH_M

CONTACTS = frozenset({"wet", "present"})
"""Units that are no units: the column says 1 or 0."""

UNITS: dict[str, Mapping[str, float]] = {
    "float": {"wet": 1.0},
    "leak": {"wet": 1.0},
    "mains": {"present": 1.0},
    "flow-meter": {
        "m3_s": 1.0,
        "l_s": 1e-3,
        "l_min": 1e-3 / 60.0,
        "l_h": 1e-3 / 3600.0,
        "gal_min": GALLON_M3 / 60.0,
        "gal_h": GALLON_M3 / 3600.0,
    },
    "level": {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "in": INCH_M},
}
"""For each kind of sensor the units that a column may have, each with its size in SI. The first is
the one that the guard writes: SI, so that a number comes back as it was, to the bit."""

WORDS = {"true": 1.0, "false": 0.0, "": nan}
"""Texts beside numbers; an empty cell is a sensor that could not be read."""


def column_of(key: str, sensor: Sensor) -> str:
    """The name of a sensor's column as the guard writes it: "display-high.wet"."""
    return f"{key}.{next(iter(UNITS[sensor.kind]))}"


def shown(value: float) -> str:
    """A value as text that reads back as the same number; empty for no number."""
    if isnan(value):
        return ""
    text = repr(value)
    return text.removesuffix(".0") if text in ("1.0", "0.0") else text


def read(text: str, unit: str, factor: float) -> float:
    """The value of a cell in SI; raises ValueError with a sentence."""
    word = WORDS.get(text.strip().lower())
    try:
        value = float(text) if word is None else word
    except ValueError:
        raise ValueError(f'"{text[:40]}" is no number; decimals have a point') from None
    if unit in CONTACTS and not isnan(value) and value not in (0.0, 1.0):
        raise ValueError(f"{text.strip()} is neither 1 ({unit}) nor 0")
    return value * factor
