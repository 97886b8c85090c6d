"""What the water's bookkeeping would see of this site, and what it cannot."""

from __future__ import annotations

from collections.abc import Iterator

from rules.assessment.coverage import Coverage
from rules.balance import fresh, tracked
from rules.balance.fresh import DAY_S, FreshPlan
from rules.figures import Figures
from rules.hazards.base import valve_of
from rules.site import show
from rules.site.model import Site
from rules.site.passages import Screen
from rules.site.sensors import FlowMeter

WITHIN_S = (3600.0, DAY_S, 7 * DAY_S)
"""How small a leak is seen is told for these times [s]."""


def coverage(site: Site, figures: Figures) -> Iterator[Coverage]:
    """The failures that only a balance tells of."""
    yield _leak(site, figures)
    yield from _pumps(site)
    yield from _screens(site, figures)


def _pumps(site: Site) -> Iterator[Coverage]:
    """A slow decline needs a meter, for no float turns by it."""
    for pump in site.pumps:
        meters = tuple(
            key
            for key, sensor in site.sensors.items()
            if isinstance(sensor, FlowMeter)
            and (sensor.on == pump or sensor.on in site.branches(pump))
            and tracked.tells_of_pump(site, key)
        )
        told_at = 1.0 - tracked.SPARE * (1.0 - tracked.WEAK_SHARE)
        note = f"an hour under {told_at:.0%} of its normal flow" if meters else "no meter"
        yield Coverage(f"{site.label(pump)} wears or grows over", meters, note)


def _screens(site: Site, figures: Figures) -> Iterator[Coverage]:
    tracking = {its.id for its in tracked.plans(site, figures) if its.rises}
    for key, screen in site.gravity().items():
        if isinstance(screen, Screen):
            levels = tuple(k for k in site.levels(screen.from_) if k in tracking)
            place = site.label(screen.from_)
            yield Coverage(
                f"{site.label(key)} clogs slowly",
                levels,
                f"half way to {show.length(tracked.limit_m(site, screen.from_), site.site.units)}"
                if levels
                else f"a level sensor in the {place} would tell days before",
            )


def _leak(site: Site, figures: Figures) -> Coverage:
    failure, plan = "water leaves where no pad lies", fresh.derive(site, figures)
    floats = tuple(site.floats(duty="top-off"))
    if plan is None or valve_of(site) is None or not floats:
        return Coverage(failure, (), "no top-off tells by how much fresh water it needs")
    hour, day, week = (
        show.volume(within_s * least_leak_m3_s(site, plan, within_s), site.site.units)
        for within_s in WITHIN_S
    )
    note = (
        f"by the fresh water it takes: {hour} in an hour, {day} in a day, {week} in a week; less "
        "is hidden by the weather"
    )
    return Coverage(failure, floats, note)


def least_leak_m3_s(site: Site, plan: FreshPlan, within_s: float) -> float:
    """The smallest steady leak that is told within a time, with the air as damp as it gets
    [m3/s]."""
    assert site.top_off is not None
    usual = fresh.DAMP_SHARE * plan.day_s / DAY_S
    open_share = min(its.room_s / within_s + its.passes for its in (plan.quick, plan.slow))
    return (open_share - usual) * site.top_off.rate
