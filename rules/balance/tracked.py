"""Which sensors of a site are held against their own normal."""

from __future__ import annotations

from collections.abc import Iterator

from rules.balance.tracks import TrackPlan
from rules.figures import LEVEL_TOLERANCE_M, Figures, downstream
from rules.site.model import Site
from rules.site.passages import Comb, Screen, Weir
from rules.site.sensors import FlowMeter, LevelSensor

LEAST_SHARE, MOST_SHARE = 0.2, 1.4
"""Between these shares of the computed flow a meter is believed: under the first `flow_lost`
speaks, and over the second it counts more than water."""

WEAK_SHARE = 0.7
"""At this share of its normal flow a pump is to be cleaned or replaced; more is stricter."""

LEARNED_SHARE = 0.75
"""No flow under this share of the computed one is learned as normal: a guard that begins on a worn
pump must not take it for a good one. More is stricter; a pump may be off its curve by a tenth, and
a meter out of the box by another."""

LEARNED_WAY = 0.4
"""Nor a level further than this share of the way to the screen's limit; less is stricter."""

SPARE, BACK = 0.5, 0.3
"""It is told of half way there, and no longer at this share of the way; less is stricter."""


def plans(site: Site, figures: Figures) -> tuple[TrackPlan, ...]:
    """Every flow meter, and every level sensor before a screen."""
    return (*_meters(site, figures), *_screens(site, figures))


def _meters(site: Site, figures: Figures) -> Iterator[TrackPlan]:
    for index, (key, sensor) in enumerate(site.sensors.items()):
        if not isinstance(sensor, FlowMeter):
            continue
        place, pump = next(
            (i, p)
            for i, p in enumerate(site.pumps)
            if sensor.on == p or sensor.on in site.branches(p)
        )
        lift = figures.lift(pump)
        usual = lift.flow_m3_s if sensor.on == pump else lift.branches[sensor.on]
        if usual > 0.0:
            least = LEAST_SHARE * usual if tells_of_pump(site, key) else 0.0
            yield TrackPlan(
                index,
                key,
                (place,),
                usual,
                least,
                MOST_SHARE * usual,
                WEAK_SHARE,
                SPARE,
                BACK,
                worst=LEARNED_SHARE * usual,
            )


def tells_of_pump(site: Site, meter: str) -> bool:
    """True for the meter that the pump's flow is told by: the first on it, or on its branches."""
    its = site.sensors[meter]
    assert isinstance(its, FlowMeter)
    pump = next(p for p in site.pumps if its.on == p or its.on in site.branches(p))
    on = {pump, *site.branches(pump)}
    first = next(k for k, s in site.sensors.items() if isinstance(s, FlowMeter) and s.on in on)
    return meter == first


def _screens(site: Site, figures: Figures) -> Iterator[TrackPlan]:
    for index, (key, sensor) in enumerate(site.sensors.items()):
        if not isinstance(sensor, LevelSensor) or sensor.chamber in site.drained_chambers():
            continue
        screen = screen_after(site, sensor.chamber)
        if screen is None:
            continue
        bottom = site.chambers[sensor.chamber].bottom
        usual = figures.running.levels_m[sensor.chamber] - bottom
        limit = limit_m(site, sensor.chamber)
        pumps = tuple(
            i
            for i, pump in enumerate(site.pumps)
            if any(
                sensor.chamber in (branch.to, *downstream(site, (branch.to,)))
                for branch in site.branches(pump).values()
            )
        )
        if limit - usual > 2.0 * sensor.tolerance:
            rim = site.chambers[sensor.chamber].rim
            worst = usual + LEARNED_WAY * (limit - usual)
            yield TrackPlan(
                index, key, pumps, usual, 0.0, rim, limit, SPARE, BACK, worst=worst, rises=True
            )


def screen_after(site: Site, chamber: str) -> str | None:
    """The screen through which water leaves a chamber, where it does."""
    leaves = site.gravity().items()
    return next(
        (key for key, p in leaves if isinstance(p, Screen) and p.from_ == chamber),
        None,
    )


def limit_m(site: Site, chamber: str) -> float:
    """The level at which a screen is of no more use: water takes another way, or a float would
    speak [m above the bottom]."""
    over = [
        p.crest
        for p in site.gravity().values()
        if isinstance(p, (Weir, Comb)) and p.from_ == chamber
    ]
    floats = [sensor.height for sensor in site.floats(chamber, "spill-edge").values()]
    return min([*over, *floats, site.chambers[chamber].rim - LEVEL_TOLERANCE_M])
