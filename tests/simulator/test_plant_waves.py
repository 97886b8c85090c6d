"""Waves throw water over a rim that the mean level does not reach."""

from __future__ import annotations

from math import gamma, pi, sqrt

import pytest

from rules.site.model import Site
from simulator.water.plant import Plant
from simulator.water.waves import CREST_SHARE, over_rim


def test_mean_over_a_wave() -> None:
    """Closed forms: at the rim sqrt(pi) G(5/4) / G(7/4) / 2 pi, a wave above it 2^1.5 4 / 3 pi.

    The integrals of sin^1.5 over a half turn and of |cos|^3 over a whole one.
    """
    wave_m = 0.004
    scale = wave_m * sqrt(wave_m)
    level = sqrt(pi) * gamma(1.25) / gamma(1.75) / (2.0 * pi)
    assert over_rim(0.0, wave_m) == pytest.approx(CREST_SHARE * level * scale, rel=2e-3)
    above = 2.0**1.5 * 4.0 / (3.0 * pi)
    assert over_rim(wave_m, wave_m) == pytest.approx(
        scale * (1.0 + CREST_SHARE * (above - 1.0)), rel=5e-3
    )


def test_no_wave_is_a_weir_and_a_low_one_stays_inside() -> None:
    assert over_rim(0.01, 0.0) == pytest.approx(0.01**1.5)
    assert over_rim(-0.002, 0.001) == 0.0
    assert over_rim(-0.001, 0.0) == 0.0
    assert over_rim(0.5, 0.001) == pytest.approx(0.5**1.5, rel=1e-5)
    heads = [over_rim(mm / 1000, 0.003) for mm in range(-3, 12)]
    assert heads == sorted(heads)


@pytest.fixture
def brimful(classroom: Site) -> Plant:
    """A display two millimetres under its rim, with nothing running."""
    plant = Plant(classroom, 0, exact=True)
    plant.condition["comb"] = 0.0
    plant.fill_to("display", 0.598)
    return plant


def test_stirred_water_splashes_over_and_still_water_does_not(brimful: Plant) -> None:
    total_m3 = brimful.total_m3
    brimful.advance(60.0)
    assert brimful.spilled_total_m3 == 0.0
    brimful.stirred_m["display"] = 0.010
    brimful.advance(3.0)
    splashed_m3 = brimful.spilled_m3["display"]
    assert 0.0001 < splashed_m3 < 0.005
    brimful.advance(600.0)
    assert brimful.level_m("display") > 0.590 - 1e-4  # no further than the troughs of the rim
    brimful.stirred_m.clear()
    before_m3 = brimful.spilled_total_m3
    brimful.advance(60.0)
    assert brimful.spilled_total_m3 == before_m3
    assert brimful.total_m3 == pytest.approx(total_m3, rel=1e-12)


def test_pump_makes_waves_where_its_water_comes_in(classroom: Site) -> None:
    """Water comes over while the mean level is still below the rim; in a box it waits for it."""
    plant = Plant(classroom, 0, exact=True)
    plant.settle()
    for key in ("main-drain", "open-drain", "emergency-drain"):
        plant.condition[key] = 0.0
    while plant.spilled_m3["display"] == 0.0:
        assert plant.t_s < 120.0
        plant.advance(0.1)
    assert 0.597 < plant.level_m("display") < 0.600
    while plant.spilled_m3["overflow-box"] == 0.0:
        assert plant.t_s < 300.0
        plant.advance(0.1)
    assert plant.level_m("overflow-box") > 0.350
