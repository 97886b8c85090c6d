"""There is water on the floor.

The story: a hose has slipped or a tank has cracked, and the pump feeds it. Whatever the source,
moving water makes it worse, and one wet pad is seen by nobody at night: cut, and wait for a person.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, cut_words
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site.model import Site
from rules.site.sensors import LeakSensor


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every leak pad; it cuts every pump."""
    for key, sensor in site.sensors.items():
        if isinstance(sensor, LeakSensor):
            yield Row(
                "leak",
                key,
                f"water on {sensor.place}",
                1.0,
                Clear.ON_RESET,
                Effect.CUT_PUMP,
                priority.of("leak"),
                tuple(site.pumps),
            )


def present(row: Row, view: View) -> bool:
    """The pad is wet; one that cannot be read counts as wet."""
    return view.wet(row.subject)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    sensor = view.plan.site.sensors[row.subject]
    assert isinstance(sensor, LeakSensor)
    return Saying(
        what=f"There is water on {sensor.place}",
        where=view.plan.site.label(row.subject),
        done=cut_words(row, view),
        do_now="Keep away from wet electrics; switch off at the breaker before you reach in. Find "
        "the leak, dry the pad, then reset at the guard.",
    )


HAZARD = Hazard("leak", rows, present, say)
