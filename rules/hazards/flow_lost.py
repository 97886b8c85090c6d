"""The pump is on and the meter sees no flow.

Two stories that the meter alone cannot tell apart at one look: the pump has died, or the meter has.
A cut would be needless in the second, and gains little in the first, since a dead pump moves no
water and the low float guards one that draws air. So it is said, with what the other signals and
the last minute tell of which it is (`rules/judging/meters.py`); the top-off is shut (a drain-down
will need the room), and the pump stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, in_words
from rules.judging import meters
from rules.judging.meters import Lost
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
    assert pump.meter is not None
    site = view.plan.site
    meter = site.label(list(site.sensors)[pump.meter])
    why, done, do_now = _told(meters.lost(index, view), meter)
    return Saying(
        what=f"The {site.label(row.subject)} is on, and of {in_words(view, pump.nominal_m3_s)} "
        f"only {in_words(view, view.flows[index])} are seen{why}",
        where=site.label(row.subject),
        done=f"The top-off is shut. The pump is left on: {done}.",
        do_now=do_now,
    )


def _told(lost: Lost | None, meter: str) -> tuple[str, str, str]:
    """Which of the two it is, what that means for the pump, and what to do now."""
    look = "See whether water reaches the display. If not, the pump has failed: animals can go "
    look += "without flow for hours, not for a day."
    match lost:
        case Lost.PUMP:
            return (
                f": the pump has stopped, for the {meter} still counted what ran down",
                "it moves no water, and may start again",
                "Look whether its plug is in, then free its rotor. Animals can go without flow for "
                "hours, not for a day: stir the surface, or hang in another pump.",
            )
        case Lost.METER:
            return (
                f": the {meter} is at fault, for the water stands as it does while the pump runs",
                "it runs",
                f"Free the wheel of the {meter}, and look at its cable.",
            )
        case Lost.SUDDENLY:
            return (
                f" from one moment to the next: most likely the {meter} is at fault, for nothing "
                "ran back through it as when a pump stops; or its pipe has been shut",
                "the meter may be at fault",
                f"{look} If it does, free the wheel of the {meter}.",
            )
    return "", "the meter may be at fault", look


HAZARD = Hazard("flow-lost", rows, present, say)
