"""What still comes after a cut while a way stays blocked, and whether it fits.

A blocked way makes a bucket of the chamber before it. The guard cuts the pump, and all that stands
too high above runs down into that bucket: hardly less than what a stop sends down on a good day,
into a part of the room. Whether it fits was decided by who hung the float.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rules.figures import LEVEL_TOLERANCE_M
from rules.site.model import Site
from rules.site.passages import SiphonDrain
from rules.transient.scenario import Course, WhatIf
from rules.transient.stepper import Stepper

SETTLES_S = 3600.0
"""How long the drain-down is followed after a cut [s]; on a usual site all rests in a quarter."""


@dataclass(frozen=True, slots=True)
class AfterCut:
    """What follows the turn of one sensor: `comes_m3` still come to the chambers before the blocked
    way, and `spilled_m3` of all water leave a tank [m3]."""

    comes_m3: float
    spilled_m3: float


def held_up(site: Site, below: tuple[str, ...], chamber: str) -> tuple[str, ...]:
    """The chambers whose water finds no way on once all ways out of `chamber` are blocked.

    Below the drains (`below`) that is all that leads into it; a chamber above stands alone.
    """
    found = [chamber]
    for here in found if chamber in below else ():
        for passage in site.gravity().values():
            if passage.to == here and passage.from_ in below and passage.from_ not in found:
                found.append(passage.from_)
    return tuple(found)


def full_m(site: Site, chambers: tuple[str, ...]) -> float:
    """How high all of some chambers may stand together [m above the datum]."""
    return min(site.chambers[key].rim_m for key in chambers) - LEVEL_TOLERANCE_M


def after_cut(
    stepper: Stepper,
    what: WhatIf,
    pumps: tuple[str, ...],
    behind: tuple[str, ...],
    *,
    turns_s: float,
    takes_s: float,
) -> AfterCut:
    """Cut `pumps` `takes_s` after a sensor has turned at `turns_s`, and let all run down.

    `behind` are the chambers before the blocked way. What stands in the siphons that end in them
    comes down too; it is counted whole, as for any stop.
    """
    site, ends_s = stepper.site, turns_s + takes_s
    stopped = replace(
        what,
        pumps_on=dict.fromkeys(pumps, False),
        run_on_s=ends_s,
        horizon_s=ends_s + SETTLES_S,
    )
    course = stepper.run(stopped)
    pipes = sum(
        passage.pipe.area_m2 * passage.length
        for passage in site.gravity().values()
        if isinstance(passage, SiphonDrain) and passage.to in behind
    )
    # what stands over a rim for a while is spilled in the end: it must not count twice
    ends = _holds_m3(site, behind, course.levels_m) + sum(course.spilled_m3[k] for k in behind)
    comes = ends - _holds_m3(site, behind, _levels_at(course, turns_s)) + pipes
    rim_m = full_m(site, behind) + LEVEL_TOLERANCE_M
    left = sum(
        site.chambers[key].between_m3(min(course.levels_m[key], rim_m), rim_m) for key in behind
    )
    return AfterCut(comes, sum(course.spilled_m3.values()) + max(0.0, pipes - left))


def _holds_m3(site: Site, chambers: tuple[str, ...], levels_m: Mapping[str, float]) -> float:
    return sum(
        site.chambers[key].volume_m3(levels_m[key] - site.chambers[key].bottom) for key in chambers
    )


def _levels_at(course: Course, at_s: float) -> dict[str, float]:
    """The levels of a course at one time, in a straight line between two samples."""
    before = course.samples[0]
    for after in course.samples:
        if after[0] >= at_s:
            share = (at_s - before[0]) / (after[0] - before[0]) if after[0] > before[0] else 1.0
            return {k: v + share * (after[1][k] - v) for k, v in before[1].items()}
        before = after
    return before[1]


__all__ = ["AfterCut", "after_cut", "full_m", "held_up"]
