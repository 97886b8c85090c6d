"""What each failure does in time, and which sensor sees it before water leaves a tank.

Every failure is run through `rules.transient` twice: as expected, and at the unfavourable end of
the doubt (more flow, less drain capacity). What a sensor sees is read off the levels: a float sees
a failure if the water crosses it. Where a way is blocked that water still runs down to after a cut,
the cut is run too: a float is in time only if what then comes fits.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from math import inf

from rules import voting
from rules.assessment.cutting import AfterCut, after_cut, held_up
from rules.assessment.doubt import Doubt, is_tuned
from rules.figures import Figures, feeding_pump
from rules.response import FILTER_S, RESERVE, response_s
from rules.site.model import Site
from rules.site.passages import Comb, EmergencyDrain, OpenDrain, Screen, SiphonDrain, Weir
from rules.site.sensors import FloatSwitch
from rules.transient.scenario import Course, WhatIf
from rules.transient.stepper import Stepper

SPILL_M3 = 1e-4
"""Less than this over a rim in a scenario is rounding, not a spill: a tenth of a litre."""


class Sort(StrEnum):
    """What kind of failure it is; the verdict weighs them differently."""

    ONE_DRAIN = "one drain blocked"
    TWO_DRAINS = "two drains blocked"
    ALL_DRAINS = "all drains blocked"
    WAY_IN = "way in blocked"
    SCREEN = "screen clogged"
    WAY_ON = "way on blocked"
    TOP_OFF = "top-off stuck open"


WAYS = frozenset({Sort.WAY_IN, Sort.SCREEN, Sort.WAY_ON})
"""The failures after which a cut is run too: water may still run down to before the blocked way."""


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
    time is left after the guard's response, with its reserve [s]; below zero is too late. Where a
    cut was run, `after` says what still came and what left a tank."""

    sensor: str
    after_s: float
    cuts: bool
    spare_s: float
    after: AfterCut | None = None

    @property
    def spilled_m3(self) -> float:
        """What leaves a tank although this sensor cuts the pump [m3]."""
        return 0.0 if self.after is None else self.after.spilled_m3

    @property
    def in_time(self) -> bool:
        """True if it cuts the pump, and no water leaves a tank before or after."""
        return self.cuts and self.spare_s >= 0.0 and self.spilled_m3 <= SPILL_M3


@dataclass(frozen=True, slots=True)
class Result:
    """What a failure does: as expected, and at the unfavourable end of the doubt.

    `seen` are the sensors that see it as expected, `seen_at_worst` at the unfavourable end, each
    earliest first. `behind` are the chambers before a blocked way, where a cut was to be run, and
    `comes_m3` what still comes to them at worst once a float has turned [m3].
    """

    failure: Failure
    expected: Course
    worst: Course
    seen: tuple[Seen, ...]
    seen_at_worst: tuple[Seen, ...]
    behind: tuple[str, ...] = ()
    comes_m3: float = 0.0

    @property
    def carried(self) -> bool:
        """True if no water ever leaves a tank, even at the unfavourable end, cut or not."""
        cuts = (*self.seen, *self.seen_at_worst)
        return self.worst.first_spill_s == inf and all(s.spilled_m3 <= SPILL_M3 for s in cuts)

    @property
    def held(self) -> bool:
        """True if a sensor that cuts the pump sees it in time, as expected and at worst."""
        expected = {seen.sensor: seen.spilled_m3 for seen in self.seen}
        return any(
            seen.in_time and expected.get(seen.sensor, 0.0) <= SPILL_M3
            for seen in self.seen_at_worst
        )


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
    yield from _ways_on(site)
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


def _ways_on(site: Site) -> Iterator[Failure]:
    """Every other way that gravity leads on, each by itself, and a screen with its overflow."""
    drains = (SiphonDrain, OpenDrain, EmergencyDrain)
    edges = {key: way for key, way in site.gravity().items() if not isinstance(way, drains)}
    drained = site.drained_chambers()
    for key, way in edges.items():
        pump = feeding_pump(site, way.from_)
        if not pump or (isinstance(way, (Weir, Comb)) and way.to in drained):
            continue
        if not isinstance(way, Screen):
            what = WhatIf(condition={key: 0.0})
            yield Failure(Sort.WAY_ON, f"{site.label(key)} blocked", way.from_, pump, what)
            continue
        beside = [k for k, other in edges.items() if other.from_ == way.from_]
        if len(beside) > 1:
            what = WhatIf(condition=dict.fromkeys(beside, 0.0))
            title = f"{site.label(key)} and its overflow blocked"
            yield Failure(Sort.WAY_ON, title, way.from_, pump, what)


def run(
    site: Site,
    figures: Figures,
    doubt: Doubt,
    stepper: Stepper,
    *,
    cuts: Mapping[str, tuple[str, ...]],
    sights: tuple[LevelSight, ...] = (),
    sorts: frozenset[Sort] = frozenset(Sort),
) -> tuple[Result, ...]:
    """Run every failure of some sorts; `cuts` are the floats whose turning cuts pumps, and which,
    `sights` what level sensors see."""
    runner = _Runner(figures, doubt, stepper, cuts, sights)
    return tuple(runner.run(f) for f in failures(site, figures) if f.sort in sorts)


@dataclass(frozen=True, slots=True)
class _Runner:
    """All that failures are run with."""

    figures: Figures
    doubt: Doubt
    stepper: Stepper
    cuts: Mapping[str, tuple[str, ...]]
    sights: tuple[LevelSight, ...]

    def run(self, failure: Failure) -> Result:
        """Run one failure at both ends, and the cut of every sensor that sees it and cuts."""
        site, behind = self.stepper.site, _behind(self.stepper.site, self.figures, failure)
        at_worst = _at_worst(site, self.doubt, failure)
        courses, seen = [], []
        for what, times in ((failure.what, 1.0), (at_worst, RESERVE)):
            course = self.stepper.run(what)
            found = [
                *_seen(site, failure, course, self.cuts),
                *_seen_by_levels(site, failure, course, self.sights),
            ]
            if behind:
                found = [self._cut(failure, what, behind, one, times=times) for one in found]
            courses.append(course)
            seen.append(tuple(sorted(found, key=lambda one: one.after_s)))
        known = [one.after.comes_m3 for one in seen[1] if one.after is not None]
        comes = known[0] if known else self._comes_m3(failure, at_worst, behind, courses[1])
        return Result(failure, courses[0], courses[1], seen[0], seen[1], behind, comes)

    def _cut(
        self, failure: Failure, what: WhatIf, behind: tuple[str, ...], seen: Seen, *, times: float
    ) -> Seen:
        """The same sight, with what its cut does, if it cuts."""
        if not seen.cuts:
            return seen
        site, pumps = self.stepper.site, self.cuts.get(seen.sensor, (failure.pump,))
        floats = site.floats()
        filter_s = floats[seen.sensor].filter if seen.sensor in floats else 0.0
        takes_s = times * response_s(filter_s, max(site.pumps[pump].run_on for pump in pumps))
        after = after_cut(self.stepper, what, pumps, behind, turns_s=seen.after_s, takes_s=takes_s)
        return replace(seen, after=after)

    def _comes_m3(
        self, failure: Failure, what: WhatIf, behind: tuple[str, ...], course: Course
    ) -> float:
        """What would still come once a float has turned, where none hangs that cuts [m3]."""
        ends_s = _ends_s(course)
        if not behind or ends_s == inf:
            return 0.0
        pumps = (failure.pump,)
        takes_s = RESERVE * response_s(FILTER_S, self.stepper.site.pumps[failure.pump].run_on)
        turns_s = max(0.0, ends_s - takes_s)
        cut = after_cut(self.stepper, what, pumps, behind, turns_s=turns_s, takes_s=takes_s)
        return cut.comes_m3


def _behind(site: Site, figures: Figures, failure: Failure) -> tuple[str, ...]:
    """The chambers before a blocked way to which water still runs down after a cut, if any.

    Before a blocked drain nothing does but what stands over the comb beside it, which both share.
    """
    if failure.sort not in WAYS:
        return ()
    if not any(way.to == failure.chamber for way in site.gravity().values()):
        return ()
    return held_up(site, figures.lift(failure.pump).below, failure.chamber)


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


def _seen(
    site: Site, failure: Failure, course: Course, cuts: Mapping[str, tuple[str, ...]]
) -> Iterator[Seen]:
    run_on_s, votes, floats = site.pumps[failure.pump].run_on, voting.derive(site), site.floats()
    for key, sensor in floats.items():
        # where two of three must ask, any one of them may hang: all must have been reached
        two = key in votes and votes[key].needed > 1
        asked = tuple(floats[k] for k in votes[key].ids) if two else (sensor,)
        crossed_s = max(crossing_s(site, one, course) for one in asked)
        if crossed_s < inf:
            needs_s = RESERVE * response_s(max(one.filter for one in asked), run_on_s)
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
