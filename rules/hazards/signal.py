"""A signal cannot be believed: it cannot be read, or two sensors contradict each other.

The story: a cable is cut, a float hangs, a level sensor drifts. Its worst case has been taken
already by the rows that use it (a spill-edge float that cannot be read is wet; a level sensor takes
nothing away from the floats); this row names the sensor, so that a person knows which one to mend
rather than hunt for water that is not there.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.levels import contradicting_float
from rules.matrix import Clear, Effect, Row
from rules.signals import Quality, Saying
from rules.site import show
from rules.site.model import Site
from rules.site.sensors import FloatSwitch


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every sensor."""
    for key in site.sensors:
        yield Row(
            "signal",
            key,
            f"{site.label(key)} cannot be read, or contradicts another",
            5.0,
            Clear.WHEN_CLEAR,
            Effect.ALARM_ONLY,
            priority.of("signal"),
        )


def lower_and_dry(key: str, view: View) -> str | None:
    """A float of the same chamber that hangs lower and is dry while this one is wet."""
    site = view.plan.site
    sensor = site.sensors[key]
    if not isinstance(sensor, FloatSwitch) or not view.wet(key):
        return None
    for other, lower in site.floats(sensor.chamber).items():
        if lower.height < sensor.height and not view.wet(other) and not view.out(other):
            return other
    return None


def present(row: Row, view: View) -> bool:
    """Not GOOD, or wet above a float that is dry, or a level that a float denies."""
    if view.reading(row.subject).quality is not Quality.GOOD:
        return True
    if row.subject in view.plan.level_ids:
        level = view.plan.levels[view.plan.level_ids[row.subject]]
        return contradicting_float(level, view.readings) is not None
    contact = view.plan.contacts.get(row.subject)
    if contact is None or not view.contacts[contact.index].wet:
        return False
    return lower_and_dry(row.subject, view) is not None


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site = view.plan.site
    if row.subject in view.plan.level_ids:
        return _say_level(row, view)
    reading = view.reading(row.subject)
    name = site.label(row.subject)
    lower = lower_and_dry(row.subject, view)
    if reading.quality is not Quality.GOOD or lower is None:
        what = f"The {name} cannot be believed: {reading.why or 'it cannot be read'}"
    else:
        what = f"The {name} is wet while the {site.label(lower)} below it is dry: one is wrong"
    return Saying(
        what=what,
        where=name,
        done="It is taken at its worst case until it can be believed again.",
        do_now=f"Check the cable and the free movement of the {name}.",
    )


def _say_level(row: Row, view: View) -> Saying:
    """What a person reads of a level sensor."""
    site, units = view.plan.site, view.plan.site.site.units
    reading, name = view.reading(row.subject), site.label(row.subject)
    level = view.plan.levels[view.plan.level_ids[row.subject]]
    place = contradicting_float(level, view.readings)
    if place is None:
        what = f"The {name} cannot be believed: {reading.why or 'it cannot be read'}"
    else:
        other = list(site.sensors)[place]
        state = "wet" if view.readings[place].value >= 0.5 else "dry"
        hangs = show.length(site.floats()[other].height, units)
        what = (
            f"The {name} says {show.length(reading.value, units)} while the {site.label(other)} at "
            f"{hangs} is {state}: one is wrong"
        )
    return Saying(
        what=what,
        where=name,
        done="The floats guard on as they are; it takes nothing away from them.",
        do_now=f"Measure the level with a ruler, then check the {name} and its cable.",
    )


HAZARD = Hazard("signal", rows, present, say)
