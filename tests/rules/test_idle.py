"""Looks that are left out: told for how long they change nothing, and made up for to the bit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules import engine
from rules.idle import idle_until_s, passed
from rules.judging.plan import AFTER_STOP_S
from rules.memory import Memory, begin
from rules.plan import Plan
from rules.signals import TICK_S, Observation, Phase, Reading
from rules.stops import COUNT_S
from simulator.library import load_site

WET = ("return-low", "return-level", "supply")


@pytest.fixture(scope="module")
def plan() -> Plan:
    """The classroom's."""
    return engine.plan_for(load_site("classroom"))


def readings(plan: Plan, *, runs: bool = True, **states: bool) -> tuple[Reading, ...]:
    """A good day, but for what is given: names with _ for -; no flow without a pump that runs."""
    flow = plan.pumps[0].nominal_m3_s * plan.pumps[0].meter_share if runs else 0.0
    wet = dict.fromkeys(WET, True) | {key.replace("_", "-"): on for key, on in states.items()}
    return tuple(
        Reading(flow if key == "return-flow" else float(wet.get(key, False)))
        for key in plan.sensors
    )


def looks(plan: Plan, memory: Memory, seen: tuple[Reading, ...], lasts_s: float) -> list[Memory]:
    """The memory after every look, the one before them first."""
    found = [memory]
    first = round(memory.t_s / TICK_S)
    for tick in range(first + 1, first + round(lasts_s / TICK_S) + 1):
        found.append(engine.step(plan, found[-1], Observation(tick * TICK_S, seen))[0])
    return found


def close(one: Memory, other: Memory) -> bool:
    """The same but for rounding of what is summed tick by tick."""
    assert one.top_off_used_s == pytest.approx(other.top_off_used_s, abs=1e-6)
    sums = [
        (m.books.fresh.quick_s, m.books.fresh.slow_s, m.books.fresh.waited_s) for m in (one, other)
    ]
    assert sums[0] == pytest.approx(sums[1], abs=1e-6)
    return without_sums(one) == without_sums(other)


def without_sums(memory: Memory) -> Memory:
    """The memory without what is summed tick by tick."""
    its = replace(memory.books.fresh, quick_s=0.0, slow_s=0.0, waited_s=0.0)
    return replace(memory, top_off_used_s=0.0, books=replace(memory.books, fresh=its))


def test_a_good_day_is_idle_for_hours_and_passing_over_it_is_living_it(plan: Plan) -> None:
    day = looks(plan, begin(plan, "b"), readings(plan), 200.0)
    assert day[-1].pumps[0].phase is Phase.RUNNING
    assert idle_until_s(plan, day[-2], day[-1]) > 3600.0
    more = looks(plan, day[-1], readings(plan), 60.0)
    assert close(passed(plan, day[-1], more[-1].t_s), more[-1])


def test_a_cause_that_stands_is_idle_and_its_rest_begins_at_its_end(plan: Plan) -> None:
    """The rest counts from when the cause is gone, however many looks were left out before."""
    day = looks(plan, begin(plan, "b"), readings(plan), 200.0)
    cut = looks(plan, day[-1], readings(plan, runs=False, supply=False), 20.0)
    counts_out_s = cut[-1].pumps[0].stopped_s
    assert counts_out_s is not None
    assert idle_until_s(plan, cut[-2], cut[-1]) == counts_out_s + COUNT_S
    cut = looks(plan, cut[-1], readings(plan, runs=False, supply=False), COUNT_S)
    assert cut[-1].pumps[0].phase is Phase.WAITING
    # until signals are held against what a stop does to them, three minutes after it
    assert idle_until_s(plan, cut[-2], cut[-1]) == counts_out_s + AFTER_STOP_S
    waited = looks(plan, cut[-1], readings(plan, runs=False, supply=False), 60.0)
    over = passed(plan, cut[-1], waited[-1].t_s)
    assert close(over, waited[-1])
    assert over.pumps[0].since_s == waited[-1].t_s


def test_a_rest_that_has_begun_ends_idleness_at_its_end(plan: Plan) -> None:
    day = looks(plan, begin(plan, "b"), readings(plan), 200.0)
    cut = looks(plan, day[-1], readings(plan, runs=False, supply=False), 20.0)
    rest = looks(plan, cut[-1], readings(plan, runs=False), 15.0)
    pump = rest[-1].pumps[0]
    assert pump.phase is Phase.WAITING
    until_s = idle_until_s(plan, rest[-2], rest[-1])
    assert until_s == pump.since_s + pump.rest_s
    before = looks(plan, rest[-1], readings(plan, runs=False), until_s - rest[-1].t_s - TICK_S)
    assert before[-1].pumps == rest[-1].pumps
    after = looks(plan, before[-1], readings(plan), 2 * TICK_S)
    assert after[-1].pumps != rest[-1].pumps


def test_an_open_top_off_ends_idleness_when_it_has_been_open_too_long(plan: Plan) -> None:
    """Whatever is summed while it is open is summed for the looks left out as well."""
    day = looks(plan, begin(plan, "b"), readings(plan), 200.0)
    low = readings(plan, return_level=False)
    filling = looks(plan, day[-1], low, 20.0)
    since_s = filling[-1].top_off_since_s
    assert since_s is not None
    assert plan.top_off is not None
    until_s = idle_until_s(plan, filling[-2], filling[-1])
    assert until_s == since_s + plan.top_off.longest_s
    more = looks(plan, filling[-1], low, 100.0)
    assert close(passed(plan, filling[-1], more[-1].t_s), more[-1])


def test_what_moves_by_itself_is_not_idle(plan: Plan) -> None:
    """A float that fills its filter: the next look at the same reading changes something."""
    day = looks(plan, begin(plan, "b"), readings(plan), 200.0)
    wet = looks(plan, day[-1], readings(plan, display_high=True), 2 * TICK_S)
    assert idle_until_s(plan, wet[-2], wet[-1]) == wet[-1].t_s
