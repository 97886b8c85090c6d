"""Courses that a hand can follow: tanks of 1 m2, 1 l/s, so that a millimetre is a second.

The expected figures are arithmetic on the round numbers of `circuits`, written beside each check.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf, pi, sqrt

import pytest

from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.transient.scenario import Course, WhatIf
from rules.transient.stepper import Stepper
from tests.rules.circuits import pump, stepper, top_off, two_tanks, water_m3

HALF_MM = 5e-4
SHUT = {"edge": 0.0}
LOW_RISER = 'outlet = "400 mm"'
BROKEN_RISER = 'outlet = "400 mm"\nsiphon_break = "430 mm"'


def depth(site: Site, course: Course, key: str) -> float:
    """Final level above a chamber's own bottom [m]."""
    return course.levels_m[key] - site.chambers[key].bottom


def start(site: Site) -> float:
    """Depth of the display while all runs [m]: the crest at 0.450 and the head over it."""
    return Hydraulics(site).running().levels_m["display"] - 0.9


def test_a_good_day_stands_still() -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf())
    assert course.steady_s == 0.0
    assert course.first_spill_s == inf
    assert course.spills == ()
    assert course.dry_s == {"pump": inf}
    assert set(course.spilled_m3.values()) == {0.0}
    assert depth(site, course, "display") == pytest.approx(start(site), abs=1e-6)


def test_a_shut_edge_spills_after_the_freeboard_and_no_sooner() -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf(SHUT))
    room = 0.5 - start(site)  # of 1 m2, at 1 l/s
    assert course.first_spill_s == pytest.approx(room / 1e-3, rel=2e-3)
    assert course.spills == (("display", course.first_spill_s),)
    before = stepper(site).run(WhatIf(SHUT, horizon_s=room / 1e-3 - 0.2))
    assert before.first_spill_s == inf
    assert before.spilled_m3["display"] == 0.0
    assert depth(site, before, "display") == pytest.approx(0.4998, abs=1e-4)


def test_a_spilling_display_runs_the_pump_dry_and_then_it_is_over() -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf(SHUT))
    # 200 mm less the intake's 50 mm, and air comes in over the last millimetre
    assert course.dry_s["pump"] == pytest.approx(149.0, rel=2e-3)
    assert depth(site, course, "sump") == pytest.approx(0.050, abs=HALF_MM)
    assert depth(site, course, "display") == pytest.approx(0.500, abs=HALF_MM)
    assert course.spilled_m3["display"] == pytest.approx(0.150 - (0.5 - start(site)), abs=1e-3)
    assert course.spilled_m3["sump"] == 0.0
    assert 150.0 < course.steady_s < 600.0


@pytest.mark.parametrize(("spare_mm", "spills"), [(-2.0, True), (2.0, False)])
def test_the_pump_runs_dry_before_the_display_spills_or_not(spare_mm: float, spills: bool) -> None:
    """Passive safety turns on the water above the intake against the room under the rim."""
    room_mm = (0.5 - start(two_tanks())) * 1000
    site = two_tanks(intake_mm=200 - room_mm + spare_mm)
    course = stepper(site).run(WhatIf(SHUT))
    assert (course.first_spill_s < inf) is spills
    assert course.dry_s["pump"] < inf
    if not spills:
        assert depth(site, course, "display") == pytest.approx(0.498, abs=HALF_MM)


def test_a_pump_never_lifts_what_its_chamber_does_not_hold() -> None:
    site = two_tanks(rim_mm=900, intake_mm=80)
    course = stepper(site).run(WhatIf(SHUT))
    assert course.first_spill_s == inf
    assert min(levels["sump"] for _, levels in course.samples) >= 0.1 + 0.080 - 1e-9
    assert depth(site, course, "display") == pytest.approx(start(site) + 0.120, abs=HALF_MM)


def test_a_pump_that_draws_air_lifts_what_arrives() -> None:
    """Half of the edge is left: the display rises until it carries all, or the sump is out."""
    site = two_tanks(rim_mm=900, intake_mm=190)
    course = stepper(site).run(WhatIf({"edge": 0.3}))
    assert course.dry_s["pump"] < 30.0
    # at rest: what the edge passes is what the pump lifts, with air in it
    assert course.steady_s < inf
    assert depth(site, course, "sump") == pytest.approx(0.1905, abs=HALF_MM)
    assert depth(site, course, "display") == pytest.approx(start(site) + 0.0095, abs=HALF_MM)


def test_a_stop_drains_down_to_the_crest() -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf(pumps_on=False))
    head = start(site) - 0.450
    assert depth(site, course, "display") == pytest.approx(0.450, abs=HALF_MM)
    assert depth(site, course, "sump") == pytest.approx(0.200 + head, abs=HALF_MM)
    assert course.dry_s["pump"] == inf
    assert course.first_spill_s == inf


@pytest.mark.parametrize(
    ("riser", "breaks", "rests_m"),
    [
        (LOW_RISER, True, 0.400),  # no break: back to the outlet
        (BROKEN_RISER, True, 0.430),
        (BROKEN_RISER, False, 0.400),  # plugged
        ('outlet = "400 mm"\nsiphon_break = "460 mm"', True, 0.450),  # then over the edge
        ('outlet = "400 mm"\nsiphon_break = "495 mm"', True, 0.450),  # never under water
    ],
)
def test_a_stop_runs_back_to_the_siphon_break(riser: str, breaks: bool, rests_m: float) -> None:
    site = two_tanks(500, 50, riser)
    course = stepper(site).run(WhatIf(pumps_on=False, siphon_breaks=breaks))
    came = start(site) - rests_m
    assert depth(site, course, "display") == pytest.approx(rests_m, abs=HALF_MM)
    assert depth(site, course, "sump") == pytest.approx(0.200 + came, abs=HALF_MM)


@pytest.mark.parametrize("what", [WhatIf({"pump": 0.0}), WhatIf(pump_factor=0.0)])
def test_a_pump_that_gives_nothing_holds_nothing_up(what: WhatIf) -> None:
    stepped = stepper(two_tanks(500, 50, LOW_RISER))
    assert stepped.run(what).levels_m == stepped.run(WhatIf(pumps_on=False)).levels_m


def test_an_outlet_at_the_bottom_empties_its_chamber_and_no_more() -> None:
    """All of the display comes down, and spills what the sump has no room for: 200 mm."""
    site = two_tanks(500, 50, 'outlet = "0 mm"')
    course = stepper(site).run(WhatIf(pumps_on=False))
    assert depth(site, course, "display") == pytest.approx(0.0, abs=HALF_MM)
    assert min(levels["display"] for _, levels in course.samples) >= 0.9
    assert course.spills[0][0] == "sump"
    assert course.spilled_m3["sump"] == pytest.approx(start(site) - 0.200, abs=1e-3)
    at_first = start(site) + 0.200
    left = water_m3(site, course.levels_m) + course.spilled_m3["sump"]
    assert left == pytest.approx(at_first, rel=1e-9)


def test_nothing_runs_back_through_a_blocked_branch() -> None:
    site = two_tanks(500, 50, LOW_RISER)
    course = stepper(site).run(WhatIf({"riser": 0.0}, pumps_on=False))
    assert depth(site, course, "display") == pytest.approx(0.450, abs=HALF_MM)


def test_a_running_pump_lets_nothing_back() -> None:
    site = two_tanks(500, 50, LOW_RISER)
    course = stepper(site).run(WhatIf(siphon_breaks=False))
    assert depth(site, course, "display") == pytest.approx(start(site), abs=1e-5)


def test_the_back_siphon_keeps_time() -> None:
    """Two tanks of 1 m2 joined by a loss K: sqrt(H) falls by a sqrt(2 g / K) each second.

    K is 400 of the valve, 1 of the exit and about 1 of the pipe's wall (f 0.03, 1 m, 26 mm).
    """
    site = two_tanks(500, 50, 'outlet = "300 mm"\nvalve_loss = 400')
    what = WhatIf(SHUT, pumps_on=False, horizon_s=7200)
    course = stepper(site).run(what)
    head0 = 0.9 + start(site) - (0.1 + 0.2)
    head1 = head0 - 2.0 * (start(site) - 0.300)
    a = pi / 4 * 0.02613**2  # mean bore of 1 in schedule 40, ASTM D1785
    rate = a * sqrt(2 * 9.80665 / 402)
    expected_s = (sqrt(head0) - sqrt(head1)) / rate
    assert course.steady_s == pytest.approx(expected_s, rel=0.02)
    clogged = stepper(site).run(replace(what, condition={**SHUT, "riser": 0.5}))
    assert clogged.steady_s == pytest.approx(2 * expected_s, rel=0.02)
    halfway = stepper(site).run(replace(what, horizon_s=expected_s / 2))
    head = (sqrt(head0) - rate * expected_s / 2) ** 2
    assert halfway.levels_m["display"] - halfway.levels_m["sump"] == pytest.approx(head, abs=0.002)


@pytest.mark.parametrize("run_on_s", [0.0, 2.0, 10.0])
def test_a_pump_lifts_on_while_it_runs_on(run_on_s: float) -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf(SHUT, pumps_on=False, run_on_s=run_on_s))
    rise = run_on_s * 1e-3  # 1 l/s into 1 m2
    assert course.highest_m["display"] - 0.9 == pytest.approx(start(site) + rise, abs=1e-5)
    assert depth(site, course, "display") == pytest.approx(start(site) + rise, abs=1e-5)
    assert course.steady_s == pytest.approx(run_on_s, abs=1e-6)


def test_running_on_can_be_what_spills() -> None:
    site = two_tanks()
    left_s = (0.5 - start(site)) / 1e-3
    assert stepper(site).run(WhatIf(SHUT, pumps_on=False, run_on_s=left_s - 0.5)).first_spill_s == (
        inf
    )
    spilled = stepper(site).run(WhatIf(SHUT, pumps_on=False, run_on_s=left_s + 5.0))
    assert spilled.first_spill_s == pytest.approx(left_s, rel=2e-3)
    assert spilled.spilled_m3["display"] == pytest.approx(5e-3, abs=HALF_MM)


def test_a_top_off_that_fits_ends_with_the_reservoir() -> None:
    """20 l at 0.1 l/s into 1 m2: 20 mm in 200 s, halfway after 100 s."""
    site = two_tanks(500, 50, 'outlet = "600 mm"', top_off(0.1, 200))
    what = WhatIf(top_off_m3_s=1e-4)
    course = stepper(site).run(what)
    assert depth(site, course, "sump") == pytest.approx(0.220, abs=HALF_MM)
    assert depth(site, course, "reservoir") == pytest.approx(0.0, abs=HALF_MM)
    assert course.first_spill_s == inf
    assert 200.0 < course.steady_s < 280.0
    halfway = stepper(site).run(replace(what, horizon_s=100.0))
    assert depth(site, halfway, "sump") == pytest.approx(0.210, abs=1e-5)
    assert halfway.steady_s == inf


def test_a_top_off_that_does_not_fit_spills_the_rest() -> None:
    """240 l at 0.1 l/s, and room for 200 l: after 2000 s, 40 l."""
    site = two_tanks(500, 50, 'outlet = "600 mm"', top_off(0.6, 400))
    course = stepper(site).run(WhatIf(top_off_m3_s=1e-4))
    assert course.first_spill_s == pytest.approx(2000.0, rel=2e-3)
    assert course.spills[0][0] == "sump"
    assert course.spilled_m3["sump"] == pytest.approx(0.040, abs=1e-3)


@pytest.mark.parametrize("factor", [0.5, 0.9, 1.1])
def test_the_pumps_flow_is_scaled(factor: float) -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf(SHUT, pump_factor=factor))
    assert course.first_spill_s == pytest.approx((0.5 - start(site)) / (1e-3 * factor), rel=2e-3)


def test_a_worn_pump_fills_slower() -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf({"edge": 0.0, "pump": 0.5}))
    assert course.first_spill_s == pytest.approx((0.5 - start(site)) / 0.5e-3, rel=2e-3)


def test_one_pump_of_two_is_stopped() -> None:
    """Two pumps lift 1 l/s each into a shut display; one goes on."""
    second = pump("second", "sump", 50, {"second-riser": ("display", 'outlet = "620 mm"')})
    site = two_tanks(600, 50, 'outlet = "610 mm"', second)
    room = 0.6 - start(site)
    both = stepper(site).run(WhatIf(SHUT))
    one = stepper(site).run(WhatIf(SHUT, pumps_on={"second": False}))
    assert both.first_spill_s == pytest.approx(room / 2e-3, rel=2e-3)
    assert one.first_spill_s == pytest.approx(room / 1e-3, rel=2e-3)
    assert one.dry_s["second"] == inf
    assert one.dry_s["pump"] < inf


@pytest.mark.parametrize(
    ("shape", "plan_m2"),
    [
        ('length = "2 m"\nwidth = "0.5 m"\ndisplacement = "20 %"', 0.8),
        ('diameter = "1 m"', pi / 4),
        (
            'fillings = [{ level = "0 mm", volume = "0 l" }, { level = "400 mm", volume = "200 l" '
            '}, { level = "500 mm", volume = "260 l" }]',
            0.6,
        ),
    ],
)
def test_any_shape_fills_by_its_volume(shape: str, plan_m2: float) -> None:
    site = two_tanks(area=shape)
    course = stepper(site).run(WhatIf(SHUT))
    room = plan_m2 * (0.5 - start(site))
    assert course.first_spill_s == pytest.approx(room / 1e-3, rel=2e-3)
    lost = sum(course.spilled_m3.values())
    assert water_m3(site, course.levels_m) + lost == pytest.approx(
        water_m3(site, Hydraulics(site).running().levels_m), rel=1e-9
    )


def test_samples_begin_and_end_with_the_course() -> None:
    site = two_tanks()
    course = stepper(site).run(WhatIf(SHUT, horizon_s=100.0))
    times = [at for at, _ in course.samples]
    assert times[0] == 0.0
    assert times[-1] == 100.0
    assert times == sorted(set(times))
    assert course.samples[-1][1] == course.levels_m
    assert course.steady_s == inf
    fine = stepper(site, 1e-7).run(WhatIf(pumps_on=False))
    assert 50 < len(fine.samples) <= 201
    assert fine.samples[-1][0] == fine.steady_s


def test_the_same_question_has_the_same_answer() -> None:
    """To the bit, whatever was asked in between."""
    stepped = stepper(two_tanks(500, 50, BROKEN_RISER))
    first = stepped.run(WhatIf(pumps_on=False))
    stepped.run(WhatIf(SHUT))
    assert stepped.run(WhatIf(pumps_on=False)) == first


@pytest.mark.parametrize(
    ("what", "sentence"),
    [
        (WhatIf({"drain": 0.0}), '"drain" is no passage and no pump'),
        (WhatIf(pumps_on={"riser-pump": False}), '"riser-pump" is no pump'),
        (WhatIf(pumps_on={"edge": False}), '"edge" is no pump'),
        (WhatIf(top_off_m3_s=1e-4), "no top-off"),
    ],
)
def test_what_the_site_does_not_have_is_refused(what: WhatIf, sentence: str) -> None:
    with pytest.raises(HydraulicsError, match=sentence):
        stepper(two_tanks()).run(what)


@pytest.mark.parametrize(
    "wrong",
    [
        {"pump_factor": -1.0},
        {"drain_factor": inf},
        {"horizon_s": float("nan")},
        {"run_on_s": -2.0},
        {"condition": {"edge": -0.1}},
    ],
)
def test_a_value_that_means_nothing_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="finite number"):
        WhatIf(**wrong)


def test_a_chamber_without_room_for_water_is_refused() -> None:
    site = two_tanks()
    hydraulics = Hydraulics(site)
    full = site.chambers["display"].model_copy(update={"displacement": 1.0})
    solid = site.model_copy(update={"chambers": {**site.chambers, "display": full}})
    with pytest.raises(HydraulicsError, match="display"):
        Stepper(solid, hydraulics, hydraulics.running())
