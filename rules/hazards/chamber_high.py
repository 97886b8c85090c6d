"""A chamber below the drains stands high.

Two stories, and the same cut would be right in one and wrong in the other.

The pump's own chamber is high: the top-off stuck open, or somebody poured water in. The pump
takes water out of it; a stop would send the drain-down on top. So the pump runs on, the top-off
is shut, and a person is called.

A chamber before it is high while the pump's own is not: something between the two is blocked, and
all that the pump lifts arrives here. Cut, only the drain-down still comes.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, below_the_drains, cut_words, pumps_that_feed
from rules.judging.doubts import lower_and_dry
from rules.matrix import Clear, Effect, Row
from rules.signals import Quality, Saying
from rules.site import show
from rules.site.model import Site
from rules.site.sensors import FloatSwitch


def _drawing(site: Site, chamber: str) -> tuple[str, ...]:
    return tuple(key for key, pump in site.pumps.items() if pump.from_ == chamber)


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every spill-edge float below the drains."""
    for key, sensor in site.floats(duty="spill-edge").items():
        if below_the_drains(site, sensor.chamber):
            own = bool(_drawing(site, sensor.chamber))
            yield Row(
                "chamber-high",
                key,
                f"{site.label(sensor.chamber)} stands at "
                f"{show.length(sensor.height, site.site.units)}, its spill edge",
                0.0,
                Clear.WHEN_CLEAR if own else Clear.ON_RESET,
                Effect.INHIBIT_TOP_OFF if own else Effect.CUT_PUMP,
                priority.of("chamber-high"),
                () if own else pumps_that_feed(site, sensor.chamber),
            )


def present(row: Row, view: View) -> bool:
    """The float is wet, and its vote says so too; before the pump's own chamber, only while that
    one is not high as well.

    A float of the pump's own chamber that cannot be read must not disarm this one.
    """
    if not view.asks(row.subject):
        return False
    site = view.plan.site
    return not any(
        _truly_high(key, view)
        for pump in row.pumps
        for key in site.floats(site.pumps[pump].from_, "spill-edge")
    )


def _truly_high(key: str, view: View) -> bool:
    """A high float that is wet, can be read, and that no lower float contradicts.

    A cut cable reads wet as well; it must not disarm the cut of a blocked chamber before it.
    """
    believed = view.reading(key).quality is not Quality.BAD and lower_and_dry(key, view) is None
    return view.asks(key) and believed


def _ran_back(view: View, chamber: str) -> bool:
    """True while a pump that draws from a chamber stands, and more has run back than should."""
    return any(
        state.plugged and not state.on and view.plan.site.pumps[pump.id].from_ == chamber
        for pump, state in zip(view.plan.pumps, view.memory.pumps, strict=True)
    )


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site = view.plan.site
    sensor = site.sensors[row.subject]
    assert isinstance(sensor, FloatSwitch)
    place = site.label(sensor.chamber)
    if row.effect is Effect.CUT_PUMP:
        return Saying(
            what=f"The {place} stands at its spill edge: what follows it does not let water pass",
            where=site.label(row.subject),
            done=cut_words(row, view),
            do_now=f"Rinse or free what lies after the {place}, then reset at the guard.",
        )
    if _ran_back(view, sensor.chamber):
        return Saying(
            what=f"The {place} stands at its spill edge: more ran down than should, past a plugged "
            "siphon break",
            where=site.label(row.subject),
            done="The top-off is shut.",
            do_now="The pump brings this water up again when it starts. Clean the siphon break.",
        )
    return Saying(
        what=f"The {place} stands at its spill edge: water was added",
        where=site.label(row.subject),
        done="The top-off is shut. The pump runs on: a stop would send more water down here.",
        do_now="Shut the top-off's water by hand and take water out. Do not stop the pump first.",
    )


HAZARD = Hazard("chamber-high", rows, present, say)
