"""Quantities written as text with their unit ("40 mm", "900 gal/h"), read into SI numbers."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator, WithJsonSchema

if TYPE_CHECKING:
    import pint

INCHES = re.compile(r"^(?:([0-9]+)(?:-| ))?([0-9]+)/([0-9]+)\s*(?:in|inch|inches)$")
_TERM = r"[^\W\d_]+(?:_[^\W\d_]+)*(?:(?:\^|\*\*)-?[1-9])?"
QUANTITY = re.compile(
    r"^[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?"
    rf"\s*{_TERM}(?:\s*(?:[/*]|\bper\b)\s*{_TERM})*$"
)
"""One number and its unit. More would be read as arithmetic: "1,5 in" as 15 in, "1 500 mm" as
500 mm, and no number at all as one."""

PERCENT = re.compile(r"^([-+]?[0-9.]+)\s*%$")


@functools.cache
def registry() -> pint.UnitRegistry[Any]:
    """The unit registry; made once, since making one costs about 100 ms."""
    import pint

    units: pint.UnitRegistry[Any] = pint.UnitRegistry()
    units.define("pulse = [pulse] = pulses")
    units.define("gph = gallon / hour")
    units.define("gpm = gallon / minute")
    units.define("lph = liter / hour")
    units.define("lpm = liter / minute")
    units.define("psu = gram / kilogram")
    return units


def read(text: object, unit: str, example: str) -> float:
    """Read `text` as a quantity and return its magnitude in `unit`.

    Raises ValueError with a sentence that says what would be right.
    """
    import pint

    if isinstance(text, (int, float)) and not isinstance(text, bool):
        raise ValueError(f"{text} has no unit; write it as text with one, like {example}")
    if not isinstance(text, str):
        raise ValueError(f"must be text with a unit, like {example}")
    plain = text.strip()
    if (inches := INCHES.match(plain)) and int(inches[3]) > 0:
        plain = f"{int(inches[1] or 0) + int(inches[2]) / int(inches[3])} in"
    if re.fullmatch(r"[-+0-9.,]+", plain):
        raise ValueError(f"{text} has no unit; write it as text with one, like {example}")
    if not QUANTITY.match(plain):
        raise ValueError(f'"{text}" is not a quantity; write it like {example}')
    try:
        value = float(registry().Quantity(plain).to(unit).magnitude)
    except pint.DimensionalityError:
        sentence = f'"{text}" is of another kind of quantity; write it like {example}'
        raise ValueError(sentence) from None
    except Exception:  # pint raises many kinds on malformed text; all mean the same to a keeper
        raise ValueError(f'"{text}" is not a quantity; write it like {example}') from None
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not a finite quantity; write it like {example}')
    return value


def _reader(
    unit: str, example: str, least: float = -math.inf, most: float = math.inf, beyond: str = ""
) -> Callable[[object], float]:
    def convert(text: object) -> float:
        value = read(text, unit, example)
        if not least <= value <= most:
            raise ValueError(f'"{text}" is out of range: {beyond}')
        return value

    return convert


def _quantity(convert: Callable[[object], float], what: str, *examples: str) -> Any:
    schema = {"type": "string", "description": what, "examples": list(examples)}
    return Annotated[float, BeforeValidator(convert), WithJsonSchema(schema)]


def _read_share(text: object) -> float:
    found = PERCENT.match(text.strip()) if isinstance(text, str) else None
    if not found:
        raise ValueError('must be a percentage as text, like "92 %"')
    share = float(found[1]) / 100.0
    if not 0.0 <= share <= 1.0:
        raise ValueError(f'"{text}" must lie between "0 %" and "100 %"')
    return share


def _read_temperature(text: object) -> float:
    import pint

    example = '"25 degC" or "77 degF"'
    if not isinstance(text, str):
        raise ValueError(f"must be text with a unit, like {example}")
    found = re.match(r"^([-+]?[0-9.]+)\s*(\S+)$", text.strip())
    if not found:
        raise ValueError(f'"{text}" is not a temperature; write it like {example}')
    try:
        value = float(registry().Quantity(float(found[1]), found[2]).to("degC").magnitude)
    except (pint.PintError, ValueError, AttributeError):
        raise ValueError(f'"{text}" is not a temperature; write it like {example}') from None
    if not 0.0 <= value <= 40.0:
        raise ValueError(f'"{text}" is out of range: the water formulas hold from 0 to 40 degC')
    return value


_POSITIVE = 1e-9
if TYPE_CHECKING:
    Length = float
    Size = float
    Area = float
    Volume = float
    Flow = float
    Duration = float
    Share = float
    Temperature = float
    Salinity = float
    PulsesPerVolume = float
else:
    Length = _quantity(
        _reader("m", '"40 mm" or "1.5 in"', -100.0, 100.0, "heights lie within 100 m"),
        "a height or distance [m inside]",
        "40 mm",
        "1.5 in",
    )
    Size = _quantity(
        _reader("m", '"40 mm" or "1.5 in"', _POSITIVE, 100.0, "it must be more than zero"),
        "a size above zero [m inside]",
        "1500 mm",
        "59 in",
    )
    Area = _quantity(
        _reader("m^2", '"0.9 m^2"', _POSITIVE, 1e4, "it must be more than zero"),
        "a plan area [m2 inside]",
        "0.9 m^2",
        "1400 in^2",
    )
    Volume = _quantity(
        _reader("m^3", '"40 l" or "10 gal"', 0.0, 1e4, "it must not be negative"),
        "a volume [m3 inside]",
        "40 l",
        "10 gal",
    )
    Flow = _quantity(
        _reader("m^3/s", '"3400 l/h" or "900 gal/h"', 0.0, 10.0, "it must not be negative"),
        "a flow [m3/s inside]",
        "3400 l/h",
        "900 gal/h",
    )
    Duration = _quantity(
        _reader("s", '"2 s" or "5 min"', 0.0, 1e8, "it must not be negative"),
        "a duration [s inside]",
        "2 s",
        "5 min",
    )
    Share = _quantity(_read_share, "a share from 0 % to 100 % [0 to 1 inside]", "92 %")
    Temperature = _quantity(_read_temperature, "a temperature [degC inside]", "25 degC", "77 degF")
    Salinity = _quantity(
        _reader("g/kg", '"35 g/kg"', 0.0, 42.0, "the water formulas hold from 0 to 42 g/kg"),
        "salinity [g/kg inside]; 0 for fresh water",
        "35 g/kg",
    )
    PulsesPerVolume = _quantity(
        _reader("pulse/m^3", '"450 pulses/l"', _POSITIVE, 1e9, "it must be more than zero"),
        "pulses a volume [pulses/m3 inside]",
        "450 pulses/l",
        "1700 pulses/gal",
    )
