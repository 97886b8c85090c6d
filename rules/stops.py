"""Every stop of a pump is a test of its siphon breaks: what runs back, counted from tick to tick.

A wheel in the pipe counts water that runs back too. Measured are stops of a pump that ran, by a
planned pause or for want of supply: after a cut for water the levels are not those of a good day.
A pump that does not slow down has not stopped, and is not judged here: see `rules.unanswered`.
"""

from __future__ import annotations

from dataclasses import replace

from rules.estimate import View
from rules.memory import PumpMemory
from rules.plan import PumpPlan
from rules.signals import Phase, Quality, Reading
from rules.unanswered import GONE_SHARE, WORN_SHARE

COUNT_S = 120.0
"""What runs back is counted for so long after a stop [s]; then the stop has shown what it can."""

OBEYS_S, OBEYS_SHARE = 5.0, 0.8
"""A pump that has stopped gives less than this share of its flow within this time [s]: its meter
falls before the water turns round."""


def watch(view: View, pumps: tuple[PumpMemory, ...]) -> tuple[PumpMemory, ...]:
    """Count for every pump, as one of the last things of a tick."""
    return tuple(
        step(view, pump, before, state)
        for pump, before, state in zip(view.plan.pumps, view.memory.pumps, pumps, strict=True)
    )


def step(view: View, pump: PumpPlan, before: PumpMemory, after: PumpMemory) -> PumpMemory:
    """Count what runs back, one tick on; `before` and `after` are round this tick's command."""
    expected = pump.drain_down
    if expected is None or pump.meter is None:
        return after
    if after.on:
        return after if after.stopped_s is None else replace(after, stopped_s=None)
    if before.on:
        planned = after.phase is Phase.PAUSED or after.flaps > before.flaps
        if before.phase is Phase.RUNNING and planned:
            return replace(after, stopped_s=view.t_s, obeyed=False, ran_back_m3=0.0)
        return after
    if after.stopped_s is None:
        return after
    since_s = view.t_s - after.stopped_s
    reading = view.readings[pump.meter]
    if reading.quality is Quality.BAD:
        return replace(after, stopped_s=None)
    if since_s >= COUNT_S - 1e-9:
        return replace(after, stopped_s=None, plugged=after.ran_back_m3 >= expected.limit_m3)
    usual_m3_s = pump.nominal_m3_s * pump.meter_share
    least_m3_s = OBEYS_SHARE * max(after.at_cut_m3_s, WORN_SHARE * usual_m3_s)
    obeyed = after.obeyed or reading.value < least_m3_s
    if not obeyed:
        if since_s > OBEYS_S:
            return replace(after, stopped_s=None)
        return _more(after, reading, view.dt_s)
    if reading.value < GONE_SHARE * usual_m3_s:
        return after if after.obeyed else replace(after, obeyed=True)
    counted = replace(_more(after, reading, view.dt_s), obeyed=True)
    full = counted.ran_back_m3 >= expected.limit_m3
    return replace(counted, plugged=True) if full else counted


def _more(state: PumpMemory, reading: Reading, dt_s: float) -> PumpMemory:
    return replace(state, ran_back_m3=state.ran_back_m3 + reading.value * dt_s)
