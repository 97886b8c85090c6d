"""Lets pumps that nothing but splash holds wait for their next try instead of for a person."""

from __future__ import annotations

from dataclasses import replace

from rules import alarms
from rules.alarming import chatter
from rules.alarms import Stimulus
from rules.judging import splash
from rules.judging.remembered import Judged
from rules.matrix import Effect
from rules.memory import PumpMemory, RowMemory
from rules.plan import Plan
from rules.resting import RESTS_S, water_rest_s
from rules.signals import Phase


def pumps_of_splashes(
    plan: Plan,
    judged: Judged,
    states: tuple[RowMemory, ...],
    pumps: tuple[PumpMemory, ...],
    t_s: float,
) -> tuple[tuple[PumpMemory, ...], tuple[RowMemory, ...]]:
    """Let pumps wait for their next try that nothing but splash holds, as long as tries are left.

    What is released is the cut of a row whose splash row stands and whose own alarm has returned.
    """
    pasts = {
        check.id: past
        for check, past in zip(plan.judging.splashes, judged.splashes, strict=True)
        if past is not None and past.judged
    }
    if not pasts:
        return pumps, states
    splashed_ids = {
        row.subject
        for row, state in zip(plan.rows, states, strict=True)
        if row.hazard == "splashed" and state.standing
    }
    after, rows_after = list(pumps), list(states)
    for index, row in enumerate(plan.rows):
        state = rows_after[index]
        if row.hazard != "spill-edge" or row.subject not in splashed_ids or not state.held:
            continue
        comings = len(chatter.lately(state, t_s))
        if state.standing or state.lingers_until_s is not None:
            continue
        if not splash.gone(pasts.get(row.subject), t_s, comings):
            continue
        places = [i for i, pump in enumerate(plan.pumps) if pump.id in row.pumps]
        if any(after[i].attempts > len(RESTS_S) for i in places):
            continue
        rows_after[index] = replace(
            state,
            held=False,
            latching=False,
            state=alarms.after(state.state, Stimulus.RESET, True),
        )
        for i in places:
            if after[i].phase is Phase.LATCHED and not _held(plan, i, rows_after):
                rest_s = water_rest_s(max(1, after[i].attempts))
                after[i] = replace(after[i], phase=Phase.WAITING, since_s=t_s, rest_s=rest_s)
    return tuple(after), tuple(rows_after)


def _held(plan: Plan, pump: int, states: list[RowMemory]) -> bool:
    """True while another row keeps a pump latched."""
    return any(
        state.held and row.effect is Effect.CUT_PUMP and plan.pumps[pump].id in row.pumps
        for row, state in zip(plan.rows, states, strict=True)
    )
