"""A pump that draws air behind a low float that hangs wet, told by two other signals together.

The float over the low float, where the top-off hangs, has been dry for long: the chamber has run
down. And the flow has fallen off since then, or a level sensor puts the water under the low float.
Neither alone would do: a reservoir that is empty dries the one, a fouled meter lowers the other.
"""

from __future__ import annotations

from rules.estimate import View
from rules.judging.plan import LowCheck
from rules.levels import HANGS_M
from rules.signals import Phase, Quality

LONG_DRY_S = 120.0
"""The float over the low float must have been dry for so long [s]: a top-off that works has wetted
it again by then. Shorter is stricter."""

FALLEN_SHARE = 0.8
"""The flow has fallen off under this share of what it was when that float fell dry; a pump that
lifts from a lower level loses a few hundredths of it. More is stricter."""


def draws_air(low: LowCheck, view: View) -> bool:
    """True while its pump runs, its low float says wet, and two other signals deny it."""
    if view.memory.pumps[low.pump].phase is not Phase.RUNNING or not _over_long_dry(low, view):
        return False
    return view.contacts[low.sensor].wet and (_fallen_off(low, view) or level_under(low, view))


def _over_long_dry(low: LowCheck, view: View) -> bool:
    if view.memory.out and any(map(view.out, low.ids)):
        return False
    turned_s = view.memory.judged.turned_s
    return not any(
        view.contacts[i].wet
        or view.readings[i].quality is not Quality.GOOD
        or view.t_s - turned_s[i] < LONG_DRY_S - 1e-9
        for i in low.over
    )


def _fallen_off(low: LowCheck, view: View) -> bool:
    then_m3_s, meter = view.memory.judged.dry_flow_m3_s[low.pump], view.plan.pumps[low.pump].meter
    if then_m3_s is None or meter is None:
        return False
    reading = view.readings[meter]
    return reading.quality is not Quality.BAD and reading.value < FALLEN_SHARE * then_m3_s


def level_under(low: LowCheck, view: View) -> bool:
    """A level sensor puts the water under the low float."""
    for place in low.levels:
        level = view.plan.levels[place]
        reading = view.readings[level.index]
        if (
            reading.quality is Quality.GOOD
            and reading.value + level.tolerance_m + HANGS_M < low.height_m
        ):
            return True
    return False
