"""Helpers: the classroom site, and decisions as an engine might hand them over."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from math import inf
from pathlib import Path
from typing import Any

import simulator
from rules.signals import (
    Alarm,
    AlarmState,
    Decision,
    DrainFigures,
    Event,
    EventKind,
    Phase,
    Priority,
    PumpFigures,
    Saying,
)
from rules.site.model import Person, Site
from rules.site.parse import parse_site

WALL = datetime(2026, 3, 1, 3, 12, 45, 250000, tzinfo=UTC)

SAYING = Saying(
    what="Water stands at the spill edge of the display",
    where="high float of the display",
    done="The return pump was cut; the top-off is shut.",
    do_now="Look at the drains that leave the display: clear them, then reset at the guard.",
)


def classroom(**broker: Any) -> Site:
    """The classroom site and a second person, who may do nothing; `broker` keys replace its own."""
    path = Path(simulator.__file__).parent / "sites" / "classroom.toml"
    site = parse_site(path.read_text(), path.name)
    assert site.broker is not None
    people = {**site.people, "guest": Person(name="a guest", may=())}
    return site.model_copy(
        update={"broker": site.broker.model_copy(update=broker), "people": people}
    )


def alarm(**changes: Any) -> Alarm:
    """A raised alarm of high priority."""
    standing = Alarm(
        row="spill-edge.display-high",
        hazard="spill-edge",
        state=AlarmState.UNACK_ALARM,
        priority=Priority.HIGH,
        occurrence=1,
        code="4821",
        since_s=12.3,
        saying=SAYING,
        spill_s=42.0,
    )
    return replace(standing, **changes)


def raised(number: int = 0, priority: Priority = Priority.HIGH, **changes: Any) -> Event:
    """The event that raises an alarm; `number` tells one from another."""
    return Event(
        EventKind.ALARM_RAISED,
        12.3 + number,
        f"subject-{number}",
        "Water stands at the spill edge of the display",
        alarm(priority=priority, occurrence=number + 1, **changes),
    )


def decision(
    site: Site, *events: Event, alarms: tuple[Alarm, ...] = (), flow: float = 0.001, **drain: Any
) -> Decision:
    """A decision with every output on but the sounder, and figures of a good day."""
    first, *others = site.drained_chambers()
    figures = DrainFigures(
        chamber=first,
        return_m3_s=flow,
        capacity_m3_s=0.0023,
        margin=2.3,
        level_least_m=0.150,
        level_most_m=0.205,
        spill_s=inf,
    )
    return Decision(
        outputs=tuple(key != "sounder" for key in site.outputs),
        events=events,
        alarms=alarms,
        drains=(
            replace(figures, **drain),
            *(replace(figures, chamber=key) for key in others),
        ),
        pumps=tuple(PumpFigures(key, Phase.RUNNING, flow, inf) for key in site.pumps),
    )
