"""The pump is on and the meter sees no flow.

Two stories that one meter cannot tell apart: the pump has died, or the meter has. A cut would be
needless in the second, and gains little in the first, since a dead pump moves no water and the
low float guards one that draws air. So it is said, the top-off is shut (a drain-down will need the
room), and the pump stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, in_words
from rules.matrix import Clear, Effect, Row
from rules.plan import PumpPlan
from rules.signals import Phase, Quality, Saying
from rules.site.model import Site
from rules.site.sensors import FlowMeter

LOST_SHARE = 0.2
"""Below this share of the computed flow the flow counts as lost; more is stricter, 0.05 to 0.8."""


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every pump whose flow is metered."""
    metered = {sensor.on for sensor in site.sensors.values() if isinstance(sensor, FlowMeter)}
    for pump in site.pumps:
        if pump in metered or metered & set(site.branches(pump)):
            yield Row(
                "flow-lost",
                pump,
                f"{site.label(pump)} is on and no flow is seen",
                10.0,
                Clear.WHEN_CLEAR,
                Effect.INHIBIT_TOP_OFF,
                priority.of("flow-lost"),
            )


def _plan_of(row: Row, view: View) -> tuple[int, PumpPlan]:
    return next((i, p) for i, p in enumerate(view.plan.pumps) if p.id == row.subject)


def present(row: Row, view: View) -> bool:
    """Running, metered by a meter that can be believed, and hardly any flow."""
    index, pump = _plan_of(row, view)
    if view.memory.pumps[index].phase is not Phase.RUNNING or pump.meter is None:
        return False
    if view.readings[pump.meter].quality is Quality.BAD:
        return False  # no reading is no sign of no flow; the signal's own row speaks
    return view.flows[index] < LOST_SHARE * pump.nominal_m3_s


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    index, pump = _plan_of(row, view)
    return Saying(
        what=f"The {view.plan.site.label(row.subject)} is on, and of "
        f"{in_words(view, pump.nominal_m3_s)} only {in_words(view, view.flows[index])} are seen",
        where=view.plan.site.label(row.subject),
        done="The top-off is shut. The pump is left on: the meter may be at fault.",
        do_now="See whether water reaches the display. If not, the pump has failed: animals can "
        "go without flow for hours, not for a day.",
    )


HAZARD = Hazard("flow-lost", rows, present, say)
