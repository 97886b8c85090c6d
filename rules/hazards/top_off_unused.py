"""The top-off has not been asked for water for longer than evaporation allows.

The story: salt has glued the top-off float at the top, and it says wet for good. Day by day the
return chamber goes down and the water grows saltier, until the low float cuts the pump. Or water
comes in that nobody ordered: a valve that weeps, a water change that brings more than it takes;
then the level stands over the float by itself, and the water grows fresher. Either way a day and
the time for one opening in a damp season have passed, and no tank is that tight.

Only time in which the top-off could have opened counts; what forbids it speaks for itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.balance import fresh
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, valve_of
from rules.matrix import Clear, Effect, Row
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for the top-off's float, where the guard drives the valve."""
    plan, floats = fresh.derive(site, figures), site.floats(duty="top-off")
    if valve_of(site) is None or plan is None or not floats:
        return
    yield Row(
        "top-off-unused",
        next(iter(floats)),
        f"no fresh water was asked for in {show.duration(plan.wait_s)}",
        0.0,
        Clear.WHEN_CLEAR,
        Effect.ALARM_ONLY,
        priority.of("top-off-unused"),
    )


def present(_row: Row, view: View) -> bool:
    """It could have opened for so long, and was not asked to."""
    plan = view.plan.fresh
    return plan is not None and view.memory.books.fresh.waited_s >= plan.wait_s - 1e-9


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site, plan = view.plan.site, view.plan.fresh
    assert plan is not None
    assert site.top_off is not None
    name, place = site.label(row.subject), site.label(site.top_off.to)
    return Saying(
        what=f"The {name} has asked for no fresh water in {show.duration(plan.wait_s)}, although "
        "water evaporates",
        where=name,
        done="Nothing was changed; the top-off opens as soon as it is asked to.",
        do_now=f"Look at the level of the {place}. Under the {name}: the float hangs, free it. "
        "Over it: water comes in that nobody ordered. Measure the salinity either way.",
    )


HAZARD = Hazard("top-off-unused", rows, present, say)
