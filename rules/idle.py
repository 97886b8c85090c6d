"""How long nothing but time would change: for whoever plays a night faster than it passes.

The guard itself looks ten times a second, always. A simulated night of ten hours may leave out the
looks of which this tells that they would change nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import inf

from rules.engine import SETTLED_S
from rules.memory import Memory, PumpMemory
from rules.plan import Plan, PumpPlan
from rules.pumping import FORGET_S, SETTLE_S, SHOW_S
from rules.signals import Phase


def idle_until_s(plan: Plan, before: Memory, after: Memory) -> float:
    """Until when another look at the same readings would change nothing [s, the guard's time].

    `before` and `after` are the memory round the last step. Where that step changed anything but
    the time, the next one may too, and this is the time of the last step itself.
    """
    still = replace(before, t_s=after.t_s, top_off_used_s=after.top_off_used_s)
    if still != after:
        return after.t_s
    timers = (
        timer_s
        for pump, state in zip(plan.pumps, after.pumps, strict=True)
        for timer_s in _timers_s(pump, state)
        if timer_s > after.t_s
    )
    return min(timers, default=inf)


def _timers_s(pump: PumpPlan, state: PumpMemory) -> Iterator[float]:
    """When something falls due for a pump by time alone [s]."""
    match state.phase:
        case Phase.STARTING:
            yield state.since_s + SETTLE_S
        case Phase.PROVING:
            yield state.since_s + pump.prime_s
            yield state.since_s + pump.prime_s + SHOW_S
        case Phase.WAITING:
            yield state.since_s + state.rest_s
        case Phase.RUNNING:
            yield state.since_s + SETTLED_S
            yield state.since_s + FORGET_S
        case Phase.LATCHED:
            return
