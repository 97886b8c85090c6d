"""The parts of a flow that a derivation shows, against outside sources and against the whole."""

from __future__ import annotations

from math import inf, pi, sqrt

import fluids
import pytest

from rules.figures import edges_m, emptied
from rules.hydraulics.drains import lip_flow, lip_parts
from rules.hydraulics.fittings import (
    drain_k,
    loss_k,
    of_drain,
    of_run,
    run_k,
    times_turbulent,
    turbulent_factor,
)
from rules.hydraulics.friction import colebrook, darcy, turbulent_weight
from rules.hydraulics.weir import CombFlow
from tests.hydraulics.demo_sites import demo

G = 9.80665


@pytest.mark.parametrize(("reynolds", "roughness"), [(1e4, 0.0), (3e4, 4e-5), (1e5, 0.01)])
def test_colebrook_factor(reynolds: float, roughness: float) -> None:
    """Source: fluids.friction.Colebrook, solved there by another way (Lambert W); rtol 1e-9."""
    expected = fluids.friction.Colebrook(reynolds, roughness)
    assert colebrook(reynolds, roughness) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("reynolds", "weight"), [(100.0, 0.0), (2000.0, 0.0), (3000.0, 0.5), (4000.0, 1.0), (1e6, 1.0)]
)
def test_weight_of_turbulence(reynolds: float, weight: float) -> None:
    """Own choice: t^2 (3 - 2 t) is a half in the middle, and level at both ends."""
    assert turbulent_weight(reynolds) == weight


@pytest.mark.parametrize("reynolds", [500.0, 2001.0, 2500.0, 3999.0, 4001.0, 5e4])
def test_the_factor_is_its_parts_weighed(reynolds: float) -> None:
    weight = turbulent_weight(reynolds)
    whole = (1.0 - weight) * 64.0 / reynolds + weight * colebrook(reynolds, 1e-4)
    assert darcy(reynolds, 1e-4)[0] == pytest.approx(whole, rel=1e-12)


def test_multiples_of_the_turbulent_factor() -> None:
    """Crane TP-410, A-27: a gate valve has 8 fT; an exit loses the velocity head at any size."""
    assert times_turbulent("gate-valve") == 8.0
    assert loss_k("gate-valve", 0.0409) == pytest.approx(8.0 * turbulent_factor(0.0409))
    assert times_turbulent("exit") is None


def test_fittings_that_are_always_there() -> None:
    """A run ends in an exit; a drain begins with an entrance as well, the worst if not listed."""
    assert of_run(["elbow-90"]) == ["elbow-90", "exit"]
    assert of_run(["exit", "elbow-90"]) == ["exit", "elbow-90"]
    assert of_drain([]) == ["entrance-projecting", "exit"]
    assert of_drain(["entrance-flush"]) == ["entrance-flush", "exit"]
    for listed in ([], ["elbow-90"], ["entrance-flush", "exit"]):
        assert drain_k(listed, 0.04) == sum(loss_k(f, 0.04) for f in of_drain(listed))
        assert run_k(listed, 0.04) == sum(loss_k(f, 0.04) for f in of_run(listed))


def test_lip_and_mouth_of_a_drain() -> None:
    """A weir over pi D and an orifice of the whole mouth, each with 0.60; none without head."""
    weir, orifice = lip_parts(0.02, 0.04)
    assert weir == pytest.approx(2 / 3 * 0.6 * pi * 0.04 * 0.02 * sqrt(2 * G * 0.02))
    assert orifice == pytest.approx(0.6 * pi / 4 * 0.04**2 * sqrt(2 * G * 0.02))
    assert lip_flow(0.02, 0.04) == min(weir, orifice)
    assert lip_parts(0.0, 0.04) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("up_m", "down_m", "held"), [(1.02, 0.9, False), (1.02, 1.015, True), (1.05, 1.045, True)]
)
def test_a_slot_and_all_slots(up_m: float, down_m: float, held: bool) -> None:
    """Francis in SI, 1.84 (b - 0.2 h) h^1.5, with the contraction ending at h = b / 3."""
    comb = CombFlow(crest_m=1.0, slots=7, slot_width_m=0.009, slot_height_m=0.03)
    slot = comb.slot(up_m, down_m)
    assert slot.clear_m == pytest.approx(0.009 - 0.2 * 0.003)
    head, over = up_m - 1.0, max(0.0, up_m - 1.03)
    assert slot.free_m3_s == pytest.approx(1.84 * 0.0084 * (head**1.5 - over**1.5))
    assert (slot.held < 1.0) is held
    assert (slot.drowned_m3_s < inf) is held
    whole = 7 * min(slot.free_m3_s * slot.held, slot.drowned_m3_s)
    assert comb.flow(up_m, down_m) == pytest.approx(whole, rel=1e-12)


def test_edges_that_end_a_drain_down() -> None:
    """The display stops at its comb or at the riser's siphon break, with that plugged at its end.

    Read from the site file: 900 mm, and 560, 565 and 520 mm above it.
    """
    site = demo("classroom")
    assert edges_m(site, "display", True) == pytest.approx({"comb": 1.46, "riser": 1.465})
    assert edges_m(site, "display", False) == pytest.approx({"comb": 1.46, "riser": 1.42})
    assert emptied(site, "return-pump") == ("display", "overflow-box", "refugium")
