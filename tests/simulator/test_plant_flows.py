"""The plant's own equations, against figures from outside the project."""

from __future__ import annotations

from math import inf, pi, sqrt

import fluids
import pytest

from simulator.water.drains import gate_loss, level_limit_m3_s, stack_limit_m3_s
from simulator.water.flows import (
    HOLE_CD,
    WEIR_SI,
    Bed,
    Edge,
    RoundHole,
    Run,
    Slot,
    Sponge,
    edge_flow,
    kinematic_viscosity_m2_s,
    slot_cd,
)
from simulator.water.lift import Curve, Lift, Rise

GPM_M3_S = 231 * 0.0254**3 / 60
BIG = {"upper_m2": 1e6, "lower_m2": 1e6}


def test_weir_is_francis() -> None:
    """SI form of Francis, 1.84 L H^1.5; Kindsvater-Carter gives 4.15829 l/s for the same edge.

    b 0.2 m, P 0.3 m, h 50 mm: `fluids` 1.3.1, Q_weir_rectangular_full_Kindsvater_Carter.
    """
    flow = edge_flow(WEIR_SI, 0.2, inf, 0.05, -1.0)
    assert flow == pytest.approx(1.84 * 0.2 * 0.05**1.5)
    assert flow == pytest.approx(4.15829e-3, rel=0.05)


@pytest.mark.parametrize("ratio", [0.2, 0.5, 0.8, 0.95])
def test_drowned_weir_agrees_with_villemonte(ratio: float) -> None:
    """Villemonte (1 - (h2/h1)^1.5)^0.385, as the SWMM source has it: another law, within 11 %."""
    free = edge_flow(WEIR_SI, 1.0, inf, 0.1, 0.0)
    drowned = edge_flow(WEIR_SI, 1.0, inf, 0.1, ratio * 0.1)
    assert drowned / free == pytest.approx((1 - ratio**1.5) ** 0.385, rel=0.11)


def test_edge_runs_both_ways_and_stands_when_level() -> None:
    edge = Edge(WEIR_SI, 1.0, 0.3, inf, **BIG)
    there = edge.advance(1.05, 1.02, 1.0, 0.05)
    assert there > 0.0
    assert edge.advance(1.02, 1.05, 1.0, 0.05) == -there
    assert edge.advance(1.05, 1.05, 1.0, 0.05) == 0.0
    assert edge.advance(0.99, 0.95, 1.0, 0.05) == 0.0


def test_slot_passes_less_than_an_edge_once_it_is_full() -> None:
    slot = edge_flow(WEIR_SI, 0.3, 0.04, 0.06, -1.0)
    assert slot < edge_flow(WEIR_SI, 0.3, inf, 0.06, -1.0)
    assert slot > edge_flow(WEIR_SI, 0.3, 0.04, 0.05, -1.0)


def test_one_step_never_overshoots_the_common_level() -> None:
    """A wide edge between two small chambers: explicit steps approach the common level, no more."""
    upper, lower = 0.10, 0.0
    edge = Edge(WEIR_SI, 0.0, 10.0, inf, upper_m2=0.01, lower_m2=0.01)
    for _ in range(100):
        moved = edge.advance(upper, lower, 1.0, 0.05) * 0.05 / 0.01
        upper, lower = upper - moved, lower + moved
        assert upper >= lower - 1e-12
    assert upper == pytest.approx(0.05, abs=1e-3)


def test_full_siphon() -> None:
    """Fall 0.7 m, 1 m of 40.94 mm, sum K 2.7, e 1.5 um, nu 9.37e-7: 164.83 l/min (Colebrook)."""
    run = Run(0.04094, 1.0, 2.7, 1.5e-6, 9.37e-7)
    assert run.flow(0.7) * 60000 == pytest.approx(164.83, rel=2e-3)
    assert run.flow(-0.7) == pytest.approx(-run.flow(0.7))
    assert run.flow(0.0) == 0.0


def test_loss_for_is_the_inverse_of_flow() -> None:
    run = Run(0.04094, 1.3, 2.7, 1.5e-6, 9.37e-7)
    run.throttle(run.loss_for(1e-3, 0.8))
    assert run.flow(0.8) == pytest.approx(1e-3, rel=1e-3)


def test_drowned_hole_is_an_orifice() -> None:
    """Sharp orifice, Cd 0.618 to 0.637 (Encyclopaedia Britannica 1911, Hydraulics 19-20)."""
    hole = RoundHole(HOLE_CD, 0.5, 0.01, **BIG)
    flow = hole.advance(1.0, 0.7, 1.0, 0.05)
    assert 0.618 <= flow / (pi * 0.01**2 * sqrt(2 * 9.80665 * 0.3)) <= 0.637
    assert hole.advance(0.7, 1.0, 1.0, 0.05) == -flow
    assert hole.advance(0.49, 0.0, 1.0, 0.05) == 0.0
    half = hole.advance(0.5, 0.0, 1.0, 0.05)
    assert 0.0 < half < flow


def test_slot_under_a_baffle_is_a_drowned_orifice() -> None:
    """Q = C A sqrt(2 g h): C 0.61 with full contraction (USBR Water Measurement Manual, 9).

    With a whole side and both ends along walls it passes 7.5 % more there; on the floor alone,
    as here, nearly as much. It runs both ways, and stands still when level.
    """
    slot = Slot(slot_cd(0.04, 0.3, False), 0.1, 0.04, 0.3, **BIG)
    flow = slot.advance(0.35, 0.33, 1.0, 0.05)
    assert flow == pytest.approx(0.61 * 0.04 * 0.3 * sqrt(2 * 9.80665 * 0.02))
    assert slot.advance(0.33, 0.35, 1.0, 0.05) == -flow
    assert slot.advance(0.35, 0.33, 0.5, 0.05) == pytest.approx(0.5 * flow)
    assert slot.advance(0.35, 0.35, 1.0, 0.05) == 0.0
    assert slot.advance(0.09, 0.02, 1.0, 0.05) == 0.0
    assert 1.05 < slot_cd(0.04, 0.3, True) / 0.61 < 1.075


def test_slot_that_is_not_full_lets_less_through() -> None:
    """Half drowned it passes about what an edge does (Francis); the less the lower the water."""
    slot = Slot(slot_cd(0.04, 0.3, True), 0.0, 0.04, 0.3, **BIG)
    flows = [slot.advance(depth, -1.0, 1.0, 0.05) for depth in (0.0, 0.01, 0.02, 0.03, 0.04, 0.08)]
    assert flows == sorted(flows)
    assert flows[2] == pytest.approx(1.84 * 0.3 * 0.02**1.5, rel=0.12)
    assert flows[5] > 1.5 * flows[4]


def test_bed_in_a_canister_loses_what_the_site_file_says() -> None:
    """At the flow at which it was seen; at half of it between a half and a quarter."""
    run = Run(0.0158, 0.8, 2.3, 1.5e-6, 9.37e-7)
    with_bed = Run(0.0158, 0.8, 2.3, 1.5e-6, 9.37e-7, bed=Bed(0.9, 1e-4, 0.5))
    for flow, lost_m in ((1e-4, 0.9), (0.5e-4, 0.9 * (0.25 + 0.125))):
        head_m = lost_m + flow * flow * run.resistance(flow)
        for _ in range(5):
            found = with_bed.flow(head_m)
        assert found == pytest.approx(flow, rel=3e-3)
    assert with_bed.flow(-head_m) == pytest.approx(-flow, rel=3e-3)


def test_sponge_loses_what_the_site_file_says_when_clean() -> None:
    sponge = Sponge(0.0, 0.2, 0.008, 1e-3, 0.5, **BIG)
    assert sponge.advance(0.2, 0.192, 1.0, 0.05) == pytest.approx(1e-3)
    assert sponge.advance(0.2, 0.192, 0.25, 0.05) == pytest.approx(0.25e-3)
    assert sponge.advance(0.2, 0.192, 0.0, 0.05) == 0.0
    assert sponge.advance(0.192, 0.2, 1.0, 0.05) == pytest.approx(-1e-3)


@pytest.mark.parametrize(
    ("inches", "share", "gpm"),
    [(2, 7 / 24, 22.64), (3, 7 / 24, 66.76), (4, 1 / 3, 179.61)],
)
def test_stack_limit(inches: float, share: float, gpm: float) -> None:
    """Wyly and Eaton, NBS Monograph 31 (1961): 27.8 r^(5/3) D^(8/3), formula from memory."""
    assert stack_limit_m3_s(inches * 0.0254, share) / GPM_M3_S == pytest.approx(gpm, rel=2e-3)


def test_level_run_just_full_is_mannings() -> None:
    """8 in, n 0.013, slope 0.005: 0.854 cfs (a common table of sewer flows)."""
    flow = level_limit_m3_s(8 * 0.0254, 0.005, 0.013)
    assert flow / 0.3048**3 == pytest.approx(0.854, rel=1e-3)
    assert level_limit_m3_s(0.04, 0.01, 0.009) == pytest.approx(
        fluids.V_Manning(0.01, 0.01, 0.009) * pi / 4 * 0.04**2, rel=1e-3
    )


@pytest.mark.parametrize(
    ("open_share", "handbook"), [(0.25, 24.0), (0.5, 4.5), (0.75, 0.9), (1.0, 0.17)]
)
def test_gate_valve_spreads_around_another_handbook(open_share: float, handbook: float) -> None:
    """Perry's Chemical Engineers' Handbook, a table that is not the plant's own."""
    assert gate_loss(open_share, 0.0) <= handbook <= gate_loss(open_share, 1.0)


def test_gate_valve_loses_more_the_further_it_is_shut() -> None:
    losses = [gate_loss(share / 100, 0.5) for share in range(25, 101, 5)]
    assert losses == sorted(losses, reverse=True)
    with pytest.raises(ValueError, match=r"open to 1\.10"):
        gate_loss(1.1, 0.5)


@pytest.mark.parametrize(
    ("temperature_c", "viscosity_pa_s", "density"),
    [(20, 1.07663e-3, 1024.7660), (25, 9.58828e-4, 1023.34363)],
)
def test_viscosity_of_sea_water(
    temperature_c: float, viscosity_pa_s: float, density: float
) -> None:
    """Sharqawy 2010, eq. 22-23, S 35 g/kg, over the density that `gsw` gives."""
    nu = kinematic_viscosity_m2_s(temperature_c, 35.0)
    assert nu == pytest.approx(viscosity_pa_s / density, rel=0.01)


def _lift(sum_k: float = 6.0) -> Lift:
    """EPANET's one-point curve h = 4/3 h1 - h1/3 (q/q1)^2 through 60 l/min at 2.4 m, in pieces."""
    points = [(q / 40 * 2e-3, 3.2 - 0.8 * (q / 20) ** 2) for q in range(41)]
    rise = Rise(
        "riser", 1, Run(0.04094, 3.0, sum_k, 1.5e-6, 1.0219e-6), outlet=1.2, hole=None,
        check_valve=False,
    )  # fmt: skip
    lift = Lift("pump", 0, Curve(points), None, [rise], intake=-1.0, run_on_s=2.0, spin_up_s=1.5)
    lift.speed = 1.0
    return lift


def test_operating_point() -> None:
    """EPANET through `wntr`: lift 1.2 m, 3 m of 40.94 mm, sum K 6: 83.89 l/min."""
    lift = _lift()
    for _ in range(5):
        lift.solve((0.0, 0.0))
    assert lift.flow_m3_s * 60000 == pytest.approx(83.89, rel=3e-3)


def test_operating_point_falls_with_loss_lift_and_wear() -> None:
    lift = _lift()
    flows = []
    for change in ("nothing", "loss", "lift", "wear"):
        lift = _lift(12.0 if change == "loss" else 6.0)
        lift.condition = 0.8 if change == "wear" else 1.0
        for _ in range(5):
            lift.solve((-0.5 if change == "lift" else 0.0, 0.0))
        flows.append(lift.flow_m3_s)
    assert max(flows[1:]) < flows[0]


def test_speed_follows_the_affinity_laws() -> None:
    """Flow as the speed, head as its square (the laws themselves): a curve drawn so is the same."""
    slow, drawn = _lift(), _lift()
    slow.speed = slow.full_speed = 0.8
    drawn.curve = Curve(
        [(q / 40 * 2e-3 * 0.8, 0.64 * (3.2 - 0.8 * (q / 20) ** 2)) for q in range(41)]
    )
    for _ in range(5):
        slow.solve((0.0, 0.0))
        drawn.solve((0.0, 0.0))
    assert slow.flow_m3_s == pytest.approx(drawn.flow_m3_s, rel=1e-6)
    assert slow.flow_m3_s < 0.75 * 83.89 / 60000


def test_pump_runs_up_to_its_own_speed_and_no_further() -> None:
    lift = _lift()
    lift.speed, lift.full_speed = 0.0, 0.6
    for _ in range(40):
        lift.turn(True, (0.0, 0.0), 0.05)
    assert lift.speed == pytest.approx(0.6)
    assert lift.steady
