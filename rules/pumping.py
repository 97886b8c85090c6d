"""When a pump may run: how it is brought back in stages, cut, held off, and when a person is asked.

The stages of a start, each with what it must show before the next:

1. check (STARTING): every signal is watched for a few seconds; nothing that cuts the pump may be in
   force, so that levels are in band and no signal is missing.
2. its turn: the pumps of a site are started one after the other, never two at once.
3. short run (PROVING): the drains have as long to prime as the plumbing allows, then they must show
   for a while that they carry the flow: what watches them cuts the pump again if they do not.
4. full (RUNNING).

A cut sends it back: to WAITING, and from there to stage 2 when its cause has been gone for the
whole rest; or, when its restarts are used up or the cause asks for it, to LATCHED, and after a
person's reset to stage 1. A planned pause (PAUSED) ends in stage 1 too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rules.matrix import Row
from rules.memory import PumpMemory
from rules.plan import PumpPlan
from rules.resting import (
    RESTS_S,
    RUNS_BORNE,
    RUNS_FORGET_S,
    supply_rest_s,
    water_rest_s,
)
from rules.signals import Event, EventKind, Phase
from rules.site import show

SETTLE_S = 3.0
"""Time for which every signal is watched before a first start [s]; longer is stricter."""

STAGGER_S = 10.0
"""Time from the start of one pump of a site to that of the next [s]; longer is stricter. After a
power cut all that a house has starts at once, and a motor draws several times its current then."""

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


@dataclass(frozen=True, slots=True)
class Now:
    """How things stand for a pump at one tick: what cuts it, whether a planned pause has it stop,
    whether it may start as far as the other pumps go, and whether this is the guard's first look.
    """

    t_s: float
    cutting: Cutting = Cutting()
    paused: bool = False
    turn: bool = True
    first: bool = False


def begun(state: PumpMemory, t_s: float) -> PumpMemory:
    """A pump at the first look: what it waits for, and how long it has been off, counts from it."""
    off_s = 0.0 if state.off_since_s is None else -state.off_since_s
    return replace(state, since_s=t_s, off_since_s=t_s - off_s)


def step(
    pump: PumpPlan, name: str, state: PumpMemory, now: Now
) -> tuple[PumpMemory, tuple[Event, ...]]:
    """One tick of one pump.

    Returns its memory and what happened. A pump without an output of ours is taken to run.
    """
    if pump.output is None:
        return replace(state, phase=Phase.RUNNING, on=True, off_since_s=None), ()
    after, event = _next(pump, name, state, now)
    if after.phase is Phase.RUNNING:
        if after.off_since_s is not None:
            after = replace(after, off_since_s=None)
    elif after.off_since_s is None:
        after = replace(after, off_since_s=now.t_s)
    return after, (replace(event, subject=pump.id),) if event else ()


def _next(
    pump: PumpPlan, name: str, state: PumpMemory, now: Now
) -> tuple[PumpMemory, Event | None]:
    if now.cutting.rows and state.on:
        return _cut(name, state, now)
    if now.first and state.phase is Phase.WAITING and not now.cutting.by_person:
        return state, _event(EventKind.PUMP_HELD, now, f"{name} {_rests_first(state)}")
    if now.paused and state.phase not in (Phase.WAITING, Phase.LATCHED):
        return _paused(name, state, now)
    if state.phase is Phase.PAUSED:
        return replace(state, phase=Phase.STARTING, since_s=now.t_s), None
    if now.cutting.rows:
        return _held(name, state, now)
    waited_s = now.t_s - state.since_s
    match state.phase:
        case Phase.STARTING if waited_s >= SETTLE_S and now.turn:
            return _started(state, now, f"{name} started")
        case Phase.WAITING if waited_s >= state.rest_s and now.turn:
            return _started(state, now, f"{name} started again{_tried(state.attempts)}")
        case Phase.LATCHED:  # a person has reset what held it
            return PumpMemory(Phase.STARTING, now.t_s, off_since_s=state.off_since_s), None
        case Phase.PROVING if waited_s >= pump.prime_s + SHOW_S:
            running = replace(state, phase=Phase.RUNNING, since_s=now.t_s, on=True)
            return running, _event(EventKind.PUMP_RUNNING, now, f"{name} runs{_proven(pump)}")
        case Phase.RUNNING if (state.attempts or state.flaps) and waited_s >= FORGET_S:
            return replace(state, attempts=0, flaps=0), None
        case Phase.RUNNING if state.runs and waited_s >= RUNS_FORGET_S:
            return replace(state, runs=0), None
    return state, None


def _event(kind: EventKind, now: Now, text: str) -> Event:
    return Event(kind, now.t_s, "", text, causes=now.cutting.ids)


def _started(state: PumpMemory, now: Now, text: str) -> tuple[PumpMemory, Event]:
    after = replace(state, phase=Phase.PROVING, since_s=now.t_s, on=True)
    return after, _event(EventKind.PUMP_STARTED, now, text)


def _proven(pump: PumpPlan) -> str:
    """What the short run has shown, for a sentence."""
    if pump.prime_seen is None:
        return ""
    return (
        ": the drains have primed" if pump.prime_seen else "; nothing shows whether drains primed"
    )


def _tried(attempts: int) -> str:
    """Which restart this is, for a sentence: after the last one a person is asked."""
    if attempts == 0:
        return ""
    if attempts >= len(RESTS_S):
        return ", for the last time before a person is asked"
    return f", restart {attempts} of {len(RESTS_S)}"


def _cut(name: str, state: PumpMemory, now: Now) -> tuple[PumpMemory, Event]:
    cutting = now.cutting
    by_water = any(row.hazard not in NOT_WATER for row in cutting.rows)
    attempts = state.attempts + by_water
    flaps = state.flaps + (not by_water)
    after = replace(state, since_s=now.t_s, attempts=attempts, on=False, flaps=flaps)
    if cutting.by_person or attempts > len(RESTS_S):
        after = replace(after, phase=Phase.LATCHED, rest_s=0.0)
        then = "A person must reset it."
    else:
        rest_s = water_rest_s(attempts) if by_water else supply_rest_s(flaps)
        after = replace(after, phase=Phase.WAITING, rest_s=rest_s)
        then = f"A restart is tried {show.duration(rest_s)} after the cause is gone."
    return after, _event(EventKind.PUMP_CUT, now, f"{name} cut: {cutting.because}. {then}")


def _held(name: str, state: PumpMemory, now: Now) -> tuple[PumpMemory, Event | None]:
    """A pump that is off, with a cause in force: it is not started into it."""
    text = f"{name} not started: {now.cutting.because}"
    match state.phase:
        case Phase.STARTING if now.t_s - state.since_s >= SETTLE_S:
            phase = Phase.LATCHED if now.cutting.by_person else Phase.WAITING
            held = replace(state, phase=phase, since_s=now.t_s, rest_s=SETTLE_S)
            return held, _event(EventKind.PUMP_HELD, now, text)
        case Phase.WAITING if now.cutting.by_person:
            latched = replace(state, phase=Phase.LATCHED, since_s=now.t_s)
            return latched, _event(EventKind.PUMP_HELD, now, f"{text}. A person must reset it.")
        case Phase.WAITING:
            return replace(state, since_s=now.t_s), None  # rest counts from when the cause is gone
    return state, None


def _paused(name: str, state: PumpMemory, now: Now) -> tuple[PumpMemory, Event | None]:
    """A pump in a planned pause: only what waits for a person takes it out of it."""
    if now.cutting.by_person:
        text = f"{name} stays off: {now.cutting.because}. A person must reset it."
        latched = replace(state, phase=Phase.LATCHED, since_s=now.t_s, on=False)
        return latched, _event(EventKind.PUMP_HELD, now, text)
    if state.phase is Phase.PAUSED:
        return state, None
    return replace(state, phase=Phase.PAUSED, since_s=now.t_s, on=False), None


def _rests_first(state: PumpMemory) -> str:
    """Why a pump rests when the guard has just begun, for a sentence."""
    why = "it was cut before the guard was restarted"
    if state.runs >= RUNS_BORNE:
        why = f"{state.runs} times on end the guard was ended while it ran"
    return f"rests for {show.duration(state.rest_s)} before it is started: {why}"
