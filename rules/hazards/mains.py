"""The supply of the pump has gone while the guard lives on its own.

The story: a power cut. The pump has stopped already and the water runs down. The output is let go,
so that the pump does not start by itself, into whatever has happened, the moment the supply comes
back; the guard brings it back in its own order.
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
from rules.site.sensors import MainsSensor


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every mains-present input; it cuts every pump."""
    for key, sensor in site.sensors.items():
        if isinstance(sensor, MainsSensor):
            yield Row(
                "mains",
                key,
                "the pump's supply is gone",
                0.0,
                Clear.WHEN_CLEAR,
                Effect.CUT_PUMP,
                priority.of("mains"),
                tuple(site.pumps),
            )


def present(row: Row, view: View) -> bool:
    """The supply is not there; an input that cannot be read counts as gone."""
    return not view.wet(row.subject)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    return Saying(
        what="The pump's supply is gone",
        where=view.plan.site.label(row.subject),
        done=cut_words(row, view) + " It is started again by itself when the supply is back.",
        do_now="If it lasts, the animals need air: think of a battery air pump.",
    )


HAZARD = Hazard("mains", rows, present, say)
