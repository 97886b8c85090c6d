"""What is to be doubted of each signal now."""

from __future__ import annotations

from enum import StrEnum

from rules import unanswered, voting
from rules.estimate import View
from rules.judging import meters
from rules.judging.plan import AFTER_STOP_S
from rules.levels import contradicting_float
from rules.signals import Quality
from rules.site.sensors import FloatSwitch

STOOD_M = 0.003
"""A level sensor that moved no more than this while its chamber ran full or empty stands [m]."""


class Doubt(StrEnum):
    """Why a signal is doubted."""

    UNREAD = "it cannot be read"
    UNCERTAIN = "it is out of its range"
    OVER_A_DRY_ONE = "it is wet while a float below it is dry"
    DISAGREES = "it differs from those that hang beside it"
    AGAINST_A_FLOAT = "a float denies its level"
    WET_AFTER_A_STOP = "it stayed wet after the pump had stopped"
    STANDS_STILL = "it did not move when the pump stopped"
    COUNTS_AT_REST = "it counts while nothing can flow"
    COUNTS_TOO_MUCH = "it shows more than the pump can lift"
    SHOWS_NOTHING = "it shows no flow while the pump runs"


def lower_and_dry(key: str, view: View) -> str | None:
    """A float of the same chamber that hangs lower and is dry while this one is wet.

    One that two others at its height deny is no evidence.
    """
    site = view.plan.site
    sensor = site.sensors[key]
    if not isinstance(sensor, FloatSwitch) or not view.wet(key):
        return None
    for other, lower in site.floats(sensor.chamber).items():
        if lower.height >= sensor.height or view.wet(other) or view.out(other):
            continue
        if not _denied_by_two(other, view):
            return other
    return None


def find(key: str, view: View) -> Doubt | None:
    """What is to be doubted of a signal now; the gravest where there is more."""
    reading = view.reading(key)
    if reading.quality is not Quality.GOOD:
        return Doubt.UNREAD if reading.quality is Quality.BAD else Doubt.UNCERTAIN
    plan = view.plan
    if key in plan.level_ids:
        place = plan.level_ids[key]
        if contradicting_float(plan.levels[place], view.readings) is not None:
            return Doubt.AGAINST_A_FLOAT
        return Doubt.STANDS_STILL if _stands(place, view) else None
    contact = plan.contacts.get(key)
    if contact is None:
        return _of_meter(key, view)
    wet = view.contacts[contact.index].wet
    if wet and lower_and_dry(key, view) is not None:
        return Doubt.OVER_A_DRY_ONE
    if disagrees(key, view):
        return Doubt.DISAGREES
    if not wet:
        return None
    return Doubt.WET_AFTER_A_STOP if _wet_after_a_stop(key, view) else None


def disagrees(key: str, view: View) -> bool:
    """True for a float that has differed from those of its vote for longer than waves explain."""
    vote, then = view.plan.votes.get(key), view.memory.contacts
    if vote is None or not then:
        return False
    if voting.odd_one(vote, view.contacts, view.out_ids) != view.plan.sensors[key]:
        return False
    if any(view.contacts[i].wet is not then[i].wet for i in vote.places):
        return False
    since_s = max(view.memory.judged.turned_s[i] for i in vote.places)
    return view.t_s - since_s >= voting.DISAGREES_S - 1e-9


def _denied_by_two(key: str, view: View) -> bool:
    vote = view.plan.votes.get(key)
    if vote is None or len(voting.counted(vote, view.contacts, view.out_ids)) < 3:
        return False
    return voting.odd_one(vote, view.contacts, view.out_ids) == view.plan.sensors[key]


def off_for_s(pumps: tuple[int, ...], view: View) -> float:
    """For how long all of these pumps have been off, and stood still [s]; 0.0 while one is not."""
    since = [view.memory.judged.off_since_s[i] for i in pumps]
    if not since or any(
        unanswered.runs_on(view.plan.pumps[i], view.memory.pumps[i]) for i in pumps
    ):
        return 0.0
    return min(0.0 if since_s is None else view.t_s - since_s for since_s in since)


def _wet_after_a_stop(key: str, view: View) -> bool:
    check = view.plan.judging.stops.get(key)
    return check is not None and off_for_s(check.pumps, view) >= AFTER_STOP_S - 1e-9


def _stands(place: int, view: View) -> bool:
    """Its chamber has run full or empty since the stop, and it reads what it read then."""
    before_m = view.memory.judged.stopped_m[place]
    if before_m is None:
        return False
    check = next(check for check in view.plan.judging.levels if check.level == place)
    if off_for_s(check.pumps, view) < AFTER_STOP_S - 1e-9:
        return False
    now_m = view.readings[view.plan.levels[place].index].value
    return abs(now_m - before_m) < STOOD_M and abs(now_m - check.stands_m) > abs(
        now_m - check.runs_m
    )


def _of_meter(key: str, view: View) -> Doubt | None:
    for pump, check in enumerate(view.plan.judging.meters):
        if check is None or check.sensor != view.plan.sensors[key]:
            continue
        if meters.counts_too_much(check, pump, view):
            return Doubt.COUNTS_TOO_MUCH
        still = off_for_s((pump,), view) >= AFTER_STOP_S - 1e-9
        if still and meters.counts_at_rest(check, pump, view):
            return Doubt.COUNTS_AT_REST
        if meters.lost(pump, view) is meters.Lost.METER:
            return Doubt.SHOWS_NOTHING
    return None
