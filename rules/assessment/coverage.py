"""A failure, and the sensors that see it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Coverage:
    """A failure, the sensors that see it, and in a clause how, or why none does."""

    failure: str
    sensors: tuple[str, ...]
    note: str
