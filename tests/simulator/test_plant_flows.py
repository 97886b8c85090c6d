"""The plant's own equations, against figures from outside the project."""

from __future__ import annotations

from math import inf, pi, sqrt

import pytest

from simulator.drains import stack_limit_m3_s
from simulator.flows import (
    HOLE_CD,
    WEIR_SI,
    Edge,
    RoundHole,
    Run,
    Sponge,
    edge_flow,
    kinematic_viscosity_m2_s,
)
from simulator.lift import Curve, Lift, Rise

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
