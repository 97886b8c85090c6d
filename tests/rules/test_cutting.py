"""What still comes after a cut while a way stays blocked: water counted by hand, and what is said.

The water is counted with a ruler's arithmetic: what has come to a chamber with all its ways out
shut is what the tanks above have lost, and what the pump lifted until it stood still.
"""

from __future__ import annotations

from math import inf, pi

import pytest

from daemon.campaign.promises import promises
from rules.assessment.assess import Assessment, assess
from rules.assessment.failures import Result, Sort
from rules.assessment.heights import Place
from rules.engine import plan_for
from rules.figures import LEVEL_TOLERANCE_M
from rules.hydraulics.network import Hydraulics
from rules.plan import Plan
from rules.response import RELAY_S, RESERVE
from rules.signals import TICK_S
from rules.transient.scenario import WhatIf
from rules.transient.stepper import Stepper
from rules.verdict import Finding, Weight, judge
from tests.rules.nights import edited, site_of, text_of, without_table
from tests.simulator.third_site import THIRD_SITE

CLASSROOM = text_of("classroom")
HIGH = edited(CLASSROOM, "sensors.inlet-high", height='"350 mm"')
UNHUNG = without_table(CLASSROOM, "sensors.inlet-high")
BAFFLE, SPONGE = "first baffle blocked", "sponge and its overflow blocked"
SIPHON_M3 = pi / 4 * 0.0409**2 * 1.3
"""What stands in 1.3 m of 1-1/2 inch pipe of schedule 40, 40.9 mm inside (ASME B36.10)."""


def assessed(text: str) -> tuple[Plan, Assessment]:
    """A site's plan and assessment."""
    plan = plan_for(site_of(text))
    return plan, assess(plan)


@pytest.fixture(scope="module")
def classroom() -> tuple[Plan, Assessment]:
    return assessed(CLASSROOM)


@pytest.fixture(scope="module")
def high() -> tuple[Plan, Assessment]:
    return assessed(HIGH)


def result_of(found: Assessment, title: str) -> Result:
    """One failure of an assessment."""
    return next(r for r in found.results if r.failure.title == title)


def place_of(found: Assessment, chamber: str) -> Place:
    """The place of the float before a way that may block."""
    return next(p for p in found.places if p.way is not None and p.chamber == chamber)


def finding_of(plan: Plan, found: Assessment, title: str) -> Finding:
    """What the verdict says of one failure."""
    return next(f for f in judge(plan, found).findings if f.sentence.startswith(f"{title}:"))


def test_every_way_on_is_blocked_once_and_a_screen_with_its_overflow(
    classroom: tuple[Plan, Assessment],
) -> None:
    conditions = {
        frozenset(r.failure.what.condition)
        for r in classroom[1].results
        if r.failure.sort in (Sort.WAY_ON, Sort.SCREEN)
    }
    assert conditions == {
        frozenset({"first-baffle"}), frozenset({"sponge"}), frozenset({"over-sponge"}),
        frozenset({"last-baffle"}), frozenset({"sponge", "over-sponge"}),
    }  # fmt: skip


def test_what_comes_after_the_cut_by_a_balance_of_all_water(
    high: tuple[Plan, Assessment],
) -> None:
    """By hand: all that the inlet has gained or spilled, every other chamber has lost."""
    plan, found = high
    site, result = plan.site, result_of(found, BAFFLE)
    seen = next(s for s in result.seen if s.sensor == "inlet-high")
    assert seen.after is not None
    mean = Hydraulics(site, bore="mean")
    stop_s = seen.after_s + 1.0 + TICK_S + RELAY_S + 2.0
    course = Stepper(site, mean, plan.figures.running).run(
        WhatIf(
            condition={"first-baffle": 0.0},
            pumps_on=False,
            run_on_s=stop_s,
            horizon_s=stop_s + 3600.0,
        )
    )
    lost = sum(
        chamber.between_m3(course.levels_m[key], plan.figures.running.levels_m[key])
        - chamber.between_m3(plan.figures.running.levels_m[key], course.levels_m[key])
        for key, chamber in site.chambers.items()
        if key != "inlet"
    )
    inlet_m2 = 0.450 * 0.450
    running_m = plan.figures.running.levels_m["inlet"] - 0.100
    came_before = inlet_m2 * (0.350 - running_m)
    # the inlet's float had seen its share of what all others lost; the rest came after it
    assert seen.after.comes_m3 == pytest.approx(lost - came_before + SIPHON_M3, abs=2e-4)
    over = lost - inlet_m2 * (0.400 - running_m) + SIPHON_M3
    assert over > 0.003
    # what stands over the rim while it runs over is a millimetre at most
    assert seen.spilled_m3 == pytest.approx(over, abs=inlet_m2 * 0.001)


def test_the_height_leaves_room_for_what_comes(classroom: tuple[Plan, Assessment]) -> None:
    """By hand: the inlet is a box of 450 mm by 450 mm under a rim at 400 mm."""
    _, found = classroom
    place = place_of(found, "inlet")
    assert place.way is not None
    by_hand = 0.400 - LEVEL_TOLERANCE_M - place.way.comes_m3 / (0.450 * 0.450)
    assert place.most_m == pytest.approx(by_hand, abs=1e-6)
    assert place.fitted == "inlet-high"
    assert place.suits
    # at least what the pump lifts while the guard acts, with the reserve, and the good day's drop
    response_s = RESERVE * (1.0 + TICK_S + RELAY_S + 2.0)
    assert place.way.comes_m3 > classroom[0].figures.lift("return-pump").flow_m3_s * response_s


@pytest.mark.parametrize(("over_most_mm", "held"), [(-2.0, True), (25.0, False)])
def test_the_height_parts_what_holds_from_what_spills(
    classroom: tuple[Plan, Assessment], over_most_mm: float, held: bool
) -> None:
    """Under it nothing spills; over it by the tolerance, and some more, it does."""
    most_m = place_of(classroom[1], "inlet").most_m
    height = f'"{most_m * 1000 + over_most_mm:.1f} mm"'
    _, found = assessed(edited(CLASSROOM, "sensors.inlet-high", height=height))
    assert result_of(found, BAFFLE).held is held
    assert place_of(found, "inlet").suits is held


def test_a_float_too_high_is_said_with_litres_and_with_the_height_that_holds(
    high: tuple[Plan, Assessment],
) -> None:
    plan, found = high
    result, finding = result_of(found, BAFFLE), finding_of(plan, found, BAFFLE)
    assert not result.held
    assert not result.carried
    assert finding.weight is Weight.CONDITION
    first = next(s for s in result.seen_at_worst if s.cuts)
    assert first.sensor == "inlet-high"
    assert f"{first.spilled_m3 * 1000:.1f} l leave a tank at worst" in finding.sentence
    most_mm = place_of(found, "inlet").most_m * 1000
    assert f"at or below {most_mm:.1f} mm" in finding.remedy
    assert judge(plan, found).words == "SOUND WITH CONDITIONS"


def test_a_chamber_without_a_float_is_told_where_one_would_hold_it() -> None:
    plan, found = assessed(UNHUNG)
    place, finding = place_of(found, "inlet"), finding_of(plan, found, BAFFLE)
    assert place.fitted is None
    assert place.least_m < place.most_m
    assert "hang a spill-edge float in the inlet chamber" in finding.remedy
    # only the low float is left, and it sees that too late for the inlet
    assert not result_of(found, BAFFLE).held


def test_a_bay_too_small_is_told_to_grow() -> None:
    """By hand: 250 mm by 300 mm from the running level to the rim hold less than what comes."""
    plan, found = assessed(THIRD_SITE)
    result, finding = result_of(found, "slot blocked"), finding_of(plan, found, "slot blocked")
    room = 0.250 * 0.300 * (0.550 - plan.figures.running.levels_m["bay"])
    assert result.comes_m3 > room - 0.001
    assert finding.weight is Weight.CONDITION
    assert "give it room for" in finding.remedy


def test_what_a_clogged_sponge_alone_does_is_carried_by_its_overflow(
    classroom: tuple[Plan, Assessment],
) -> None:
    """And the float that must be so low stays dry: no cut where nothing would spill."""
    plan, found = classroom
    result = result_of(found, "sponge clogged")
    assert result.carried
    assert result.worst.first_spill_s == inf
    bottom = plan.site.chambers["inlet"].bottom
    assert result.worst.highest_m["inlet"] - bottom < 0.290 - LEVEL_TOLERANCE_M
    assert finding_of(plan, found, "sponge clogged").weight is Weight.FACT


def test_campaigns_are_promised_what_is_held_and_told_what_is_not() -> None:
    def promise(text: str, *passages: str) -> tuple[bool, tuple[str, ...]]:
        blocked = promises(site_of(text)).blocked
        one = next(p for p in blocked if p.passages == frozenset(passages))
        return one.carried, one.in_time

    assert promise(CLASSROOM, "first-baffle") == (False, ("inlet-high",))
    assert promise(HIGH, "first-baffle") == (False, ())
    assert promise(CLASSROOM, "sponge", "over-sponge")[1][0] == "inlet-high"
    assert promise(THIRD_SITE, "slot") == (False, ())
