"""Sentences of a report: what happened, what the guard did, and what would have been."""

from __future__ import annotations

import re
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, WithJsonSchema

from rules.site import show
from rules.site.model import Site
from rules.site.show import Units
from simulator.night.outcome import Outcome
from simulator.report.told import KEEPERS, Told, things
from simulator.story.happenings import Happening
from simulator.story.judge import DROP_M3

TOLD_ELSEWHERE = frozenset({"what", "where", "at", "cause", "over"})
"""Keys of a happening that have their own place in a sentence."""

PHRASES = {
    "share": "{}",
    "flow": "{}",
    "volume": "{}",
    "state": "{}",
    "to": "{}",
    "hazard": "{}",
    "height": "{} high",
    "spread": "{} wide",
    "a_day": "{} a day",
    "a_minute": "{} a minute",
    "a_second": "{} a second",
    "drops": "{} drops a minute",
    "for_": "{} each",
    "lasts": "for {}",
}
"""How a key of a happening is said with its value; any other as the key before the value."""


def _quantity(annotation: Any) -> str:
    """What a key holds, by the words with which its quantity describes itself; else nothing."""
    if get_origin(annotation) is Annotated:
        for extra in get_args(annotation)[1:]:
            if isinstance(extra, WithJsonSchema) and isinstance(extra.json_schema, dict):
                return str(extra.json_schema.get("description", ""))
    return next((found for part in get_args(annotation) if (found := _quantity(part))), "")


def described(model: type[BaseModel], key: str) -> str:
    field = model.model_fields[key]
    for extra in field.metadata:
        if isinstance(extra, WithJsonSchema) and isinstance(extra.json_schema, dict):
            return str(extra.json_schema.get("description", ""))
    return _quantity(field.annotation)


def worded(value: object, what: str, units: Units) -> str:
    """A value of a happening in words, `what` being how its quantity describes itself."""
    if not isinstance(value, (int, float)) or isinstance(value, bool):
        return str(value)
    number = float(value)
    for unit, said in (
        ("[s inside]", show.duration(number)),
        ("[m inside]", show.length(number, units)),
        ("[m3 inside]", show.volume(number, units)),
        ("[m3/s inside]", show.flow(number, units)),
        ("[0 to 1 inside]", show.share(number)),
    ):
        if unit in what:
            return said
    return f"{number:g}"


def happening(site: Site, event: Happening) -> str:
    """What happens, to what, and how much of it, as far as the drill says, on this site."""
    model, units = type(event), site.site.units
    details = []
    for key in (*(k for k in model.model_fields if k not in TOLD_ELSEWHERE), "over"):
        value = getattr(event, key, None)
        if value is None or key not in event.model_fields_set:
            continue
        said = worded(value, described(model, key), units)
        if key == "with_":
            said = labels(site, said) or said
        details.append(PHRASES.get(key, f"{key.replace('_', ' ').strip()} {{}}").format(said))
    where = labels(site, getattr(event, "where", ""))
    told = event.what + (f": {where}" if where else "")
    return f"{told} ({', '.join(details)})" if details else told


def labels(site: Site, role: str) -> str:
    """What people call the things that play a role on this site; empty if none does."""
    return ", ".join(dict.fromkeys(site.label(key) for key in things(site, role)))


def floor_m3(night: Outcome) -> float:
    """All the water that came onto the floor in a night [m3]."""
    return night.spilled_total_m3 + night.leaked_m3


def unbroken(said: str) -> str:
    """A sentence in which no number is parted from its unit at the end of a line."""
    return re.sub(r"(?<=\d) (?=\S)", "\N{NO-BREAK SPACE}", said)


def stretch(time_s: float) -> str:
    """How long something went on, never if it did not."""
    return show.duration(time_s) if time_s > 0.0 else "never"


def water(volume_m3: float, units: Units) -> str:
    """An amount of water on the floor, nothing if it is nothing."""
    return show.volume(volume_m3, units) if volume_m3 > DROP_M3 else "nothing"


def after(night: Outcome, t_s: float) -> str:
    """When something was, counted from the cause; from the start where there is none."""
    since = show.duration(max(0.0, t_s - (night.cause_s or 0.0)))
    return f"{since} after {'it began' if night.cause_s is None else 'the cause'}"


def seen_and_done(told: Told) -> str:
    """What the guard saw and did, in a sentence."""
    night = told.guard
    alarm_s, cut_s = told.first_alarm_s, night.cut_s
    if alarm_s is None and cut_s is None:
        return "The guard raised no alarm and cut nothing."
    parts = []
    if alarm_s is not None:
        hazard = next(hazard for t, hazard, _ in night.alarms if t == alarm_s)
        parts.append(f"saw it {after(night, alarm_s)} ({hazard})")
    if cut_s is not None:
        same = alarm_s is not None and after(night, alarm_s) == after(night, cut_s)
        parts.append("cut the pump at once" if same else f"cut the pump {after(night, cut_s)}")
    else:
        parts.append("cut nothing")
    return f"The guard {' and '.join(parts)}."


def would_have_been(told: Told) -> str:
    """What came onto the floor under each keeper, and which pump ran dry, in a sentence or two."""
    if not told.has_water:
        return "It is a recording: its readings tell of no water on the floor."
    units = told.site.site.units
    floors = [
        f"{water(floor_m3(told.nights[keeper]), units)} {KEEPERS[keeper].said}"
        for keeper in told.keepers
    ]
    said = f"On the floor: {', '.join(floors)}."
    dry = [
        f"{show.duration(told.nights[keeper].dry_s)} {KEEPERS[keeper].said}"
        for keeper in told.keepers
        if told.nights[keeper].dry_s > 0.0
    ]
    return f"{said} The pump ran dry for {', '.join(dry)}." if dry else said


def cut(night: Outcome) -> str:
    """When the pump was cut after the cause."""
    return "never" if night.cut_s is None else after(night, night.cut_s)


def verdict(night: Outcome) -> str:
    """The verdict in a word or two."""
    return "held" if night.passed else "not held"
