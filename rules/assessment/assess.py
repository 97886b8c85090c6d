"""Everything `check` computes before the first night, in one place."""

from __future__ import annotations

from dataclasses import dataclass

from rules.assessment import failures, fouling, heights, sight, unprimed
from rules.assessment.coverage import Coverage
from rules.assessment.doubt import Doubt, doubt, flow_doubt
from rules.assessment.failures import LevelSight, Result
from rules.assessment.fouling import Fouling
from rules.assessment.heights import Place
from rules.assessment.own_high import Bounds, bounds
from rules.assessment.upkeep import Upkeep, upkeep
from rules.figures import pipes_m3
from rules.hazards.drain_capacity import mark_cuts
from rules.hydraulics.network import Hydraulics
from rules.levels import HOLD_S
from rules.marks import STEP_M
from rules.matrix import Effect
from rules.plan import Plan
from rules.transient.scenario import Course, WhatIf
from rules.transient.stepper import Stepper

STOP_HORIZON_S = 3600.0


@dataclass(frozen=True, slots=True)
class Stop:
    """What a stop of one pump does, with its siphon breaks open, and with all of them plugged.

    Courses at the unfavourable end of the doubt; `down_m3` is what runs down in each [m3].
    """

    pump: str
    open_breaks: Course
    plugged_breaks: Course
    down_m3: float
    plugged_m3: float


@dataclass(frozen=True, slots=True)
class Assessment:
    """The assessment of a site; see each part's own module."""

    doubt: Doubt
    results: tuple[Result, ...]
    stops: tuple[Stop, ...]
    places: tuple[Place, ...]
    upkeep: Upkeep
    coverage: tuple[Coverage, ...]
    fouling: tuple[Fouling, ...]


def cutting_floats(plan: Plan) -> dict[str, tuple[str, ...]]:
    """The floats whose turning cuts pumps that the guard has a relay for, and those pumps."""
    found: dict[str, tuple[str, ...]] = {}
    for row in plan.rows:
        powered = tuple(pump for pump in row.pumps if plan.site.pump_output(pump))
        if row.effect is Effect.CUT_PUMP and powered and row.subject in plan.site.floats():
            found[row.subject] = powered
    for drain in plan.drains:
        pump = plan.pumps[drain.pump]
        if pump.output is not None:
            its = (
                w.contact.id
                for w in drain.watches
                if mark_cuts(drain, w.mark) and not drain.witnesses.above(w.mark.height_m)
            )
            found |= dict.fromkeys(its, (pump.id,))
    return found


def level_sights(plan: Plan) -> tuple[LevelSight, ...]:
    """From which level each level sensor surely tells of its drains, where it does at all.

    It may read its tolerance too low, is then taken as low again, and counts by steps. Where it is
    a witness itself, it cuts from the level on up to which it is believed.
    """
    found = []
    for drain in plan.drains:
        limits = dict(drain.witnesses.levels)
        for place in drain.levels:
            level = plan.levels[place]
            marks = level.marks.marks
            cutting = next((mark for mark in marks if mark_cuts(drain, mark)), None)
            mark = cutting or next(iter(marks), None)
            if mark is not None:
                sensor = plan.site.levels()[level.id]
                height = max(mark.height_m + 2 * level.tolerance_m + STEP_M, limits.get(place, 0.0))
                cuts = cutting is not None and plan.pumps[drain.pump].output is not None
                found.append(
                    LevelSight(
                        level.id,
                        drain.chamber,
                        plan.site.chambers[drain.chamber].above_datum_m(height),
                        HOLD_S + sensor.filter,
                        cuts,
                    )
                )
    return tuple(found)


def assess(plan: Plan) -> Assessment:
    """Assess a site by its plan; raises HydraulicsError with a sentence where it cannot."""
    site, figures = plan.site, plan.figures
    mean = Hydraulics(site, bore="mean")
    bands = doubt(site, figures, mean)
    stepper = Stepper(site, mean, figures.running)
    results = failures.run(
        site, figures, bands, stepper, cuts=cutting_floats(plan), sights=level_sights(plan)
    )
    off = max((flow_doubt(site, mean, pump) for pump in site.pumps), default=0.0)
    parts = fouling.fouling(plan)
    stops = tuple(stop_of(plan, stepper, pump) for pump in site.pumps)
    return Assessment(
        bands,
        results,
        stops,
        heights.places(site, figures, bands, results, own_highs(plan, mean, bands, stops)),
        upkeep(site, figures, off),
        (
            *sight.coverage(site, figures, results),
            *unprimed.coverage(site, figures, mean),
            *fouling.coverage(plan, parts),
        ),
        parts,
    )


def own_highs(
    plan: Plan, mean: Hydraulics, bands: Doubt, stops: tuple[Stop, ...]
) -> dict[str, Bounds]:
    """The bounds of each pump's own high float."""
    cuts = cutting_floats(plan)
    return {
        stop.pump: bounds(
            mean,
            plan.figures,
            stop.pump,
            stop.open_breaks,
            bands.of_pump(stop.pump).drain_down.high,
            cuts=cuts,
        )
        for stop in stops
    }


def stop_of(plan: Plan, stepper: Stepper, pump: str) -> Stop:
    """A stop with its run-on; the levels of the good day are the expected ones."""
    run_on_s = plan.site.pumps[pump].run_on
    courses = [
        stepper.run(
            WhatIf(
                pumps_on={pump: False},
                siphon_breaks=breaks,
                run_on_s=run_on_s,
                horizon_s=STOP_HORIZON_S,
            )
        )
        for breaks in (True, False)
    ]
    pipes = pipes_m3(plan.site, pump)
    down = [pipes + _down_m3(plan, pump, course) for course in courses]
    return Stop(pump, courses[0], courses[1], down[0], down[1])


def _down_m3(plan: Plan, pump: str, course: Course) -> float:
    """What ran down from all that is not below the drains [m3]."""
    site, levels = plan.site, plan.figures.running.levels_m
    below = set(plan.figures.lift(pump).below)
    return sum(
        site.chambers[key].between_m3(course.levels_m[key], levels[key])
        for key in site.chambers
        if key not in below
    )
