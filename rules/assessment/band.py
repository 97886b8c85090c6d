"""A figure with its doubt: the least and the most it may be, and the value to expect."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf


@dataclass(frozen=True, slots=True)
class Band:
    """Least, expected and greatest value of one figure, in one unit."""

    low: float
    value: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.value <= self.high:
            raise ValueError(f"a band must hold its value: {self.low}, {self.value}, {self.high}")

    @classmethod
    def around(cls, value: float, share: float) -> Band:
        """`value` with a doubt of `share` either way; what is never below zero stays so."""
        return cls(value * max(0.0, 1.0 - share), value, value * (1.0 + share))

    @classmethod
    def exact(cls, value: float) -> Band:
        """A figure without doubt."""
        return cls(value, value, value)

    def __add__(self, other: Band) -> Band:
        return Band(self.low + other.low, self.value + other.value, self.high + other.high)


NOTHING = Band.exact(0.0)


def total(bands: list[Band]) -> Band:
    """The sum of bands whose doubts may all lean the same way."""
    found = NOTHING
    for band in bands:
        found = found + band
    return found


def ratio(top: float, bottom: float) -> float:
    """`top / bottom`, infinite where nothing is to be carried."""
    return top / bottom if bottom > 0 else inf
