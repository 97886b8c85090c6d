"""What the engine remembers from one step to the next: frozen values, of a fixed size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil, floor, inf

from rules.alarming.rate import NONE, Raised
from rules.balance import books as bookkeeping
from rules.balance.books import EMPTY, Books
from rules.judging.remembered import NOTHING, Judged
from rules.judging.remembered import begin as begin_judged
from rules.matrix import Clear, Row
from rules.observer import keeping as baselines
from rules.observer.keeping import Baseline, Days
from rules.observer.sight import Sight
from rules.plan import Plan, PumpPlan
from rules.resting import runs_rest_s, supply_rest_s, water_rest_s
from rules.signals import AlarmState, Phase, Priority, Saying
from rules.site.pauses import PauseKind

KEPT_TOP_OFF_S = 30.0
"""What the top-off has used of its day is kept in such steps, rounded up [s]: a card wears out by
writing."""

KEPT_OUT_S = 3600.0
"""How long a thing has been out of service is kept in such steps, rounded down [s]; the same
reason."""

KEPT_OFF_S = 300.0
"""How long a pump has been off is kept in such steps, rounded down [s]; the same reason."""


@dataclass(frozen=True, slots=True)
class ContactMemory:
    """A contact's filter: net time towards wet [s], and the state that counts; `unread` while that
    state is but the worst case of a contact that could not be read."""

    charge_s: float
    wet: bool
    unread: bool = False


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
    makes a row that would clear by itself wait for a reset, once its restarts are used up; `unread`
    tells that nothing but a signal that cannot be read has raised it; `stage` counts how many times
    it has grown worse while it stood. `comings` are when its cause came of late [s]; one that comes
    often leaves the alarm standing until `lingers_until_s` [s] after it has gone. A person has put
    it aside until `shelved_until_s` [s]. `folded` is the row in whose alarm it is told.
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
    unread: bool = False
    stage: int = 0
    priority: Priority | None = None
    comings: tuple[float, ...] = ()
    lingers_until_s: float | None = None
    shelved_until_s: float | None = None
    folded: str = ""


@dataclass(frozen=True, slots=True)
class PumpMemory:
    """A pump's phase, since when [s], the restarts tried, and how long it is to rest [s].

    `flaps` counts cuts that no water caused, so that a loose wire does not start it all night;
    `runs` how many times on end the guard found it left on, so that a guard that dies again and
    again does not either. `off_since_s` is since when it has not run through [s]: a start that
    fails does not count; None while it runs. `passed_m3` is what has passed its meter since it was
    switched off at about the rate of when it was cut, `at_cut_m3_s`. A stop that is measured began
    at `stopped_s` [s]; `ran_back_m3` has passed the meter since, `obeyed` tells that it has slowed
    down, and `plugged` what the last such stop has shown of its siphon breaks.
    """

    phase: Phase = Phase.STARTING
    since_s: float = 0.0
    attempts: int = 0
    rest_s: float = 0.0
    on: bool = False
    flaps: int = 0
    runs: int = 0
    off_since_s: float | None = 0.0
    passed_m3: float = 0.0
    at_cut_m3_s: float = 0.0
    stopped_s: float | None = None
    ran_back_m3: float = 0.0
    obeyed: bool = False
    plugged: bool = False


@dataclass(frozen=True, slots=True)
class PauseMemory:
    """A planned pause: its kind, the pumps that stop for it, from when until when [s], and the ids
    of the rows that raise no alarm meanwhile."""

    kind: PauseKind
    pumps: tuple[str, ...]
    since_s: float
    until_s: float
    suppressed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OutMemory:
    """A sensor or row that is out of service: its id, and since when [s]."""

    id: str
    since_s: float


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
    pause: PauseMemory | None = None
    raised: Raised = NONE
    books: Books = EMPTY
    sights: tuple[Sight, ...] = ()
    out: tuple[OutMemory, ...] = ()
    judged: Judged = NOTHING


@dataclass(frozen=True, slots=True)
class Kept:
    """What must outlive a restart of the daemon, which is no reset.

    `latched` are the rows that a person has not released. For each pump, where there is anything to
    keep: `attempts` are the restarts that it has behind it, `flaps` its cuts by supply or lease,
    `runs` how many times on end the guard found it left on, and `off_s` how long it has not run
    through [s]; one with any of the first two, or too many of the third, begins with its rest. `on`
    are the pumps left on, none after an orderly stop; `top_off_used_s` is what of a day's opening
    was used up [s]; `books` what the water's bookkeeping needs, by name. `out_s` are the sensors
    and rows out of service, each with for how long [s]; what was shelved is not kept, and is told
    again. `baselines` are what was learned of each chamber's drains, `days` what had gone of its
    main one on each of the last days.

    A planned pause is not kept: nobody can tell how long the guard was away, and who waits for the
    pump to come back by itself is better served by one that comes too early, in its stages.
    """

    latched: frozenset[str] = frozenset()
    attempts: Mapping[str, int] = field(default_factory=dict)
    flaps: Mapping[str, int] = field(default_factory=dict)
    runs: Mapping[str, int] = field(default_factory=dict)
    off_s: Mapping[str, float] = field(default_factory=dict)
    on: frozenset[str] = frozenset()
    top_off_used_s: float = 0.0
    books: Mapping[str, float] = field(default_factory=dict)
    out_s: Mapping[str, float] = field(default_factory=dict)
    baselines: Mapping[str, Baseline] = field(default_factory=dict)
    days: Mapping[str, Days] = field(default_factory=dict)


def begin(plan: Plan, boot: str, kept: Kept | None = None) -> Memory:
    """The memory before the first step; `kept` is what an earlier run left behind."""
    kept = kept or Kept()
    rows = tuple(_held_over(row) if row.id in kept.latched else RowMemory() for row in plan.rows)
    pumps = tuple(_left(pump, kept) for pump in plan.pumps)
    known = {*plan.sensors, *(row.id for row in plan.rows)}
    judged = begin_judged(
        len(plan.pumps), len(plan.sensors), len(plan.levels), len(plan.judging.splashes)
    )
    return Memory(
        boot,
        0.0,
        (),
        rows,
        pumps,
        top_off_used_s=kept.top_off_used_s,
        books=bookkeeping.begun(plan.tracks, kept.books),
        sights=baselines.begun(plan.drains, kept.baselines, kept.days),
        out=tuple(OutMemory(key, -for_s) for key, for_s in kept.out_s.items() if key in known),
        judged=judged,
    )


def _left(pump: PumpPlan, kept: Kept) -> PumpMemory:
    """A pump as an earlier run left it: it begins with the longest rest that it has to take."""
    attempts, flaps = kept.attempts.get(pump.id, 0), kept.flaps.get(pump.id, 0)
    runs = kept.runs.get(pump.id, 0) + (pump.id in kept.on)
    rest_s = max(water_rest_s(attempts), supply_rest_s(flaps), runs_rest_s(runs))
    return PumpMemory(
        Phase.WAITING if rest_s > 0.0 else Phase.STARTING,
        attempts=attempts,
        rest_s=rest_s,
        flaps=flaps,
        runs=runs,
        off_since_s=-kept.off_s.get(pump.id, 0.0),
    )


def _held_over(row: Row) -> RowMemory:
    if row.clear is Clear.ON_ACKNOWLEDGE:
        return RowMemory(held=True, state=AlarmState.RTN_UNACK)
    return RowMemory(held=True, state=AlarmState.LATCH_UNACK, latching=True)


def keep(plan: Plan, memory: Memory) -> Kept:
    """What must outlive a restart of the daemon."""
    pumps = [
        (p.id, s) for p, s in zip(plan.pumps, memory.pumps, strict=True) if p.output is not None
    ]
    off_s = {pump: _kept_off_s(state, memory.t_s) for pump, state in pumps}
    return Kept(
        frozenset(row.id for row, state in zip(plan.rows, memory.rows, strict=True) if state.held),
        {pump: state.attempts for pump, state in pumps if state.attempts},
        {pump: state.flaps for pump, state in pumps if state.flaps},
        {pump: state.runs for pump, state in pumps if state.runs},
        {pump: seconds for pump, seconds in off_s.items() if seconds > 0.0},
        frozenset(pump for pump, state in pumps if state.on),
        _kept_top_off_s(plan, memory.top_off_used_s),
        bookkeeping.kept(plan.tracks, memory.books),
        {one.id: KEPT_OUT_S * floor((memory.t_s - one.since_s) / KEPT_OUT_S) for one in memory.out},
        baselines.kept(plan.drains, memory.sights),
        baselines.kept_days(plan.drains, memory.sights),
    )


def _kept_top_off_s(plan: Plan, used_s: float) -> float:
    """Rounded up, for a restart may not free any of it; but not up to where an alarm is due."""
    kept_s = KEPT_TOP_OFF_S * ceil(used_s / KEPT_TOP_OFF_S - 1e-9)
    if plan.top_off is None or used_s >= plan.top_off.daily_s:
        return kept_s
    return min(kept_s, max(0.0, plan.top_off.daily_s - 1.0))


def _kept_off_s(state: PumpMemory, t_s: float) -> float:
    if state.off_since_s is None:
        return 0.0
    return KEPT_OFF_S * floor((t_s - state.off_since_s) / KEPT_OFF_S)
