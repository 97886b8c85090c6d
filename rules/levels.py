"""What level sensors tell: how long the water has stood over a mark, and what contradicts them."""

from __future__ import annotations

from collections.abc import Sequence

from rules.memory import LevelMemory
from rules.plan import LevelPlan, Plan
from rules.signals import LevelFigures, Quality, Reading

HOLD_S = 10.0
"""A level must stand over a mark for so long, net, before it tells of the drains [s]: an arm in the
water, or a bucket poured in, is over by then. Shorter is stricter; the floats wait for nothing."""

HANGS_M = 0.010
"""A float may turn this far from where the level sensor beside it puts the water: waves, the gap
between its two ways, and the ruler at both [m]."""


def filter_levels(
    plan: Plan, before: Sequence[LevelMemory], readings: Sequence[Reading], dt_s: float
) -> tuple[LevelMemory, ...]:
    """Step the net time of every level sensor over its marks; one that is BAD stays as it was.

    The level is taken as low as its tolerance allows.
    """
    return tuple(
        _filter_level(level, old, readings[level.index], dt_s)
        for level, old in zip(
            plan.levels, before or [LevelMemory()] * len(plan.levels), strict=True
        )
    )


def _filter_level(level: LevelPlan, old: LevelMemory, reading: Reading, dt_s: float) -> LevelMemory:
    if reading.quality is Quality.BAD:
        return old
    mark = level.marks.under(reading.value - level.tolerance_m)
    if mark >= 0:
        charge = min(HOLD_S, old.charge_s + dt_s)
        return LevelMemory(charge, old.high or charge >= HOLD_S - 1e-9, mark)
    if old.charge_s == 0.0:
        return old
    charge = max(0.0, old.charge_s - dt_s)
    if charge <= 1e-9:
        return LevelMemory()
    return LevelMemory(charge, old.high, old.mark)


def contradicting_float(level: LevelPlan, readings: Sequence[Reading]) -> int | None:
    """The place of a float that is wet over where a level sensor puts the water, or dry under it.

    Floats as they read now, and only those that can be read: a filter would lag behind.
    """
    reading = readings[level.index]
    if reading.quality is Quality.BAD:
        return None
    low = reading.value - level.tolerance_m - HANGS_M
    high = reading.value + level.tolerance_m + HANGS_M
    for place, height in level.floats:
        said = readings[place]
        if said.quality is not Quality.GOOD:
            continue
        if height > high if said.value >= 0.5 else height < low:
            return place
    return None


def level_figures(plan: Plan, readings: Sequence[Reading]) -> tuple[LevelFigures, ...]:
    """Every level sensor as it reads now."""
    found = []
    for level in plan.levels:
        reading = readings[level.index]
        known = None if reading.quality is Quality.BAD else reading.value
        found.append(
            LevelFigures(
                level.id, level.chamber, known, level.tolerance_m, reading.quality, reading.why
            )
        )
    return tuple(found)
