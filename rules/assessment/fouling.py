"""Which part of its main drain a chamber can lose before anything tells."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rules.assessment.coverage import Coverage
from rules.marks import STEP_M as MARK_STEP_M
from rules.observer.detector import LEARN_S, Mean, faded_limit
from rules.plan import DrainPlan, Plan
from rules.site import show

SOON, LATER = 0.10, 0.03
"""These losses are told of in ten minutes and in an hour by a level sensor and a flow [share], as
`simulator.detection` measures it; a noisy sensor is slower."""


@dataclass(frozen=True, slots=True)
class Fouling:
    """What is seen of the main drain of one chamber.

    `floats` turn from a loss of `by_floats` on, and `levels` read it: `slowly` is the loss that
    they tell of however slowly it came, once they have been taught, and `at_first` the one from
    which what was there before the first day is surely told. Losses are shares of the clean drain,
    None where nothing tells.
    """

    chamber: str
    drain: str
    floats: tuple[str, ...]
    by_floats: float | None
    levels: tuple[str, ...] = ()
    tolerance_m: float | None = None
    slowly: float | None = None
    at_first: float | None = None


def fouling(plan: Plan) -> tuple[Fouling, ...]:
    """Every drained chamber into which water comes."""
    return tuple(_of(plan, drain) for drain in plan.drains if drain.inflow_m3_s > 0.0)


def _of(plan: Plan, drain: DrainPlan) -> Fouling:
    by_float = {
        watch.contact.id: _at_mark(drain, watch.mark.lead_m3_s, watch.mark.rest_m3_s)
        for watch in drain.watches
    }
    seen = {key: loss for key, loss in by_float.items() if loss is not None}
    least = min(seen.values(), default=None)
    chart = drain.chart
    if chart is None:
        return Fouling(drain.chamber, drain.lead, tuple(seen), least)
    level = plan.levels[drain.levels[0]]
    good = Mean(chart.level_m, chart.flow_m3_s, LEARN_S)
    # it may read low, and is then taken as low again
    sure_m = 2.0 * level.tolerance_m + MARK_STEP_M
    marks = level.marks.marks
    first = next((m for m in marks if m.height_m >= marks[0].height_m + sure_m), None)
    return Fouling(
        drain.chamber,
        drain.lead,
        tuple(seen),
        least,
        tuple(plan.levels[place].id for place in drain.levels),
        level.tolerance_m,
        faded_limit(chart, good),
        None if first is None else _at_mark(drain, first.lead_m3_s, first.rest_m3_s),
    )


def _at_mark(drain: DrainPlan, lead_m3_s: float, rest_m3_s: float) -> float | None:
    """The loss at which the water stands at a mark; None where it stands under it even with the
    main drain shut."""
    if rest_m3_s >= drain.inflow_m3_s or lead_m3_s <= 0.0:
        return None
    return max(0.0, 1.0 - (drain.inflow_m3_s - rest_m3_s) / lead_m3_s)


def coverage(plan: Plan, found: tuple[Fouling, ...]) -> Iterator[Coverage]:
    """A row for each."""
    site = plan.site
    for its in found:
        failure = f"{site.label(its.drain)} loses a part of what it carries"
        yield Coverage(failure, (*its.levels, *its.floats), _note(plan, its))


def _note(plan: Plan, its: Fouling) -> str:
    floats = "nothing hangs there that turns by it"
    if its.by_floats is not None:
        floats = f"the floats turn from a loss of about {show.share(its.by_floats)} on"
    if its.slowly is None or its.tolerance_m is None:
        return f"{floats}: less is not seen" if its.floats else floats
    first = "nothing" if its.at_first is None else f"{show.share(its.at_first)} or more"
    return (
        f"by level and flow: {show.share(SOON)} in ten minutes, {show.share(LATER)} in an hour, "
        f"{show.share(its.slowly)} however slowly; of what had gone before the first day {first}, "
        f"for the sensor is good to {show.length(its.tolerance_m, plan.site.site.units)}; {floats}"
    )
