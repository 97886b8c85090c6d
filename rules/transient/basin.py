"""A chamber's level for its volume, and back: all that the stepper knows of its shape."""

from __future__ import annotations

from rules.site.chambers import Chamber


def volume_of(chamber: Chamber, level_m: float) -> float:
    """Water in a chamber with its level at `level_m` above the datum [m3]."""
    return chamber.volume_m3(level_m - chamber.bottom)


def level_of(chamber: Chamber, volume_m3: float) -> float:
    """Level above the datum with `volume_m3` of water in a chamber [m]."""
    return chamber.bottom + chamber.level_m(volume_m3)


def surface_of(chamber: Chamber, level_m: float) -> float:
    """Area of the water's surface with the level at `level_m` above the datum [m2]."""
    return chamber.plan_m2(level_m - chamber.bottom)


__all__ = ["level_of", "surface_of", "volume_of"]
