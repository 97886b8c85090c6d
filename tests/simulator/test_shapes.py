"""Chambers of any shape in the plant: boxes, cylinders, and tanks given by their fillings."""

from __future__ import annotations

import random
from math import pi, sqrt

import pytest

from rules.site.chambers import Chamber
from rules.site.parse import parse_site
from simulator.water.plant import Plant
from simulator.water.shapes import Shapes, least_plan_m2, rim_length_m

FUNNEL = {
    "bottom": "100 mm",
    "rim": "400 mm",
    "displacement": "10 %",
    "fillings": [
        {"level": "0 mm", "volume": "0 l"},
        {"level": "100 mm", "volume": "5 l"},
        {"level": "200 mm", "volume": "20 l"},
        {"level": "400 mm", "volume": "80 l"},
    ],
}


def chamber(**keys: object) -> Chamber:
    """A chamber from the keys of a site file."""
    return Chamber.model_validate({"bottom": "1 m", "rim": "500 mm"} | keys)


def test_cylinder_and_box_hold_what_geometry_says() -> None:
    """pi/4 d^2 h and l w h; the rim of a cylinder is pi d long."""
    drum, box = chamber(diameter="400 mm"), chamber(length="800 mm", width="300 mm")
    shapes = Shapes([drum, box])
    assert shapes.volume_m3(0, 0.25) == pytest.approx(pi / 4 * 0.16 * 0.25)
    assert shapes.volume_m3(1, 0.25) == pytest.approx(0.060)
    surfaces = shapes.surfaces_m([pi / 4 * 0.16 * 0.25, 0.060])
    assert surfaces == [pytest.approx(1.25), pytest.approx(1.25)]
    assert rim_length_m(drum) == pytest.approx(pi * 0.4)
    assert rim_length_m(box) == pytest.approx(2.2)
    assert rim_length_m(chamber(area="0.25 m^2")) == pytest.approx(2.0)


def test_trough_given_by_its_fillings_stands_as_a_wedge_does() -> None:
    """A wedge of 60 degrees, 1 m long: V = h^2 / sqrt(3) m3, so h = sqrt(V sqrt(3))."""
    levels_mm = range(0, 401, 10)
    fillings = [
        {"level": f"{mm} mm", "volume": f"{(mm / 1000) ** 2 / sqrt(3):.9f} m^3"} for mm in levels_mm
    ]
    shapes = Shapes([chamber(rim="400 mm", fillings=fillings)])
    for litres in (5.0, 20.0, 60.0, 90.0):
        level_m = shapes.surfaces_m([litres / 1000])[0] - 1.0
        assert level_m == pytest.approx(sqrt(litres / 1000 * sqrt(3)), abs=2e-4)


def test_levels_of_an_odd_shape_are_the_site_files_own() -> None:
    """Up and down, in leaps and over the rim: whatever the last look was, the same level."""
    odd = Chamber.model_validate(FUNNEL)
    shapes, chance = Shapes([odd]), random.Random(5)
    for volume in [chance.uniform(0.0, 0.09) for _ in range(500)] + [0.0, 0.0045, 0.018, 0.072]:
        surface_m = shapes.surfaces_m([volume])[0]
        assert surface_m == pytest.approx(odd.bottom + odd.level_m(volume), abs=1e-12)
        assert shapes.volume_m3(0, surface_m - odd.bottom) == pytest.approx(volume, abs=1e-12)


def test_least_plan_is_taken_from_the_edge_up() -> None:
    """Under its neck a bottle is wide; what matters is where the water stands."""
    bottle = chamber(
        fillings=[
            {"level": "0 mm", "volume": "0 l"},
            {"level": "100 mm", "volume": "2 l"},
            {"level": "300 mm", "volume": "22 l"},
            {"level": "500 mm", "volume": "32 l"},
        ]
    )
    assert least_plan_m2(bottle, -0.2) == pytest.approx(0.02)
    assert least_plan_m2(bottle, 0.15) == pytest.approx(0.05)
    assert least_plan_m2(bottle, 0.30) == pytest.approx(0.05)
    assert least_plan_m2(chamber(area="0.3 m^2"), 0.1) == pytest.approx(0.3)


def test_odd_sump_fills_as_its_table_says(bench_text: str) -> None:
    """Six litres a minute into the funnel (a tenth of it rock): 45 s, 3 min, and over in 12 min.

    By hand: 4.5 l, 18 l and 72 l at 100, 200 and 400 mm. Taken as upright, by its plan at the rim,
    it would stand at 17 mm after 45 s.
    """
    text = bench_text.replace(
        'rim = "600 mm"\narea = "2 m^2"\nlevel = "300 mm"',
        'rim = "400 mm"\nlevel = "60 mm"\ndisplacement = "10 %"\n'
        'fillings = [{level="0 mm", volume="0 l"}, {level="100 mm", volume="5 l"}, '
        '{level="200 mm", volume="20 l"}, {level="400 mm", volume="80 l"}]',
    )
    plant = Plant(parse_site(text, "funnel.toml"), 0, exact=True)
    plant.bring("sump", -1.0)
    assert plant.level_m("sump") == 0.0
    total_m3 = plant.total_m3
    plant.stream_m3_s["sump"] = 1e-4
    for at_s, level_mm in ((45.0, 100.0), (180.0, 200.0), (719.0, 399.63)):
        plant.advance(at_s - plant.t_s)
        assert plant.level_m("sump") * 1000 == pytest.approx(level_mm, abs=0.01)
        assert plant.spilled_total_m3 == 0.0
    plant.advance(200.0)
    assert plant.spilled_m3["sump"] == pytest.approx(20e-3, abs=3e-3)
    assert 0.400 < plant.level_m("sump") < 0.403
    assert plant.total_m3 == pytest.approx(total_m3, rel=1e-12)
