"""What the engine remembers from one step to the next: frozen values, of a fixed size."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from rules.matrix import Clear, Row
from rules.plan import Plan
from rules.signals import AlarmState, Phase, Saying


@dataclass(frozen=True, slots=True)
class ContactMemory:
    """A contact's filter: net time towards wet [s], and the state that counts."""

    charge_s: float
    wet: bool


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
    """A pump's phase, since when [s], the restarts tried, and how long it is to rest [s]."""

    phase: Phase = Phase.STARTING
    since_s: float = 0.0
    attempts: int = 0
    rest_s: float = 0.0
    on: bool = False


@dataclass(frozen=True, slots=True)
class Memory:
    """All of it; sizes follow the plan, nothing grows."""

    boot: str
    t_s: float
    contacts: tuple[ContactMemory, ...]
    rows: tuple[RowMemory, ...]
    pumps: tuple[PumpMemory, ...]
    top_off_since_s: float | None = None


def begin(plan: Plan, boot: str, latched: frozenset[str] = frozenset()) -> Memory:
    """The memory before the first step; `latched` are rows a person has not reset since before."""
    rows = tuple(_held_over(row) if row.id in latched else RowMemory() for row in plan.rows)
    return Memory(boot, 0.0, (), rows, tuple(PumpMemory() for _ in plan.pumps))


def _held_over(row: Row) -> RowMemory:
    if row.clear is Clear.ON_ACKNOWLEDGE:
        return RowMemory(held=True, state=AlarmState.RTN_UNACK)
    return RowMemory(held=True, state=AlarmState.LATCH_UNACK, latching=True)


def latched_rows(plan: Plan, memory: Memory) -> frozenset[str]:
    """The rows that must stay in force over a restart of the daemon."""
    return frozenset(
        row.id for row, state in zip(plan.rows, memory.rows, strict=True) if state.held
    )
