"""Derivations against the outside: handbooks, general-purpose libraries, and sums by hand."""

from __future__ import annotations

from math import pi

import fluids
import gsw
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from rules.explain.explain import known
from tests.rules.explained_sites import page, plan_of
from tests.rules.worked_pages import Worked

G = 9.80665
GALLON_MIN_M3_S = 6.30902e-5
"""A US gallon a minute, 231 cubic inches in 60 s (NIST SP 811, appendix B)."""


def tags(worked: Worked, letters: str) -> list[str]:
    """What stands after these letters in the symbols of a page, "" for themselves."""
    return [s.symbol[len(letters) :] for s in worked.steps if s.symbol.startswith(letters)]


def pipe_of(worked: Worked, tag: str) -> str:
    """The tag of the pipe of which a speed with this tag is: the same, or shorter by one letter."""
    return tag if f"D{tag}" in worked else tag[:-1]


@pytest.mark.parametrize("name", ["classroom", "rack", "odd"])
def test_friction_factors(name: str) -> None:
    """Source: fluids.friction.Colebrook (Lambert W), at the Reynolds numbers printed."""
    compared = 0
    for figure in known(plan_of(name)):
        worked = page(name, figure)
        for tag in tags(worked, "Re"):
            pipe = pipe_of(worked, tag)
            rough = worked[f"e{pipe}"] / worked[f"D{pipe}"]
            if worked[f"Re{tag}"] >= 4000.0:
                theirs = fluids.friction.Colebrook(worked[f"Re{tag}"], rough)
                assert worked[f"f{tag}"] == pytest.approx(theirs, rel=1e-5), f"{figure}, f{tag}"
                compared += 1
    assert compared > 10


def speed_by_hand(worked: Worked, tag: str) -> float:
    """Darcy-Weisbach with fluids' Colebrook, solved by scipy, from what is given and no more."""
    (formula,) = [step.rows[0] for step in worked.steps if step.symbol == f"hl{tag}"]
    losses = worked[f"K{tag}"] + (worked["Kv"] if "+ Kv +" in formula else 0.0)
    bore, length, head = worked[f"D{tag}"], worked[f"L{tag}"], worked[f"H{tag}"]
    rough, viscosity = worked[f"e{tag}"] / bore, worked["nu"]

    def over(v: float) -> float:
        f = fluids.friction.Colebrook(v * bore / viscosity, rough)
        return float((losses + f * length / bore) * v * v / (2 * G) - head)

    return float(brentq(over, 0.01, 20.0))


@pytest.mark.parametrize("name", ["classroom", "rack", "short of its share"])
def test_speeds_found_by_trial(name: str) -> None:
    """Source: Darcy-Weisbach and Colebrook through fluids and scipy's brentq; rtol of the print."""
    compared = 0
    for figure in known(plan_of(name)):
        worked = page(name, figure)
        for tag in tags(worked, "hl"):
            if f"H{tag}" in worked and worked[f"Re{tag}"] >= 4000.0:
                assert worked[f"v{tag}"] == pytest.approx(speed_by_hand(worked, tag), rel=2e-5)
                compared += 1
    assert compared >= 4


def test_free_flow_over_a_baffle() -> None:
    """Source: fluids' full-width Kindsvater-Carter; rtol 1e-4, for its own rounded constants."""
    worked = page("classroom", "last-baffle.capacity")
    theirs = fluids.open_flow.Q_weir_rectangular_full_Kindsvater_Carter(
        h1=worked["h"], h2=worked["P"], b=worked["b"]
    )
    assert worked["Qw"] == pytest.approx(theirs, rel=1e-4)
    assert worked["h"] > 0.03


def test_villemonte_as_it_is_printed() -> None:
    """Villemonte 1947 by hand: what is left of free flow is (1 - (h2/h1)^1.5)^0.385."""
    worked = page("drowned", "comb.flow")
    share = (1 - (worked["h2"] / worked["h"]) ** 1.5) ** 0.385
    assert worked["V"] == pytest.approx(share, rel=1e-3)
    assert 0.0 < worked["V"] < 0.5


def test_the_film_of_an_open_drain() -> None:
    """Source: Wyly and Eaton 1961, 2 in pipe with 7/24 filled carries 22.64 gpm (from memory)."""
    worked = page("classroom", "open-drain.capacity")
    theirs = 22.64 * (worked["D"] / 0.0508) ** (8 / 3) * GALLON_MIN_M3_S
    assert worked["Qa"] == pytest.approx(theirs, rel=2e-4)
    assert worked["Q"] == pytest.approx(worked["Qa"], rel=1e-6)


def test_viscosity_and_density_of_the_water() -> None:
    """Sources: Sharqawy 2010, 25 degC and 35 g/kg: 9.58828e-4 Pa s; density by gsw (TEOS-10).

    The equation of 1980 differs from it by 5 g/m3 or so.
    """
    worked = page("classroom", "site.viscosity")
    assert worked["mu"] == pytest.approx(9.58828e-4, rel=1e-5)
    assert worked["rho"] == pytest.approx(gsw.rho_t_exact(35.0, 25.0, 0.0), abs=0.02)
    assert worked["nu"] == pytest.approx(worked["mu"] / worked["rho"], rel=1e-5)


def test_the_head_on_a_pump_curve() -> None:
    """Source: scipy's PchipInterpolator through the points of the site file."""
    curve = plan_of("classroom").site.pumps["return-pump"].curve
    theirs = PchipInterpolator([p.flow for p in curve], [p.head for p in curve])
    worked = page("classroom", "return-pump.flow")
    assert worked["Hc"] == pytest.approx(float(theirs(worked["q"])), rel=1e-5)
    assert worked["ma"] == pytest.approx(float(theirs.derivative()(worked["qa"])), rel=1e-5)


def test_flows_at_a_pump_and_a_chamber_add_up() -> None:
    """Continuity: branches to the pump's flow, and what leaves a chamber to what reaches it."""
    worked = page("classroom", "return-pump.flow")
    assert worked["Q1"] + worked["Q2"] == pytest.approx(worked["Q"], rel=1e-5)
    assert worked["share1"] + worked["share2"] == pytest.approx(1.0, abs=1e-5)
    box = page("classroom", "overflow-box.level")
    assert sum(box[f"Qo{i}"] for i in (1, 2, 3)) == pytest.approx(box["Qin"], rel=1e-5)


def test_a_spill_edge_by_the_overfill_idea() -> None:
    """Source: levels of concern of API 2350, level = critical - rate x response: display 0.81 m2.

    Filter 1 s, tick 0.1 s, relay 0.05 s and run-on 2 s make 3.15 s, twice that is kept in reserve.
    """
    worked = page("classroom", "display-high.height")
    assert worked["R"] == pytest.approx(1.0 + 0.1 + 0.05 + 2.0)
    by_hand = 0.600 - worked["Qh"] * 2 * 3.15 / (1.5 * 0.6 * 0.9) - 0.005
    assert worked["hmost"] == pytest.approx(by_hand, abs=2e-6)


def test_what_a_stop_sends_down_by_hand() -> None:
    """Surface times height, and a full pipe is pi/4 D^2 L: from the site file and the levels."""
    worked = page("classroom", "return-pump.drain-down")
    assert worked["V1"] == pytest.approx(0.81 * (worked["z1"] - 1.460), rel=1e-3)
    assert worked["V1p"] == pytest.approx(0.81 * (worked["z1"] - 1.420), rel=1e-3)
    riser = pi / 4 * worked["D1"] ** 2 * 1.6
    assert 0.3 * worked["Vpipes"] < riser < worked["Vpipes"]
    assert worked["Vplugged"] > worked["Vdown"] > worked["V1"] + worked["V2"] + worked["V3"]
