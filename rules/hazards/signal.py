"""A signal cannot be believed: it cannot be read, or other signals or the plumbing deny it.

The story: a cable is cut, a float hangs, a level sensor drifts, a wheel jams. Its worst case has
been taken already by the rows that use it (a spill-edge float that cannot be read is wet; a level
sensor takes nothing away from the floats); this row names the sensor, so that a person knows which
one to mend rather than hunt for water that is not there. What relied on it, and what guards on
without it, is said too. How each is found out stands in `rules/judging/doubts.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules import voting
from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.judging import doubts, reliance
from rules.judging.doubts import Doubt
from rules.judging.plan import AFTER_STOP_S
from rules.levels import contradicting_float
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every sensor."""
    for key in site.sensors:
        yield Row(
            "signal",
            key,
            f"{site.label(key)} cannot be read, or is denied by other signals or the plumbing",
            5.0,
            Clear.WHEN_CLEAR,
            Effect.ALARM_ONLY,
            priority.of("signal"),
        )


def present(row: Row, view: View) -> bool:
    """Not GOOD, or denied."""
    return doubts.find(row.subject, view) is not None


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site, name = view.plan.site, view.plan.site.label(row.subject)
    doubt = doubts.find(row.subject, view)
    if row.subject in view.plan.level_ids:
        return Saying(
            what=_what_level(row.subject, doubt, view),
            where=name,
            done="The floats guard on as they are; it takes nothing away from them.",
            do_now=f"Measure the level with a ruler, then check the {name} and its cable.",
        )
    if row.subject not in view.plan.contacts:
        return Saying(
            what=_what_meter(row.subject, doubt, view),
            where=name,
            done=reliance.sentence(site, row.subject),
            do_now=f"Look at the wheel of the {name}, and at its cable.",
        )
    return Saying(
        what=_what_contact(row.subject, doubt, view),
        where=name,
        done=f"{_taken_as(row.subject, view)} {reliance.sentence(site, row.subject)}",
        do_now=f"Check the cable and the free movement of the {name}.",
    )


def _taken_as(key: str, view: View) -> str:
    """What the guard makes of a float in doubt until it can be believed again."""
    plan = view.plan
    vote = plan.votes.get(key)
    left = () if vote is None else voting.counted(vote, view.contacts, view.out_ids)
    if vote is None or not left:
        return "It is taken at its worst case until it can be believed again."
    now = voting.pattern_of(vote, len(left))
    others = " and ".join(f"the {plan.site.label(k)}" for k in vote.ids if plan.sensors[k] in left)
    if plan.sensors[key] not in left:
        return f"It votes no longer: {vote.pattern} goes on as {now} ({others})."
    if voting.needed_of(vote, len(left)) == 1:
        return f"Each acts by itself ({now}), whichever of them is wrong."
    asks = view.contacts[plan.sensors[key]].wet is vote.acts
    if asks:
        return f"It has stopped nothing: two must agree ({now}), and it is one; one more acts now."
    return f"It has kept nothing from acting: two agree without it ({now})."


def _what_odd(key: str, view: View) -> str:
    plan = view.plan
    vote, name = plan.votes[key], plan.site.label(key)
    left = voting.counted(vote, view.contacts, view.out_ids)
    others = [k for k in vote.ids if k != key and plan.sensors[k] in left]
    beside = " and ".join(f"the {plan.site.label(k)}" for k in others)
    mine, theirs = ("wet", "dry") if view.wet(key) else ("dry", "wet")
    for_s = show.duration(voting.DISAGREES_S)
    if len(others) == 1:
        return (
            f"The {name} is {mine} and {beside} at the same height {theirs}, for {for_s} or "
            "longer: one of the two hangs, or the water stands just between them"
        )
    return (
        f"The {name} is {mine} while {beside} at the same height are {theirs}, for {for_s} or "
        "longer: it hangs, or the water stands just between them"
    )


def _unread(key: str, view: View) -> str:
    why = view.reading(key).why or "it cannot be read"
    return f"The {view.plan.site.label(key)} cannot be believed: {why}"


def _what_contact(key: str, doubt: Doubt | None, view: View) -> str:
    site = view.plan.site
    name = site.label(key)
    lower = doubts.lower_and_dry(key, view)
    if doubt is Doubt.OVER_A_DRY_ONE and lower is not None:
        return f"The {name} is wet while the {site.label(lower)} below it is dry: one is wrong"
    if doubt is Doubt.DISAGREES:
        return _what_odd(key, view)
    if doubt is Doubt.WET_AFTER_A_STOP:
        check = view.plan.judging.stops[key]
        place = site.label(check.chamber)
        other = f"no way out of the {place} lets any water pass"
        return (
            f"The {name} is still wet {show.duration(AFTER_STOP_S)} after the pump stopped, when "
            f"the {place} has long run down under it: it hangs, or {other}"
        )
    return _unread(key, view)


def _what_meter(key: str, doubt: Doubt | None, view: View) -> str:
    units, name = view.plan.site.site.units, view.plan.site.label(key)
    shown = show.flow(view.reading(key).value, units)
    match doubt:
        case Doubt.COUNTS_TOO_MUCH:
            return f"The {name} shows {shown}, more than the pump can lift: it counts too much"
        case Doubt.COUNTS_AT_REST:
            off = show.duration(AFTER_STOP_S)
            return f"The {name} shows {shown}, and the pump has stood still for {off} or longer"
        case Doubt.SHOWS_NOTHING:
            return f"The {name} shows {shown} while the water tells that the pump runs"
    return _unread(key, view)


def _what_level(key: str, doubt: Doubt | None, view: View) -> str:
    site, units = view.plan.site, view.plan.site.site.units
    reading, name = view.reading(key), view.plan.site.label(key)
    place = view.plan.level_ids[key]
    other = contradicting_float(view.plan.levels[place], view.readings)
    if doubt is Doubt.AGAINST_A_FLOAT and other is not None:
        contact = list(site.sensors)[other]
        state = "wet" if view.readings[other].value >= 0.5 else "dry"
        hangs = show.length(site.floats()[contact].height, units)
        return (
            f"The {name} says {show.length(reading.value, units)} while the {site.label(contact)} "
            f"at {hangs} is {state}: one is wrong"
        )
    if doubt is Doubt.STANDS_STILL:
        return (
            f"The {name} says {show.length(reading.value, units)}, as it did before the pump "
            "stopped, and its chamber has run "
            f"{'down' if _runs_down(place, view) else 'full'} since: it stands still"
        )
    return _unread(key, view)


def _runs_down(place: int, view: View) -> bool:
    check = next(check for check in view.plan.judging.levels if check.level == place)
    return check.stands_m < check.runs_m


HAZARD = Hazard("signal", rows, present, say)
