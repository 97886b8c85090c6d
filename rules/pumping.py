"""When a pump may run: cut, rest, prove, run, and when to stop trying and wait for a person."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rules.matrix import Row
from rules.memory import RESTS_S, PumpMemory
from rules.plan import PumpPlan
from rules.signals import Event, EventKind, Phase
from rules.site import show

SETTLE_S = 3.0
"""Time for which every signal is watched before a first start [s]; longer is stricter."""

SUPPLY_REST_S, LONGEST_SUPPLY_REST_S = 60.0, 1800.0
"""Rest after a cut that no water caused (supply, lease), until levels have settled [s]; twice as
long after each further one, up to the second figure, so that a loose wire does not hunt."""

SHOW_S = 5.0
"""Time after priming in which the drains must show that they carry the flow [s]: the rows that
wait for them to prime are in force again, and a pump they do not cut then counts as running."""

FORGET_S = 43200.0
"""Running undisturbed for this long, earlier restarts are forgotten [s]; longer is stricter. Half a
day: a cut that comes back once a watch is one trouble, not many."""

NOT_WATER = frozenset({"mains", "lease-lost"})
"""Hazards whose cuts say nothing about the water, and so do not count as attempts."""


@dataclass(frozen=True, slots=True)
class Cutting:
    """The rows in force that cut a pump, and whether one of them waits for a person."""

    rows: tuple[Row, ...] = ()
    by_person: bool = False

    @property
    def because(self) -> str:
        """Their causes, for a sentence."""
        return "; ".join(row.cause for row in self.rows)

    @property
    def ids(self) -> tuple[str, ...]:
        """Their ids."""
        return tuple(row.id for row in self.rows)


def _cut(state: PumpMemory, cutting: Cutting, t_s: float, name: str) -> tuple[PumpMemory, Event]:
    by_water = any(row.hazard not in NOT_WATER for row in cutting.rows)
    attempts = state.attempts + 1 if by_water else state.attempts
    flaps = state.flaps if by_water else state.flaps + 1
    if cutting.by_person or attempts > len(RESTS_S):
        after = PumpMemory(Phase.LATCHED, t_s, attempts, flaps=flaps)
        then = "A person must reset it."
    else:
        rest = min(LONGEST_SUPPLY_REST_S, SUPPLY_REST_S * 2.0 ** min(flaps - 1, 20))
        if by_water:
            rest = RESTS_S[attempts - 1]
        after = PumpMemory(Phase.WAITING, t_s, attempts, rest, flaps=flaps)
        then = f"A restart is tried {show.duration(rest)} after the cause is gone."
    text = f"{name} cut: {cutting.because}. {then}"
    return after, Event(EventKind.PUMP_CUT, t_s, "", text, causes=cutting.ids)


def step(
    pump: PumpPlan, name: str, state: PumpMemory, cutting: Cutting, t_s: float
) -> tuple[PumpMemory, tuple[Event, ...]]:
    """One tick of one pump.

    Returns its memory and what happened. A pump without an output of ours is taken to run.
    """
    if pump.output is None:
        return replace(state, phase=Phase.RUNNING, on=True), ()
    after, event = _next(pump, name, state, cutting, t_s)
    return after, (replace(event, subject=pump.id),) if event else ()


def _next(
    pump: PumpPlan, name: str, state: PumpMemory, cutting: Cutting, t_s: float
) -> tuple[PumpMemory, Event | None]:
    if cutting.rows:
        return _with_cause(name, state, cutting, t_s)
    waited_s = t_s - state.since_s
    match state.phase:
        case Phase.STARTING if waited_s >= SETTLE_S:
            text = f"{name} started"
            started = replace(state, phase=Phase.PROVING, since_s=t_s, on=True)
            return started, Event(EventKind.PUMP_STARTED, t_s, "", text)
        case Phase.WAITING if waited_s >= state.rest_s:
            tried = f", attempt {state.attempts} of {len(RESTS_S)}" if state.attempts else ""
            text = f"{name} started again{tried}"
            started = replace(state, phase=Phase.PROVING, since_s=t_s, on=True)
            return started, Event(EventKind.PUMP_STARTED, t_s, "", text)
        case Phase.LATCHED:
            return PumpMemory(Phase.STARTING, t_s), None
        case Phase.PROVING if waited_s >= pump.prime_s + SHOW_S:
            running = replace(state, phase=Phase.RUNNING, since_s=t_s, on=True)
            text = f"{name} runs: the drains have primed"
            return running, Event(EventKind.PUMP_RUNNING, t_s, "", text)
        case Phase.RUNNING if (state.attempts or state.flaps) and waited_s >= FORGET_S:
            return replace(state, attempts=0, flaps=0), None
    return state, None


def _with_cause(
    name: str, state: PumpMemory, cutting: Cutting, t_s: float
) -> tuple[PumpMemory, Event | None]:
    if state.on:
        return _cut(state, cutting, t_s, name)
    match state.phase:
        case Phase.STARTING if t_s - state.since_s >= SETTLE_S:
            phase = Phase.LATCHED if cutting.by_person else Phase.WAITING
            text = f"{name} not started: {cutting.because}"
            held = replace(state, phase=phase, since_s=t_s, rest_s=SETTLE_S)
            return held, Event(EventKind.PUMP_HELD, t_s, "", text, causes=cutting.ids)
        case Phase.WAITING if cutting.by_person:
            return replace(state, phase=Phase.LATCHED, since_s=t_s), None
        case Phase.WAITING:
            return replace(state, since_s=t_s), None  # rest counts from when the cause is gone
    return state, None
