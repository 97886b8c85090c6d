"""The chamber that the pump draws from is nearly empty.

The story: a sponge has clogged, or water leaves the circuit, or it stays above because drains are
blocked; the pump would draw air within a minute. It is cut; what stood above runs down and covers
the float again, so the level coming back proves nothing, and a restart would only carry the next
load to wherever the water goes: a person must look.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, cut_words
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site
from rules.site.sensors import FloatSwitch


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every dry-run float in a chamber that a pump draws from."""
    reservoir = site.top_off.reservoir if site.top_off is not None else None
    for key, sensor in site.floats(duty="dry-run").items():
        if sensor.chamber == reservoir:
            continue  # no pump draws from it; `reservoir_low` speaks
        pumps = tuple(k for k, pump in site.pumps.items() if pump.from_ == sensor.chamber)
        yield Row(
            "dry-run",
            key,
            f"{site.label(sensor.chamber)} is under {show.length(sensor.height, site.site.units)}",
            0.0,
            Clear.ON_RESET,
            Effect.CUT_PUMP,
            priority.of("dry-run"),
            pumps,
        )


def present(row: Row, view: View) -> bool:
    """The low float is dry, and its vote says so too; one that cannot be read counts as dry."""
    return view.asks(row.subject)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    sensor = view.plan.site.sensors[row.subject]
    assert isinstance(sensor, FloatSwitch)
    place = view.plan.site.label(sensor.chamber)
    return Saying(
        what=f"The {place} is nearly empty; the pump would draw air",
        where=view.plan.site.label(row.subject),
        done=cut_words(row, view),
        do_now="Look where the water went: a clogged sponge, a blocked drain above, or the floor.",
    )


HAZARD = Hazard("dry-run", rows, present, say)
