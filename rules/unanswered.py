"""Whether a pump runs although it is switched off: kept from tick to tick by what passes its meter.

Counted is what passes at about the rate at which the pump ran when it was cut: a pump that obeys
slows down within a second or two, water that runs back soon runs faster or slower than that, and
stray pulses that a cable has caught are told by what the same meter showed before. What else
passes counts down again. Once more has passed than can have run back, the pump runs; and until
hardly anything passes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rules.memory import ContactMemory, PumpMemory
from rules.plan import PumpPlan
from rules.signals import Quality, Reading

LEAST_SHARE, MOST_SHARE = 0.5, 1.25
"""Between these shares of what passed when it was cut, the flow counts; wider is stricter."""

WORN_SHARE = 0.8
"""A pump is believed to have given no less than this share of its computed flow when it was cut:
a meter that was silent then makes no trickle a pump. Less is stricter."""

GONE_SHARE = 0.1
"""Under this share of the computed flow the pump stands still."""


def runs_on(pump: PumpPlan, state: PumpMemory) -> bool:
    """True for a pump that is switched off and runs."""
    return pump.back is not None and not state.on and state.passed_m3 >= pump.back.most_m3


def step(
    pump: PumpPlan,
    before: PumpMemory,
    after: PumpMemory,
    readings: Sequence[Reading],
    contacts: Sequence[ContactMemory],
    *,
    dt_s: float,
) -> PumpMemory:
    """What has passed the meter of a pump since it was switched off, one tick on.

    `before` and `after` are its memory round this tick's command. A meter that cannot be read
    changes nothing.
    """
    back = pump.back
    if back is None or pump.meter is None:
        return after
    if after.on:
        return after if after.passed_m3 == 0.0 else replace(after, passed_m3=0.0)
    reading = readings[pump.meter]
    if reading.quality is Quality.BAD:
        return after
    flow_m3_s = reading.value
    if before.on:
        return replace(after, passed_m3=0.0, at_cut_m3_s=flow_m3_s)
    if after.passed_m3 == 0.0 and flow_m3_s == 0.0:
        return after
    passed_m3 = _passed_m3(pump, after, flow_m3_s, dt_s)
    for place, most_m3 in back.floats:
        wet = contacts[place].wet and readings[place].quality is not Quality.BAD
        if wet and passed_m3 >= most_m3:
            passed_m3 = back.most_m3
    return after if passed_m3 == after.passed_m3 else replace(after, passed_m3=passed_m3)


def _passed_m3(pump: PumpPlan, state: PumpMemory, flow_m3_s: float, dt_s: float) -> float:
    back = pump.back
    assert back is not None
    if runs_on(pump, state) and flow_m3_s >= GONE_SHARE * back.nominal_m3_s:
        return state.passed_m3
    least_m3_s = LEAST_SHARE * max(state.at_cut_m3_s, WORN_SHARE * back.nominal_m3_s)
    most_m3_s = MOST_SHARE * max(state.at_cut_m3_s, back.nominal_m3_s)
    if least_m3_s <= flow_m3_s <= most_m3_s:
        return min(back.most_m3, state.passed_m3 + flow_m3_s * dt_s)
    return max(0.0, state.passed_m3 - least_m3_s * dt_s)
