"""What each failure does in time, and which sensor sees it before water leaves a tank.

Every failure is run through `rules.transient` twice: as expected, and at the unfavourable end of
the doubt (more flow, less drain capacity). What a sensor sees is read off the levels: a float sees
a failure if the water crosses it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from math import inf

from rules.assessment.doubt import Doubt, is_tuned
from rules.figures import Figures
from rules.response import RESERVE, response_s
from rules.site.model import Site
from rules.site.passages import Comb, Screen, Weir
from rules.site.sensors import FloatSwitch
from rules.transient.scenario import Course, WhatIf
from rules.transient.stepper import Stepper


class Sort(StrEnum):
    """What kind of failure it is; the verdict weighs them differently."""

    ONE_DRAIN = "one drain blocked"
    TWO_DRAINS = "two drains blocked"
    ALL_DRAINS = "all drains blocked"
    WAY_IN = "way in blocked"
    SCREEN = "screen clogged"
    TOP_OFF = "top-off stuck open"


@dataclass(frozen=True, slots=True)
class Failure:
    """One failure of the plumbing.

    `chamber` is where it is felt, `pump` the pump whose water is concerned, `what` what is changed
    in the stepper.
    """

    sort: Sort
    title: str
    chamber: str
    pump: str
    what: WhatIf


@dataclass(frozen=True, slots=True)
class Seen:
    """A sensor that sees a failure: after how long [s], whether it cuts the pump, and how much
    time is left after the guard's response, with its reserve [s]; below zero is too late."""

    sensor: str
    after_s: float
    cuts: bool
    spare_s: float


@dataclass(frozen=True, slots=True)
class Result:
    """What a failure does: as expected, and at the unfavourable end of the doubt.

    `seen` are the sensors that see it as expected, `seen_at_worst` at the unfavourable end, each
    earliest first.
    """

    failure: Failure
    expected: Course
    worst: Course
    seen: tuple[Seen, ...]
    seen_at_worst: tuple[Seen, ...]

    @property
    def carried(self) -> bool:
        """True if no water ever leaves a tank, even at the unfavourable end."""
        return self.worst.first_spill_s == inf

    @property
    def held(self) -> bool:
        """True if a sensor that cuts the pump sees it in time."""
        return any(seen.cuts and seen.spare_s >= 0.0 for seen in self.seen_at_worst)


@dataclass(frozen=True, slots=True)
class LevelSight:
    """A level sensor that tells of the drains: the level over the datum from which it surely does
    [m], the time it takes to [s], and whether the pump is then cut."""

    sensor: str
    chamber: str
    level_m: float
    takes_s: float
    cuts: bool


def failures(site: Site, figures: Figures) -> Iterator[Failure]:
    """Every failure of the plumbing that is run."""
    for drained in figures.drained:
        if drained.inflow_m3_s <= 0:
            continue
        drains = tuple(drained.capacity_m3_s)
        place, label = drained.chamber, site.label
        for key in drains:
            what = WhatIf(condition={key: 0.0})
            yield Failure(Sort.ONE_DRAIN, f"{label(key)} blocked", place, drained.pump, what)
        for pair in combinations(drains, 2) if len(drains) > 2 else ():
            what = WhatIf(condition=dict.fromkeys(pair, 0.0))
            title = f"{label(pair[0])} and {label(pair[1])} blocked"
            yield Failure(Sort.TWO_DRAINS, title, place, drained.pump, what)
        if len(drains) > 1:
            what = WhatIf(condition=dict.fromkeys(drains, 0.0))
            title = f"every drain of the {label(place)} blocked"
            yield Failure(Sort.ALL_DRAINS, title, place, drained.pump, what)
    yield from _ways_in(site, figures)
    yield from _screens(site, figures)
    if site.top_off is not None:
        pump = next(
            (k for k, p in site.pumps.items() if p.from_ == site.top_off.to), next(iter(site.pumps))
        )
        # long enough for the whole reservoir to run in
        lasts = figures.reservoir_m3 / site.top_off.rate if site.top_off.rate > 0 else 0.0
        what = WhatIf(top_off_m3_s=site.top_off.rate, horizon_s=lasts * 1.1 + 600.0)
        yield Failure(Sort.TOP_OFF, "top-off stuck open", site.top_off.to, pump, what)


def _ways_in(site: Site, figures: Figures) -> Iterator[Failure]:
    for drained in figures.drained:
        for key, passage in site.gravity().items():
            if isinstance(passage, (Weir, Comb)) and passage.to == drained.chamber:
                title = f"{site.label(key)} blocked"
                what = WhatIf(condition={key: 0.0})
                yield Failure(Sort.WAY_IN, title, passage.from_, drained.pump, what)


def _screens(site: Site, figures: Figures) -> Iterator[Failure]:
    for lift in figures.lifts:
        for key, passage in site.gravity().items():
            if isinstance(passage, Screen) and passage.from_ in lift.below:
                title = f"{site.label(key)} clogged"
                what = WhatIf(condition={key: 0.0})
                yield Failure(Sort.SCREEN, title, passage.from_, lift.pump, what)


def run(
    site: Site,
    figures: Figures,
    doubt: Doubt,
    stepper: Stepper,
    *,
    cuts: frozenset[str],
    sights: tuple[LevelSight, ...] = (),
) -> tuple[Result, ...]:
    """Run every failure; `cuts` are the floats whose turning cuts a pump, `sights` what level
    sensors see."""
    results = []
    for failure in failures(site, figures):
        expected = stepper.run(failure.what)
        worst = stepper.run(_at_worst(site, doubt, failure))
        seen, at_worst = (
            tuple(
                sorted(
                    (
                        *_seen(site, failure, course, cuts),
                        *_seen_by_levels(site, failure, course, sights),
                    ),
                    key=lambda one: one.after_s,
                )
            )
            for course in (expected, worst)
        )
        results.append(Result(failure, expected, worst, seen, at_worst))
    return tuple(results)


def _at_worst(site: Site, doubt: Doubt, failure: Failure) -> WhatIf:
    """The same failure with more flow and less drain capacity, each as far as it may be off.

    A tuned siphon was set against the very flow that runs: with more flow it carries more.
    """
    flow = doubt.of_pump(failure.pump).flow
    more = flow.high / flow.value if flow.value > 0 else 1.0
    condition = {}
    for drained in doubt.drained:
        for key, band in drained.capacity.items():
            less = band.low / band.value if band.value > 0 else 1.0
            condition[key] = less * (more if is_tuned(site, key) else 1.0)
    for key, share in failure.what.condition.items():
        condition[key] = condition.get(key, 1.0) * share
    return WhatIf(
        condition=condition,
        pump_factor=more,
        top_off_m3_s=failure.what.top_off_m3_s,
        horizon_s=failure.what.horizon_s,
    )


def _ends_s(course: Course) -> float:
    """When water leaves a tank or a pump draws air [s]."""
    return min(course.first_spill_s, min(course.dry_s.values(), default=inf))


def _seen(site: Site, failure: Failure, course: Course, cuts: frozenset[str]) -> Iterator[Seen]:
    run_on_s = site.pumps[failure.pump].run_on
    for key, sensor in site.floats().items():
        crossed_s = crossing_s(site, sensor, course)
        if crossed_s < inf:
            needs_s = RESERVE * response_s(sensor.filter, run_on_s)
            yield Seen(key, crossed_s, key in cuts, _ends_s(course) - crossed_s - needs_s)


def _seen_by_levels(
    site: Site, failure: Failure, course: Course, sights: tuple[LevelSight, ...]
) -> Iterator[Seen]:
    run_on_s = site.pumps[failure.pump].run_on
    for sight in sights:
        crossed_s = _crossing_s(sight.chamber, sight.level_m, course)
        if crossed_s < inf:
            after_s = crossed_s + sight.takes_s  # until then it does not count
            spare_s = _ends_s(course) - after_s - RESERVE * response_s(0.0, run_on_s)
            yield Seen(sight.sensor, after_s, sight.cuts, spare_s)


def crossing_s(site: Site, sensor: FloatSwitch, course: Course) -> float:
    """When the water first crosses a float in a course [s]; infinite if it never does.

    A low float is crossed downwards, any other upwards. A top-off float tells nothing.
    """
    if sensor.duty == "top-off":
        return inf
    level = site.chambers[sensor.chamber].above_datum_m(sensor.height)
    return _crossing_s(sensor.chamber, level, course, falling=sensor.duty == "dry-run")


def _crossing_s(chamber: str, level: float, course: Course, *, falling: bool = False) -> float:
    before: tuple[float, float] | None = None
    for t_s, levels in course.samples:
        now = levels[chamber]
        if now <= level if falling else now >= level:
            if before is None or now == before[1]:
                return t_s
            share = (level - before[1]) / (now - before[1])
            return before[0] + share * (t_s - before[0])
        before = (t_s, now)
    return inf
