"""Pipe flow against a general-purpose library, handbook tables and its own reverse."""

from __future__ import annotations

from typing import get_args

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.hydraulics.fittings import drain_k, loss_k, run_k, sum_k, turbulent_factor
from rules.hydraulics.friction import PipeRun, darcy
from rules.hydraulics.valves import observed_k, valve_k, valve_opening
from rules.site.passages import Fitting

INCH_M = 0.0254


@pytest.mark.parametrize(
    ("reynolds", "roughness", "expected"),
    [
        (1e5, 1e-4, 0.018513866),
        (1e5, 0.0, 0.017989773),
        (1e6, 0.0, 0.011645041),
        (1e5, 0.01, 0.038503544),
        (4e3, 0.0, 0.03990701),
        (128.0, 0.0, 0.5),
    ],
)
def test_friction_factor_by_value(reynolds, roughness, expected):
    """Source: docstrings of fluids.friction (Colebrook; laminar 64/Re); rtol of the print."""
    assert darcy(reynolds, roughness)[0] == pytest.approx(expected, rel=1.5e-7)


@given(st.floats(4000.0, 1e8), st.floats(0.0, 0.05))
def test_friction_factor_solves_colebrook(reynolds, roughness):
    """Source: fluids.friction.Colebrook, solved there by another way (Lambert W); rtol 1e-9."""
    expected = fluids.friction.Colebrook(reynolds, roughness)
    assert darcy(reynolds, roughness)[0] == pytest.approx(expected, rel=1e-9)


def test_friction_factor_agrees_with_the_explicit_formula():
    """Source: Swamee and Jain 1976 through fluids, 0.018452424; within the 1 % it claims."""
    assert darcy(1e5, 1e-4)[0] == pytest.approx(0.018452424, rel=1e-2)


@pytest.mark.parametrize("roughness", [0.0, 1e-4, 0.05])
@pytest.mark.parametrize("border", [2000.0, 4000.0])
def test_friction_factor_has_no_step_at_the_borders(roughness, border):
    """Laminar, bridge and turbulent flow meet in value and in slope."""
    below, slope_below = darcy(border * (1 - 1e-9), roughness)
    above, slope_above = darcy(border * (1 + 1e-9), roughness)
    assert below == pytest.approx(above, rel=1e-8)
    assert slope_below == pytest.approx(slope_above, rel=1e-5)


@pytest.mark.parametrize(("reynolds", "roughness"), [(1e5, -1e-6), (1e5, 0.051), (0.0, 0.0)])
def test_friction_outside_its_range_is_refused(reynolds, roughness):
    """A roughness or Reynolds number that the formula does not cover gives a sentence."""
    with pytest.raises(ValueError, match=r"outside|not above"):
        darcy(reynolds, roughness)


def test_full_siphon_by_value():
    """Worked by hand: fall 0.7 m, length 1 m, bore 40.94 mm, sum K 2.7, smooth: 164.83 l/min."""
    pipe = PipeRun(0.04094, 1.0, 1.5e-6, 2.7, 9.37e-7)
    flow = pipe.flow(0.7)[0]
    assert flow * 60000 == pytest.approx(164.83, rel=5e-5)
    assert flow / pipe.area_m2 == pytest.approx(2.08686, rel=1e-5)
    assert darcy(flow / pipe.area_m2 * 0.04094 / 9.37e-7, 1.5e-6 / 0.04094)[0] == pytest.approx(
        0.0185272, rel=1e-5
    )


PIPES = st.builds(
    PipeRun,
    bore_m=st.floats(0.01, 0.1),
    length_m=st.floats(0.01, 50.0),
    roughness_m=st.sampled_from([0.0, 1.5e-6, 5e-5, 4e-4]),
    loss_k=st.floats(0.0, 500.0),
    kinematic_m2_s=st.floats(8e-7, 1.8e-6),
)


@given(PIPES, st.floats(-9.0, 1.0))
def test_flow_and_loss_are_each_others_reverse(pipe, magnitude):
    """The flow that a head drives loses just that head; both slopes agree."""
    head = 10.0**magnitude
    flow, growth = pipe.flow(head)
    lost, slope = pipe.loss(flow)
    assert lost == pytest.approx(head, rel=1e-10)
    assert slope * growth == pytest.approx(1.0, rel=1e-6)


@given(PIPES, st.floats(-9.0, 1.0), st.floats(1e-6, 3.0))
def test_more_head_drives_more_flow(pipe, magnitude, more):
    """Through laminar, bridge and turbulent flow alike."""
    head = 10.0**magnitude
    assert pipe.flow(head * (1 + more))[0] > pipe.flow(head)[0] > 0.0


@given(PIPES, st.floats(-4.0, 1.0))
def test_slope_is_the_slope(pipe, magnitude):
    """Against a difference over a small step; rtol 1e-3 for the bend within the step."""
    head = 10.0**magnitude
    flow, growth = pipe.flow(head)
    step = 1e-5 * head
    assert (pipe.flow(head + step)[0] - flow) / step == pytest.approx(growth, rel=1e-3)


def test_no_head_no_flow_and_no_flow_no_loss():
    """Zero at zero, and a drain pipe never runs by itself."""
    pipe = PipeRun(0.04, 1.0, 1.5e-6, 2.0, 1e-6)
    assert pipe.flow(0.0)[0] == 0.0
    assert pipe.flow(-1.0)[0] == 0.0
    assert pipe.loss(0.0)[0] == 0.0


@pytest.mark.parametrize(
    ("inches", "expected"),
    [(0.824, 0.025), (1.049, 0.023), (1.38, 0.022), (1.61, 0.021), (2.067, 0.019), (3.068, 0.018)],
)
def test_turbulent_factor_by_nominal_size(inches, expected):
    """Source: Crane TP-410, page A-26, by the bore of schedule 40 (ASTM D1785)."""
    assert turbulent_factor(inches * INCH_M) == expected


@pytest.mark.parametrize("millimetres", [15.8, 20.9, 26.6, 35.1, 40.9, 52.5, 77.9, 102.3])
def test_turbulent_factor_agrees_with_its_formula(millimetres):
    """Source: fluids.fittings.ft_Crane (a formula); rtol 8 %, the table is rounded to 0.001."""
    expected = fluids.fittings.ft_Crane(millimetres / 1000)
    assert turbulent_factor(millimetres / 1000) == pytest.approx(expected, rel=0.08)


def test_every_fitting_of_the_site_file_has_a_coefficient():
    """No fitting that a keeper may write is unknown here, and none is free."""
    for fitting in get_args(Fitting):
        assert loss_k(fitting, 0.0409) > 0.0
    with pytest.raises(ValueError, match="no loss coefficient"):
        loss_k("spiral", 0.0409)


@pytest.mark.parametrize(
    ("fitting", "expected"),
    [
        ("entrance-flush", 0.5),  # HVAC Pump Handbook, table 3.7
        ("entrance-projecting", 0.78),  # Crane TP-410, page A-29
        ("entrance-bellmouth", 0.05),  # HVAC Pump Handbook, table 3.7
        ("exit", 1.0),  # HVAC Pump Handbook, table 3.7
        ("gate-valve", 8 * 0.021),  # Crane TP-410, page A-27
        ("check-valve", 100 * 0.021),  # Crane TP-410, page A-27
        ("tee-run", 20 * 0.021),  # Crane TP-410, page A-29
        ("tee-branch", 60 * 0.021),  # Crane TP-410, page A-29
        ("elbow-90", 30 * 0.021),  # Crane TP-410, page A-29
    ],
)
def test_coefficients_of_fittings_on_inch_and_a_half_pipe(fitting, expected):
    """Source beside each."""
    assert loss_k(fitting, 0.0409) == pytest.approx(expected)


def test_swing_check_valve_agrees_with_the_library():
    """Source: fluids.fittings.K_swing_check_valve_Crane; rtol 8 % as for the turbulent factor."""
    expected = fluids.fittings.K_swing_check_valve_Crane(0.0409, angled=True)
    assert loss_k("check-valve", 0.0409) == pytest.approx(expected, rel=0.08)


@pytest.mark.parametrize(("inches", "screwed"), [(1.049, 1.50), (1.61, 1.20), (2.067, 1.00)])
def test_elbows_stay_within_the_spread_of_handbooks(inches, screwed):
    """Source: HVAC Pump Handbook, table 3.8, screwed elbows: rougher inside than glued ones."""
    assert 0.4 * screwed < loss_k("elbow-90", inches * INCH_M) < screwed


def test_what_is_not_listed_still_costs():
    """An open end loses its velocity head and a drain has an entrance, written down or not."""
    assert run_k(["elbow-90"], 0.04) == pytest.approx(sum_k(["elbow-90", "exit"], 0.04))
    assert run_k(["exit"], 0.04) == pytest.approx(1.0)
    assert drain_k([], 0.04) == pytest.approx(1.78)
    assert drain_k(["entrance-flush", "exit"], 0.04) == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("kind", "share", "expected", "factor"),
    [
        ("gate-valve", 1.0, 0.15, 1.5),
        ("gate-valve", 0.75, 0.26, 4.0),
        ("gate-valve", 0.5, 2.1, 2.5),
        ("gate-valve", 0.25, 17.0, 1.5),
        ("ball-valve", 1.0, 0.05, 1.01),
        ("ball-valve", 2 / 3, 5.5, 1.01),
        ("ball-valve", 1 / 3, 210.0, 1.1),
    ],
)
def test_valve_positions_lie_within_the_spread_of_tables(kind, share, expected, factor):
    """Source: usual textbook table of minor losses; gate valves differ widely between tables."""
    assert expected / factor <= valve_k(kind, share) <= expected * factor


@given(st.sampled_from(["gate-valve", "ball-valve"]), st.floats(0.0, 1.0))
def test_valve_position_and_loss_are_each_others_reverse(kind, at):
    """Closing a valve always adds loss, and its loss tells its position."""
    least = 0.25 if kind == "gate-valve" else 1 / 3
    share = least + at * (1.0 - least)
    assert valve_opening(kind, valve_k(kind, share)) == pytest.approx(share, abs=1e-9)
    assert valve_k(kind, share) >= valve_k(kind, 1.0)


def test_valves_outside_their_tables_are_refused():
    """A nearly shut valve has no known loss; an unknown valve has none at all."""
    with pytest.raises(ValueError, match="outside its table"):
        valve_k("gate-valve", 0.1)
    with pytest.raises(ValueError, match="more than"):
        valve_opening("ball-valve", 1e4)
    with pytest.raises(ValueError, match="no table"):
        valve_k("pinch-valve", 0.5)
    assert valve_opening("gate-valve", 0.0) == 1.0


@given(PIPES, st.floats(1e-5, 2e-3))
def test_a_canister_seen_to_lose_a_head_loses_it_again(pipe, flow):
    """Its coefficient, put on a pipe of that bore, brings the observed loss back."""
    loss_k_seen = observed_k(0.3, flow, pipe.bore_m)
    bare = PipeRun(pipe.bore_m, 1e-9, 0.0, loss_k_seen, 1e-6)
    assert bare.loss(flow)[0] == pytest.approx(0.3, rel=1e-3)
    with pytest.raises(ValueError, match="observed loss"):
        observed_k(0.3, 0.0, pipe.bore_m)


def test_doubt_is_wider_where_no_formula_is_reliable():
    """Between laminar and turbulent flow, and without a valve that was set by sight."""
    pipe = PipeRun(0.02, 5.0, 1.5e-6, 1.0, 1e-6)
    per_re = pipe.area_m2 * 1e-6 / 0.02
    assert pipe.uncertainty(3000 * per_re) > 2 * pipe.uncertainty(20000 * per_re)
    assert pipe.uncertainty(20000 * per_re, valve_k=50.0) < 0.5 * pipe.uncertainty(20000 * per_re)
