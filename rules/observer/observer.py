"""From ticks to samples: level and inflow of a drained chamber, gathered while they mean anything.

A level tells of the drains only while the water runs as it always does. When it does not, nothing
is gathered, and the condition says why it is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rules.memory import Memory
from rules.observer import growth
from rules.observer.chart import Chart
from rules.observer.condition import condition
from rules.observer.detector import SAMPLE_S, step
from rules.observer.sight import Gathered, Sight
from rules.plan import DrainPlan, Plan
from rules.signals import Condition, DrainFigures, Phase, Quality, Reading

SETTLE_S = 300.0
"""So long after a start air still leaves the siphons, and levels settle [s]."""

LONGEST_S = 60.0
"""However late a tick is, it stands for no more than this [s]."""

STALE_S = 7200.0
"""After so long without a sample the reference begins anew, unless a loss is told by it [s]: a
meter drifts meanwhile."""

BELIEVED = (0.6, 1.4)
"""A flow outside these shares of the computed one is taken for the meter's fault."""

OFF = "the pump is off"
STARTED = "the pump has only just started"
PAUSED = "a planned pause goes on"


def observe(
    plan: Plan,
    memory: Memory,
    readings: Sequence[Reading],
    drains: Sequence[DrainFigures],
    t_s: float,
) -> tuple[Sight, ...]:
    """Every drained chamber one tick on."""
    sights = memory.sights or tuple(Sight(Gathered(looked_s=t_s)) for _ in plan.drains)
    return tuple(
        sight
        if drain.chart is None
        else _tick(
            plan, drain, drain.chart, sight, memory=memory, readings=readings, live=live, t_s=t_s
        )
        for drain, sight, live in zip(plan.drains, sights, drains, strict=True)
    )


def _tick(
    plan: Plan,
    drain: DrainPlan,
    chart: Chart,
    sight: Sight,
    *,
    memory: Memory,
    readings: Sequence[Reading],
    live: DrainFigures,
    t_s: float,
) -> Sight:
    gathered = sight.gathered
    lasted_s = min(LONGEST_S, t_s - gathered.looked_s)
    reading = readings[plan.levels[drain.levels[0]].index]
    flow_m3_s = live.return_m3_s
    why = _unfit(plan, drain, memory, readings, flow_m3_s=flow_m3_s, t_s=t_s)
    if not why and reading.quality is not Quality.GOOD:
        why = reading.why or "the level cannot be read"
    if why:
        if why == sight.condition.why and gathered.lasted_s == 0.0:
            return sight
        return replace(sight, gathered=Gathered(looked_s=t_s), condition=Condition(why=why))
    gathered = Gathered(
        t_s,
        gathered.level_m_s + reading.value * lasted_s,
        gathered.flow_m3 + flow_m3_s * lasted_s,
        gathered.lasted_s + lasted_s,
    )
    if gathered.lasted_s < SAMPLE_S - 1e-6:
        return Sight(gathered, sight.detector, sight.condition, sight.sampled_s, sight.growth)
    return _sampled(chart, sight, gathered)


def _unfit(
    plan: Plan,
    drain: DrainPlan,
    memory: Memory,
    readings: Sequence[Reading],
    *,
    flow_m3_s: float,
    t_s: float,
) -> str:
    """Why this look tells nothing of the drains; empty if it does."""
    if memory.pause is not None:
        return PAUSED
    computed_m3_s = 0.0
    for pump, share in drain.feeds:
        state = memory.pumps[pump]
        runs = state.phase is Phase.RUNNING
        if runs:
            computed_m3_s += plan.pumps[pump].nominal_m3_s * share
        if (runs or state.on) and t_s - state.since_s < SETTLE_S:
            return STARTED
        meter = plan.pumps[pump].meter
        if runs and meter is not None and readings[meter].quality is Quality.BAD:
            return f"the {plan.site.label(_sensor(plan, meter))} cannot be read"
    if computed_m3_s <= 0.0:
        return OFF
    if not BELIEVED[0] <= flow_m3_s / computed_m3_s <= BELIEVED[1]:
        return "the flow that is read cannot be right"
    return ""


def _sensor(plan: Plan, index: int) -> str:
    return next(key for key, place in plan.sensors.items() if place == index)


def _sampled(chart: Chart, sight: Sight, gathered: Gathered) -> Sight:
    """One sample is whole: what it says of the drain."""
    level_m = gathered.level_m_s / gathered.lasted_s
    flow_m3_s = gathered.flow_m3 / gathered.lasted_s
    detector = sight.detector
    if gathered.looked_s - sight.sampled_s > STALE_S and not detector.suspects:
        detector = detector.anew()
    detector = step(chart, detector, level_m, flow_m3_s, gathered.lasted_s)
    return Sight(
        Gathered(looked_s=gathered.looked_s),
        detector,
        condition(chart, detector, level_m, flow_m3_s),
        gathered.looked_s,
        growth.step(chart, sight.growth, detector, gathered.lasted_s),
    )
