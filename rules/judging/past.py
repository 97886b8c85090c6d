"""How what signals have done is kept from look to look.

All by time, never by the count of looks; and nothing changes while nothing turns, no pump is
switched and no flow moves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from rules.estimate import View
from rules.judging.plan import AFTER_STOP_S, GONE_S, OFTEN_GONE_S, WET_S, MeterCheck, SplashCheck
from rules.judging.remembered import Judged, MeterPast, SplashPast
from rules.memory import ContactMemory, Memory, PumpMemory
from rules.plan import Plan
from rules.signals import Phase, Quality

STEADY = 0.10
"""A meter is steady while it shows its usual flow to so large a share of it."""

LEAVING_S = 60.0
"""So long after it left its usual flow a change is still one change [s]."""

BACK_S = 3.0
"""Its usual flow for so long, and it is steady again [s]; water that runs back may pass by it."""

LOW_SHARE = 0.2
"""Below this share of its usual flow a meter shows hardly any."""


@dataclass(frozen=True, slots=True)
class _Look:
    """One look: what is read now, the contacts before it, and the pumps as they are after it."""

    plan: Plan
    view: View
    contacts_before: Sequence[ContactMemory]
    pumps: Sequence[PumpMemory]
    lasted_s: float

    def running(self, pump: int) -> bool:
        """True for a pump that is in full run."""
        return self.pumps[pump].phase is Phase.RUNNING


def step(plan: Plan, memory: Memory, view: View, pumps: Sequence[PumpMemory]) -> Judged:
    """One look on; `memory` is from before it, `pumps` are as they are after it.

    Returns what was remembered before where nothing of note has changed.
    """
    judging, before = plan.judging, memory.judged
    if pumps == memory.pumps and view.contacts == memory.contacts and _steady(plan, before, view):
        return before  # as at nearly every look
    look = _Look(plan, view, memory.contacts, pumps, view.t_s - memory.t_s)
    off = tuple(
        None if state.on else view.t_s if since_s is None else since_s
        for state, since_s in zip(pumps, before.off_since_s, strict=True)
    )
    after = Judged(
        off,
        tuple(
            past if check is None else _meter(check, past, look, i)
            for i, (check, past) in enumerate(zip(judging.meters, before.meters, strict=True))
        ),
        tuple(_dry_flow(before, look)) if judging.lows else before.dry_flow_m3_s,
        _turned(before, look),
        before.stopped_m if off == before.off_since_s else tuple(_stopped(before, off, look)),
        tuple(map(partial(_splash, look), judging.splashes, before.splashes)),
    )
    return before if after == before else after


def _steady(plan: Plan, before: Judged, view: View) -> bool:
    """True while every meter shows what it usually shows, and nothing waits to be noted."""
    pumps = view.memory.pumps
    for check, past, pump in zip(plan.judging.meters, before.meters, pumps, strict=True):
        if check is None or pump.phase is not Phase.RUNNING:
            continue
        if past.left_s is not None or past.usual_m3_s is None:
            return False
        usual_m3_s, reading = past.usual_m3_s, view.readings[check.sensor]
        if not abs(reading.value - usual_m3_s) <= STEADY * usual_m3_s:
            return False
    if any(before.splashes):
        return False
    return not any(
        before.dry_flow_m3_s[low.pump] is None
        and pumps[low.pump].phase is Phase.RUNNING
        and not any(view.contacts[i].wet for i in low.over)
        for low in plan.judging.lows.values()
    )


def _turned(before: Judged, look: _Look) -> tuple[float, ...]:
    now, then, t_s = look.view.contacts, look.contacts_before, look.view.t_s
    if not then or all(new.wet is old.wet for new, old in zip(now, then, strict=True)):
        return before.turned_s
    return tuple(
        at_s if new.wet is old.wet else t_s
        for at_s, new, old in zip(before.turned_s, now, then, strict=True)
    )


def _stopped(before: Judged, off: tuple[float | None, ...], look: _Look) -> Iterator[float | None]:
    """What level sensors read when the pumps that move their water stopped [m]."""
    checks = {check.level: check for check in look.plan.judging.levels}
    for place, level in enumerate(look.plan.levels):
        check = checks.get(place)
        if check is None or any(off[i] is None for i in check.pumps):
            yield None
        elif any(before.off_since_s[i] is None for i in check.pumps):
            reading = look.view.readings[level.index]
            yield None if reading.quality is not Quality.GOOD else reading.value
        else:
            yield before.stopped_m[place]


_NEW = MeterPast()


def _meter(check: MeterCheck, past: MeterPast, look: _Look, pump: int) -> MeterPast:
    reading, t_s = look.view.readings[check.sensor], look.view.t_s
    if not look.running(pump):
        return _NEW
    if reading.quality is Quality.BAD:
        return past
    flow_m3_s, usual_m3_s = reading.value, past.usual_m3_s
    if usual_m3_s is None:
        return MeterPast(flow_m3_s) if flow_m3_s > 0.0 else past
    low_s, back_s = None, None
    if abs(flow_m3_s - usual_m3_s) <= STEADY * usual_m3_s:
        back_s = t_s if past.back_s is None else past.back_s
        if past.left_s is None or t_s - back_s >= BACK_S:
            return past if past.left_s is None else MeterPast(usual_m3_s)
    elif flow_m3_s < LOW_SHARE * usual_m3_s:
        low_s = t_s if past.low_s is None else past.low_s
    if past.left_s is None:
        return MeterPast(usual_m3_s, t_s, 0.0, low_s)
    counted_m3 = past.counted_m3
    if t_s - past.left_s <= LEAVING_S:
        counted_m3 += flow_m3_s * look.lasted_s
    elif low_s is None:
        return MeterPast(flow_m3_s)  # it stays there: that is what it shows from now on
    return MeterPast(usual_m3_s, past.left_s, counted_m3, low_s, back_s)


def _dry_flow(before: Judged, look: _Look) -> Iterator[float | None]:
    """What the meter of a pump showed when the float over its low float fell dry."""
    for place, pump in enumerate(look.plan.pumps):
        low, then_m3_s = look.plan.judging.lows.get(pump.id), before.dry_flow_m3_s[place]
        if (
            low is None
            or pump.meter is None
            or not look.running(place)
            or any(look.view.contacts[i].wet for i in low.over)
        ):
            yield None
        elif then_m3_s is None:
            reading = look.view.readings[pump.meter]
            yield None if reading.quality is Quality.BAD else reading.value
        else:
            yield then_m3_s


def denies(check: SplashCheck, view: View) -> bool:
    """True while every witness denies that water stands at a spill-edge float."""
    places = (check.sensor, *check.watches, *check.below)
    if any(view.readings[i].quality is not Quality.GOOD for i in places):
        return False
    if view.memory.out and any(map(view.out, check.ids)):
        return False
    if any(view.contacts[i].wet for i in check.watches):
        return False
    for place in check.levels:
        level = view.plan.levels[place]
        reading = view.readings[level.index]
        if reading.quality is not Quality.GOOD:
            return False
        if reading.value + level.tolerance_m > check.height_m:
            return False
    return bool(check.below) and all(view.contacts[i].wet for i in check.below)


def _splash(look: _Look, check: SplashCheck, past: SplashPast | None) -> SplashPast | None:
    view, then = look.view, look.contacts_before
    wet = view.contacts[check.sensor].wet
    if past is None:
        if not wet or not then or then[check.sensor].wet:
            return None
        # witnesses tell something only of a pump that ran until this very look
        ran = all(view.memory.pumps[i].on for i in check.pumps)
        return SplashPast(view.t_s, ran and denies(check, view))
    if not wet and all(look.running(i) for i in check.pumps):
        return None
    came_s = view.t_s if wet and past.gone_s is not None else past.came_s
    gone_s = None if wet else view.t_s if past.gone_s is None else past.gone_s
    lasted_s = (view.t_s if gone_s is None else gone_s) - came_s
    denied = past.denied and lasted_s <= WET_S and denies(check, view)
    gone = gone_s is not None and view.t_s - gone_s >= GONE_S - 1e-9
    return SplashPast(came_s, denied, gone_s, denied and (past.judged or gone))


def timers_s(judged: Judged) -> Iterator[float]:
    """When something falls due for the judging by time alone [s, the guard's time]."""
    for since_s in judged.off_since_s:
        if since_s is not None:
            yield since_s + AFTER_STOP_S
    for past in judged.splashes:
        if past is not None and past.gone_s is not None:
            yield past.gone_s + GONE_S
            yield past.gone_s + OFTEN_GONE_S
