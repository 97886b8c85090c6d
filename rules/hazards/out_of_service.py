"""Something is out of service, and has been for a day or longer.

The story: a float was broken, and somebody took it out of service until the new one came. It came,
and lies in a drawer. Nobody remembers that the last eye on that water is shut, and everything looks
well, for what is out raises no alarm. So the guard asks, every day anew: is it still to be so?
"""

from __future__ import annotations

from collections.abc import Iterator

from rules import service
from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.signals import Priority, Saying
from rules.site import show
from rules.site.model import Site

SUBJECT = "service"


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for the site."""
    if site.sensors:
        yield Row(
            "out-of-service",
            SUBJECT,
            f"something has been out of service for {show.duration(service.DAY_S)}; told every day",
            0.0,
            Clear.WHEN_CLEAR,
            Effect.ALARM_ONLY,
            priority.of("out-of-service"),
        )


def present(_row: Row, view: View) -> bool:
    """Out for a day or longer."""
    return bool(view.memory.out) and service.days(view.memory.out, view.t_s) > 0


def stage(_row: Row, view: View) -> tuple[int, Priority]:
    """For how many days; it is told anew with each."""
    return service.days(view.memory.out, view.t_s), priority.of("out-of-service")


def say(_row: Row, view: View) -> Saying:
    """What a person reads."""
    site, out = view.plan.site, view.memory.out
    names = " and ".join(site.label(one.id) for one in out)
    longest = show.duration(max(view.t_s - one.since_s for one in out))
    return Saying(
        what=f"Out of service for {longest}: {names}",
        where=names,
        done=service.lost_words(view.plan, [one.id for one in out]),
        do_now="Mend it and put it back, at the guard: weirkeeper service in "
        f"{out[0].id}. Until then look at that water yourself.",
    )


HAZARD = Hazard("out-of-service", rows, present, say, stage=stage)
