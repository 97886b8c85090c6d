"""Whatever the sensors say, in whatever order, the engine holds to its promises."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, inf, isfinite, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.engine import HEARTBEAT_S, SETTLED_S, in_force, plan_for, step
from rules.matrix import Effect
from rules.memory import Kept, Memory, begin
from rules.plan import Plan
from rules.signals import (
    AlarmState,
    Command,
    Decision,
    EventKind,
    Observation,
    Order,
    Origin,
    Phase,
    Priority,
    Quality,
    Reading,
)
from rules.site.outputs import HeartbeatOutput, PumpOutput, SounderOutput, TopOffOutput
from tests.rules.nights import Night, edited, site_of, text_of
from tests.rules.test_top_off import FEED_PUMP

TWO_PUMPS = edited(text_of("classroom"), "passages.refugium-feed", pump='"feed-pump"') + FEED_PUMP
PLANS = {
    "classroom": plan_for(site_of(text_of("classroom"))),
    "rack": plan_for(site_of(text_of("rack"))),
    "two pumps": plan_for(site_of(TWO_PUMPS)),
}


def good_readings(plan: Plan) -> tuple[Reading, ...]:
    """What every sensor says on a good day with the pump running."""
    night = Night(plan.site)
    night.good(10)
    assert night.on("pump-relay")
    return night.readings()


GOOD = {name: good_readings(plan) for name, plan in PLANS.items()}

UNACKNOWLEDGED = (AlarmState.UNACK_ALARM, AlarmState.RTN_UNACK, AlarmState.LATCH_UNACK)
VALUES = st.sampled_from([0.0, 1.0, 0.0005, 0.0011, 0.01, -1.0, nan, inf, -inf, 1e300, 5e-324])
READINGS = st.builds(
    Reading,
    VALUES,
    st.sampled_from(Quality),
    st.sampled_from([0.0, 3.0, 1e6]),
    st.just("by chance"),
)


@dataclass(frozen=True, slots=True)
class Spell:
    """A while in which some sensors say this and the others what they say on a good day."""

    said: dict[int, Reading]
    ticks: int
    dt_s: float
    dropped: frozenset[int]
    orders: tuple[Command, ...]


PAUSES = ("feeding", "cleaning for=60", "water-change for=7200 pump=return-pump", "feeding for=nan")
COMMANDS = st.builds(
    Command,
    st.sampled_from(Order),
    st.from_regex(r"[0-9]{0,4}", fullmatch=True) | st.sampled_from(PAUSES),
    st.sampled_from(Origin),
    st.sampled_from(["", "keeper", "stranger"]),
)
SPELLS = st.builds(
    Spell,
    st.dictionaries(st.integers(0, 20), READINGS, max_size=4),
    st.sampled_from([1, 3, 12, 60, 400]),
    st.sampled_from([0.1, 0.1, 0.1, 0.5, 30.0, 400.0, 0.0, -1.0]),
    st.sets(st.integers(0, 10), max_size=1).map(frozenset),
    st.lists(COMMANDS, max_size=2).map(tuple),
)


def check(plan: Plan, memory: Memory, decision: Decision, answered: int) -> None:
    """The promises of one step."""
    site = plan.site
    assert len(decision.outputs) == len(site.outputs)
    assert all(type(on) is bool for on in decision.outputs)
    sounding = any(
        alarm.priority is Priority.HIGH and alarm.state in UNACKNOWLEDGED
        for alarm in decision.alarms
    )
    for (key, output), on in zip(site.outputs.items(), decision.outputs, strict=True):
        match output:
            case PumpOutput() if on:
                for i, row in enumerate(plan.rows):
                    cutting = row.effect is Effect.CUT_PUMP and output.pump in row.pumps
                    assert not (cutting and in_force(memory.rows, i)), f"{key} on, {row.id}"
            case TopOffOutput() if on:
                check_top_off(plan, memory)
            case SounderOutput():
                assert on is sounding
            case HeartbeatOutput():
                assert on is (floor(memory.t_s / HEARTBEAT_S + 1e-9) % 2 == 0)
    if decision.pause is not None:
        assert decision.pause.left_s > 0
        off = [p.pump for p in decision.pumps if p.phase is Phase.PAUSED]
        assert set(off) <= set(decision.pause.pumps)
        for (key, output), on in zip(site.outputs.items(), decision.outputs, strict=True):
            paused = isinstance(output, PumpOutput) and output.pump in decision.pause.pumps
            assert not (on and (paused or isinstance(output, TopOffOutput))), f"{key} on in a pause"
    codes = [alarm.code for alarm in decision.alarms]
    assert len(set(codes)) == len(codes)
    orders = (EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED)
    assert sum(event.kind in orders for event in decision.events) == answered
    for event in decision.events:
        assert event.text
        assert (event.alarm is not None) == event.kind.value.startswith("alarm-")
    for pump in decision.pumps:
        assert isfinite(pump.flow_m3_s)
        assert pump.dry_s >= 0
    for drain in decision.drains:
        assert drain.level_least_m <= drain.level_most_m
        assert not drain.capacity_m3_s < 0
        assert drain.spill_s >= 0


def check_top_off(plan: Plan, memory: Memory) -> None:
    """Every pump that draws from its chamber has run for a while, and no row shuts it."""
    assert plan.top_off is not None
    assert plan.site.top_off is not None
    # one look counts for half a second at most
    assert 0.0 <= memory.top_off_used_s <= plan.top_off.daily_s + 0.5
    for (key, pump), state in zip(plan.site.pumps.items(), memory.pumps, strict=True):
        if pump.from_ == plan.site.top_off.to:
            assert state.on, f"top-off open while {key} is off"
            assert state.phase is Phase.RUNNING
            assert memory.t_s - state.since_s >= SETTLED_S
    for i, row in enumerate(plan.rows):
        assert not (row.effect >= Effect.INHIBIT_TOP_OFF and in_force(memory.rows, i)), row.id


@pytest.mark.parametrize("name", PLANS)
@given(
    spells=st.lists(SPELLS, min_size=1, max_size=8),
    latched=st.sets(st.integers(0, 60), max_size=2),
    tried=st.integers(0, 4),
    left_on=st.booleans(),
    good_first=st.booleans(),
    thirsty=st.booleans(),
)
@settings(max_examples=30)
def test_the_engine_holds_its_promises(
    name: str,
    *,
    spells: list[Spell],
    latched: set[int],
    tried: int,
    left_on: bool,
    good_first: bool,
    thirsty: bool,
) -> None:
    plan, usual = PLANS[name], list(GOOD[name])
    if thirsty:
        usual[plan.sensors["return-level"]] = Reading(0.0)
    if good_first:
        spells = [Spell({}, 300, 0.5, frozenset(), ()), *spells]
    held = frozenset(row.id for i, row in enumerate(plan.rows) if i in latched)
    again = dict.fromkeys(plan.site.pumps, tried)
    on = frozenset(plan.site.pumps) if left_on else frozenset()
    kept = Kept() if good_first else Kept(held, again, again, again, on=on)
    memory, t_s = begin(plan, "boot-a", kept), 0.0
    for spell in spells:
        readings = tuple(spell.said.get(i, good) for i, good in enumerate(usual))
        for tick in range(spell.ticks):
            t_s = max(0.0, t_s + spell.dt_s)
            orders = spell.orders if tick == 0 else ()
            dropped = tuple(tick == 0 and i in spell.dropped for i in range(len(plan.site.outputs)))
            memory, decision = step(plan, memory, Observation(t_s, readings, orders, dropped))
            check(plan, memory, decision, len(orders))


@pytest.mark.parametrize("name", PLANS)
def test_the_promises_are_put_to_the_test(name: str) -> None:
    """On a good day every pump runs and the top-off opens: the checks above see both."""
    night = Night(PLANS[name].site)
    night.good(150)
    night.dry("return-level")
    night.run(5)
    assert night.decision is not None
    assert night.on("pump-relay")
    assert night.on("top-off-valve")
    check(night.plan, night.memory, night.decision, 0)
    night.wet("floor-pad")
    night.run(4)
    check(night.plan, night.memory, night.decision, 0)
    lying = Decision((True,) * len(night.site.outputs), (), (), (), ())
    with pytest.raises(AssertionError, match=r"pump-relay on, leak\.floor-pad"):
        check(night.plan, night.memory, lying, 0)
