"""A flow meter held against its pump: what it cannot show, and why it shows no flow.

Zero flow is not a dead pump. A pump that stops does so over seconds, and then what stands above
runs back and turns the wheel; a wheel that jams, or a cable that parts, shows nothing from one
moment to the next. A pump that draws air has emptied its chamber first. And where the water
stands tells the rest: after a stop the pump's chamber is full, and while the pump runs it falls.
"""

from __future__ import annotations

from enum import StrEnum

from rules.estimate import View
from rules.judging.plan import LevelCheck, MeterCheck
from rules.signals import Phase, Quality

REST_SHARE = 0.02
"""A meter that shows more than this share of the usual flow at rest counts what is not there."""

RUN_DOWN = 1.5
"""A flow that ends has passed so many times what passes in the time over which its meter counts;
one that is cut off in the meter passes half of that, whatever the flow."""

SUDDEN = 0.75
"""No more than so many times that, and the flow was cut off from one moment to the next."""

NEAR = 0.3
"""A level within this share of the way between two tells for the nearer one."""


class Lost(StrEnum):
    """Why a meter shows hardly any flow, as far as the other signals tell."""

    PUMP = "the pump stands still"
    METER = "the meter shows nothing"
    SUDDENLY = "from one moment to the next"
    UNKNOWN = "nothing tells"


def counts_too_much(check: MeterCheck, pump: int, view: View) -> bool:
    """It shows more than the pump can lift at best."""
    running = view.memory.pumps[pump].phase is Phase.RUNNING
    return running and view.readings[check.sensor].value > check.most_m3_s


def counts_at_rest(check: MeterCheck, pump: int, view: View) -> bool:
    """It counts although the pump has stood still for longer than water runs back."""
    plan = view.plan.pumps[pump]
    usual_m3_s = plan.nominal_m3_s * plan.meter_share
    return check.alone and view.readings[check.sensor].value > REST_SHARE * usual_m3_s


def lost(pump: int, view: View) -> Lost | None:
    """Why the meter of a pump that is on shows hardly any flow; None while it shows some."""
    past, check = view.memory.judged.meters[pump], view.plan.judging.meters[pump]
    if past.low_s is None or check is None or past.usual_m3_s is None or past.left_s is None:
        return None
    runs = _by_levels(pump, view)
    if runs is None and _fell_dry(pump, past.low_s, view):
        runs = True
    if runs is not None:
        return Lost.METER if runs else Lost.PUMP
    at_once_m3 = past.usual_m3_s * check.window_s
    if past.counted_m3 >= RUN_DOWN * at_once_m3 and past.low_s - past.left_s < 30.0:
        return Lost.PUMP
    return Lost.SUDDENLY if past.counted_m3 <= SUDDEN * at_once_m3 else Lost.UNKNOWN


def _by_levels(pump: int, view: View) -> bool | None:
    """Whether a pump runs, by level sensors; None where they do not tell, or not the same."""
    told = {_tells(check, view) for check in view.plan.judging.levels if check.pumps == (pump,)} - {
        None
    }
    return told.pop() if len(told) == 1 else None


def _tells(check: LevelCheck, view: View) -> bool | None:
    reading = view.readings[view.plan.levels[check.level].index]
    if reading.quality is not Quality.GOOD:
        return None
    share = (reading.value - check.runs_m) / (check.stands_m - check.runs_m)
    if abs(share) <= NEAR:
        return True
    return False if abs(1.0 - share) <= NEAR else None


def _fell_dry(pump: int, low_s: float, view: View) -> bool:
    """A float over the low float has fallen dry since: a pump that stands leaves its chamber full,
    so this one runs."""
    low = view.plan.judging.lows.get(view.plan.pumps[pump].id)
    if low is None:
        return False
    turned_s = view.memory.judged.turned_s
    return any(
        not view.contacts[i].wet
        and view.readings[i].quality is Quality.GOOD
        and turned_s[i] > low_s + FULL_S
        for i in low.over
    )


FULL_S = 60.0
"""By so long after a pump stood still what runs down has filled its chamber [s]."""
