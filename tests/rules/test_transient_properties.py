"""What holds for every course: water is neither made nor lost, and worse is never later."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.transient.scenario import Course, WhatIf
from rules.transient.stepper import Stepper
from tests.rules.circuits import drop_in_a_row, water_m3
from tests.rules.nights import site_of, text_of

SITES: dict[str, Callable[[], Site]] = {
    "classroom": lambda: site_of(text_of("classroom")),
    "rack": lambda: site_of(text_of("rack")),
    "row": drop_in_a_row,
}
LATER = 1.005
HIGHER_M = 5e-4
shares = st.one_of(st.just(0.0), st.floats(0.0, 1.0))


@cache
def stepper(name: str) -> Stepper:
    site = SITES[name]()
    hydraulics = Hydraulics(site)
    return Stepper(site, hydraulics, hydraulics.running())


@st.composite
def scenarios(draw: st.DrawFn) -> tuple[str, WhatIf]:
    name = draw(st.sampled_from(sorted(SITES)))
    site = stepper(name).site
    keys = st.sampled_from([*site.passages, *site.pumps])
    condition = draw(st.dictionaries(keys, shares, max_size=6))
    return name, WhatIf(
        condition,
        pumps_on=draw(st.booleans()),
        pump_factor=draw(st.floats(0.5, 1.5)),
        drain_factor=draw(st.floats(0.0, 1.5)),
        siphon_breaks=draw(st.booleans()),
        top_off_m3_s=draw(st.sampled_from([0.0, 1e-5, 1e-4])) if site.top_off else 0.0,
        run_on_s=draw(st.sampled_from([0.0, 2.0, 7.5])),
        horizon_s=draw(st.floats(0.0, 1200.0)),
    )


@given(scenarios())
@settings(max_examples=120)
def test_water_is_neither_made_nor_lost_nor_less_than_none(asked: tuple[str, WhatIf]) -> None:
    name, what = asked
    of = stepper(name)
    course = of.run(what)
    at_first = sum(of.start_m3)
    lost = sum(course.spilled_m3.values())
    assert abs(water_m3(of.site, course.levels_m) + lost - at_first) < 1e-9 * at_first
    assert min(course.spilled_m3.values()) >= 0.0
    for _, levels in course.samples:
        for key, chamber in of.site.chambers.items():
            assert levels[key] >= chamber.bottom


@given(scenarios())
@settings(max_examples=40)
def test_what_is_told_fits_together(asked: tuple[str, WhatIf]) -> None:
    name, what = asked
    of = stepper(name)
    course = of.run(what)
    rims = {key: chamber.rim_m for key, chamber in of.site.chambers.items()}
    times = [at for _, at in course.spills]
    assert times == sorted(times)
    assert {key for key, _ in course.spills} == {
        key for key in rims if course.highest_m[key] > rims[key] + 1e-5
    }
    assert all(0.0 <= at <= what.horizon_s for at in times)
    for key, lost in course.spilled_m3.items():
        assert lost < 1e-6 or key in dict(course.spills)
    for levels in (course.levels_m, *(levels for _, levels in course.samples)):
        assert all(levels[key] <= course.highest_m[key] for key in levels)


def worse_and_better(name: str, key: str, worse: float, better: float) -> tuple[Course, Course]:
    of = stepper(name)
    return of.run(WhatIf({key: worse})), of.run(WhatIf({key: better}))


gravity = st.sampled_from(
    [(name, key) for name in sorted(SITES) for key in SITES[name]().gravity()]
)


@given(gravity, shares, shares)
@settings(max_examples=60)
def test_a_worse_passage_never_spills_later(where: tuple[str, str], a: float, b: float) -> None:
    worse, better = worse_and_better(*where, min(a, b), max(a, b))
    assert worse.first_spill_s <= LATER * better.first_spill_s


@given(gravity, shares, shares)
@settings(max_examples=60)
def test_a_worse_passage_never_holds_less_back(where: tuple[str, str], a: float, b: float) -> None:
    """What a passage still carries never grows as it clogs: its upper chamber stands no lower."""
    worse, better = worse_and_better(*where, min(a, b), max(a, b))
    upper = stepper(where[0]).site.gravity()[where[1]].from_
    assert worse.highest_m[upper] >= better.highest_m[upper] - HIGHER_M
