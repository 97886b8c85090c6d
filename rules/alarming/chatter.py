"""A cause that comes and goes is one alarm, however often it comes.

What a row does is untouched by this: a pump is cut at every coming, at once. Only the alarm stays:
the oftener its cause has come, the longer it must be gone before the alarm returns to normal, and
what comes back before then belongs to the occurrence that was told already.

The standards (ISA-18.2, IEC 62682; EEMUA 191) say that an alarm chatters that is raised three times
or more within a minute, and name a longer off-delay as the remedy. Here three within an hour are
enough for a longer one: a cause that comes once every four minutes would else fill the night.
"""

from __future__ import annotations

from rules.hazards.table import HAZARDS
from rules.matrix import Clear, Effect, Row
from rules.memory import RowMemory
from rules.plan import Plan, PumpPlan
from rules.pumping import NOT_WATER
from rules.signals import Saying
from rules.site import show

REMEMBERED_S = 3600.0
"""A coming is remembered for this long [s]; longer is fewer alarms."""

MOST = 8
"""So many comings are remembered at most, the newest."""

OFTEN = 3
"""From so many comings on, an alarm is said to come and go."""

OFF_DELAYS_S = (60.0, 300.0, 600.0)
"""How long the cause must be gone after so many comings, and after each one more [s]. The last is
the bound: with it, one row raises no more than one alarm in ten minutes."""


def lately(state: RowMemory, t_s: float) -> tuple[float, ...]:
    """The comings of a row's cause that are still remembered at `t_s` [s]."""
    return tuple(came_s for came_s in state.comings if t_s - came_s < REMEMBERED_S)


def with_one(comings: tuple[float, ...], t_s: float) -> tuple[float, ...]:
    """The comings with one more at `t_s` [s], of a fixed number."""
    return (*comings, t_s)[-MOST:]


def often(comings: tuple[float, ...]) -> bool:
    """True for an alarm that comes and goes."""
    return len(comings) >= OFTEN


def off_delay_s(state: RowMemory) -> float:
    """How long the cause must be gone before the alarm returns [s]; 0.0 while it comes seldom.

    As long as can be for one that is latched: until a person has come nothing that it could tell
    would be new.
    """
    if not often(state.comings):
        return 0.0
    step = len(OFF_DELAYS_S) - 1 if state.held else len(state.comings) - OFTEN
    return OFF_DELAYS_S[min(step, len(OFF_DELAYS_S) - 1)]


def counts(plan: Plan, row: Row, on: tuple[bool, ...], unread: bool) -> bool:
    """Whether a coming is one of those that are told once, by which pumps were `on` until now.

    Not where it cuts, for the sake of the water, a pump that comes back by itself: it came because
    the pump was tried again, and that has an end of its own. Nor where standing makes the alarm
    grow worse.
    """
    if HAZARDS[row.hazard].stage is not None:
        return False
    if row.effect is not Effect.CUT_PUMP or row.hazard in NOT_WATER:
        return True
    if row.clear is not Clear.WHEN_CLEAR and not unread:  # a person ends it, not another try
        return True
    return not any(
        _switched_by(pump, row) and is_on for pump, is_on in zip(plan.pumps, on, strict=True)
    )


def _switched_by(pump: PumpPlan, row: Row) -> bool:
    return pump.output is not None and pump.id in row.pumps


def same(row: Row, state: RowMemory, unread: bool) -> bool:
    """True if a coming that counts belongs to the occurrence that has not returned yet.

    It does not where it holds what a person had released, nor where a signal that could not be
    read, and now can be, tells of the thing itself.
    """
    if state.lingers_until_s is None or state.unread is not unread:
        return False
    return row.clear is Clear.WHEN_CLEAR or state.held or unread


def over(state: RowMemory, t_s: float) -> bool:
    """True when the cause has been gone for as long as it must be."""
    return state.lingers_until_s is not None and t_s >= state.lingers_until_s - 1e-9


def words(comings: tuple[float, ...]) -> str:
    """How often the cause has come, for a sentence: "comes and goes: 5 times within 2 min"."""
    within = show.duration(comings[-1] - comings[0])
    return f"comes and goes: {len(comings)} times within {within}"


def begins(row: Row, state: RowMemory) -> str:
    """What is said when an alarm begins to come and go."""
    return (
        f"It {words(state.comings)}: {row.cause}. It is one alarm from now on, until its cause "
        "stays away. A loose cable, spray, waves?"
    )


def told(saying: Saying, comings: tuple[float, ...]) -> Saying:
    """What is said of an alarm, with how often it comes where that is often."""
    if not often(comings):
        return saying
    what = f"{saying.what.rstrip('.')}; it {words(comings)}"
    look = "If it is not so each time, look for a loose cable, spray or waves."
    return Saying(what, saying.where, saying.done, f"{saying.do_now} {look}")
