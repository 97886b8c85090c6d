"""What the engine remembers from one step to the next: frozen values, of a fixed size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf

from rules.matrix import Clear, Row
from rules.plan import Plan
from rules.signals import AlarmState, Phase, Saying

RESTS_S = (300.0, 900.0)
"""Rest before the first and the second restart, from when the cause is gone [s]. After as many
restarts as there are rests the cut is latched: a float that hangs must not start a pump all night.
Animals in a reef tank bear an hour without return flow; longer rests and fewer are stricter."""


@dataclass(frozen=True, slots=True)
class ContactMemory:
    """A contact's filter: net time towards wet [s], and the state that counts."""

    charge_s: float
    wet: bool


@dataclass(frozen=True, slots=True)
class LevelMemory:
    """A level sensor in a drained chamber: net time over its lowest mark [s], whether that counts,
    and the place of the mark at which the level stands, -1 while under all of them."""

    charge_s: float = 0.0
    high: bool = False
    mark: int = -1


@dataclass(frozen=True, slots=True)
class RowMemory:
    """A row of the matrix: its net time [s], whether its cause stands, and its alarm.

    `held` keeps the effect in force after the cause has gone, until a person speaks; `latching`
    makes a row that would clear by itself wait for a reset, once its restarts are used up.
    """

    charge_s: float = 0.0
    standing: bool = False
    held: bool = False
    state: AlarmState = AlarmState.NORMAL
    occurrence: int = 0
    code: str = ""
    since_s: float = 0.0
    saying: Saying | None = None
    spill_s: float = inf
    latching: bool = False


@dataclass(frozen=True, slots=True)
class PumpMemory:
    """A pump's phase, since when [s], the restarts tried, and how long it is to rest [s].

    `flaps` counts cuts that no water caused, so that a loose wire does not start it all night.
    """

    phase: Phase = Phase.STARTING
    since_s: float = 0.0
    attempts: int = 0
    rest_s: float = 0.0
    on: bool = False
    flaps: int = 0


@dataclass(frozen=True, slots=True)
class Memory:
    """All of it; sizes follow the plan, nothing grows."""

    boot: str
    t_s: float
    contacts: tuple[ContactMemory, ...]
    rows: tuple[RowMemory, ...]
    pumps: tuple[PumpMemory, ...]
    top_off_since_s: float | None = None
    top_off_used_s: float = 0.0
    levels: tuple[LevelMemory, ...] = ()


@dataclass(frozen=True, slots=True)
class Kept:
    """What must outlive a restart of the daemon, which is no reset.

    `latched` are the rows that a person has not released, `attempts` the restarts that each pump
    has behind it: one that waited out a cut begins with its rest.
    """

    latched: frozenset[str] = frozenset()
    attempts: Mapping[str, int] = field(default_factory=dict)


def begin(plan: Plan, boot: str, kept: Kept | None = None) -> Memory:
    """The memory before the first step; `kept` is what an earlier run left behind."""
    kept = kept or Kept()
    rows = tuple(_held_over(row) if row.id in kept.latched else RowMemory() for row in plan.rows)
    pumps = tuple(
        PumpMemory(Phase.WAITING, 0.0, tried, RESTS_S[min(tried, len(RESTS_S)) - 1])
        if (tried := kept.attempts.get(pump.id, 0)) > 0
        else PumpMemory()
        for pump in plan.pumps
    )
    return Memory(boot, 0.0, (), rows, pumps)


def _held_over(row: Row) -> RowMemory:
    if row.clear is Clear.ON_ACKNOWLEDGE:
        return RowMemory(held=True, state=AlarmState.RTN_UNACK)
    return RowMemory(held=True, state=AlarmState.LATCH_UNACK, latching=True)


def keep(plan: Plan, memory: Memory) -> Kept:
    """What must outlive a restart of the daemon."""
    return Kept(
        frozenset(row.id for row, state in zip(plan.rows, memory.rows, strict=True) if state.held),
        {
            pump.id: state.attempts
            for pump, state in zip(plan.pumps, memory.pumps, strict=True)
            if state.attempts
        },
    )
