"""The return pump has not run for an hour: water on the floor is no longer what matters most.

The story: the pump was cut, and rightly. The tank is safe, but what lives in it has stood without
flow, and without the air that falling water takes along, since then. Restarts were tried, or a
reset is waited for, and nobody has come. After an hour a person is called, after two loudly, and
again and again at set times for as long as it lasts, each time with how long it has been and why.

How long animals bear it, and what helps meanwhile, is common practice, no source: an hour does no
harm; in a tank that is full of animals, or warm, oxygen runs short within a few; a surface that is
stirred by hand or by an air pump keeps most of them alive.

A start that fails does not count as running. A planned pause suppresses this row: somebody wants
the pump off, and the pause ends by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

from rules import unanswered
from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.memory import PumpMemory
from rules.resting import RESTS_S
from rules.signals import Phase, Priority, Saying
from rules.site import show
from rules.site.model import Site

TOLD_S = (3600.0, 7200.0, 14400.0, 28800.0)
"""When it is told, from when the pump last ran through [s]; sooner is stricter."""

AGAIN_S = 28800.0
"""After the last of these it is told again this often [s]: once a watch."""

LOUD = 2
"""From this telling on it is of high priority, and the sounder calls."""


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every pump that the guard switches."""
    for pump in site.pumps:
        if site.pump_output(pump) is not None:
            yield Row(
                "pump-off",
                pump,
                f"{site.label(pump)} has not run for {show.duration(TOLD_S[0])}; of high priority "
                f"from {show.duration(TOLD_S[LOUD - 1])} on",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.ALARM_ONLY,
                priority.of("pump-off"),
            )


def tellings(off_s: float) -> int:
    """How many times it has been told by then."""
    if off_s < TOLD_S[-1]:
        return sum(off_s >= at_s - 1e-9 for at_s in TOLD_S)
    return len(TOLD_S) + floor((off_s - TOLD_S[-1]) / AGAIN_S + 1e-9)


def next_s(off_s: float) -> float:
    """After how long a pump that has been off for `off_s` is told of next [s]."""
    told = tellings(off_s)
    return TOLD_S[told] if told < len(TOLD_S) else TOLD_S[-1] + (told + 1 - len(TOLD_S)) * AGAIN_S


def _state_of(row: Row, view: View) -> PumpMemory:
    return next(
        state
        for pump, state in zip(view.plan.pumps, view.memory.pumps, strict=True)
        if pump.id == row.subject
    )


def _off_s(row: Row, view: View) -> float:
    """For how long the pump has not run through [s]."""
    state = _state_of(row, view)
    if state.phase is Phase.RUNNING or state.off_since_s is None or not view.memory.contacts:
        return 0.0
    return view.t_s - state.off_since_s


def present(row: Row, view: View) -> bool:
    """Off for an hour or longer, and it stands still."""
    if any(
        pump.id == row.subject and unanswered.runs_on(pump, state)
        for pump, state in zip(view.plan.pumps, view.memory.pumps, strict=True)
    ):
        return False
    return _off_s(row, view) >= TOLD_S[0] - 1e-9


def stage(row: Row, view: View) -> tuple[int, Priority]:
    """How many times it has been told, and how loudly it is now."""
    told = tellings(_off_s(row, view))
    return told, priority.of("pump-off-long" if told >= LOUD else "pump-off")


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    state, name = _state_of(row, view), view.plan.site.label(row.subject)
    causes = [
        other.cause
        for other, its in zip(view.plan.rows, view.memory.rows, strict=True)
        if row.subject in other.pumps and (its.standing or its.held)
    ]
    why = f"it was cut for: {'; '.join(causes)}" if causes else "it is being brought back"
    done = f"It is tried again by itself, {len(RESTS_S)} times at most after water cut it."
    if state.phase is Phase.LATCHED:
        done = "It stays off until somebody resets it at the guard: nothing more is done by itself."
    return Saying(
        what=f"The {name} has not run for {show.duration(_off_s(row, view))}; {why}",
        where=name,
        done=done,
        do_now="What lives there needs moving water and air: stir the surface by hand, hang an air "
        "pump or a small pump into the tank, and do not feed. Then see to the cause.",
    )


HAZARD = Hazard("pump-off", rows, present, say, stage=stage)
