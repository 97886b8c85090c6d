"""A signal cannot be believed: it cannot be read, or two floats contradict each other.

The story: a cable is cut, a float hangs. Its worst case has been taken already by the rows that use
it (a spill-edge float that cannot be read is wet); this row names the sensor, so that a person
knows which one to mend rather than hunt for water that is not there.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.signals import Priority, Quality, Saying
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
            Priority.MEDIUM,
        )


def lower_and_dry(key: str, view: View) -> str | None:
    """A float of the same chamber that hangs lower and is dry while this one is wet."""
    site = view.plan.site
    sensor = site.sensors[key]
    if not isinstance(sensor, FloatSwitch) or not view.wet(key):
        return None
    for other, lower in site.floats(sensor.chamber).items():
        if lower.height < sensor.height and not view.wet(other):
            return other
    return None


def present(row: Row, view: View) -> bool:
    """Not GOOD, or wet above a float that is dry."""
    if view.reading(row.subject).quality is not Quality.GOOD:
        return True
    contact = view.plan.contacts.get(row.subject)
    if contact is None or not view.contacts[contact.index].wet:
        return False
    return lower_and_dry(row.subject, view) is not None


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site = view.plan.site
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


HAZARD = Hazard("signal", rows, present, say)
