"""Where the level stands with a siphon that has lost its prime, and what would see it."""

from __future__ import annotations

import pytest

from rules import engine
from rules.assessment import unprimed
from rules.assessment.coverage import Coverage
from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from simulator.water.plant import Plant
from tests.level_site import LEVEL, level_site
from tests.rules.nights import edited, site_of, text_of


def row_of(site: Site) -> Coverage:
    """What check says of the classroom's main drain."""
    figures = engine.plan_for(site).figures
    (row,) = unprimed.coverage(site, figures, Hydraulics(site))
    return row


def plant_stands_m(site: Site, seed: int) -> float:
    """Where a plant of its own coefficients stands with the drain drawing air [m]."""
    plant = Plant(site, seed)
    plant.settle()
    siphon = plant.siphon("main-drain")
    siphon.draws_air = True
    siphon.lose_prime()
    for _ in range(6000):
        plant.advance(0.1)
    return plant.level_m("overflow-box")


def test_plants_drawn_apart_stand_within_the_band() -> None:
    """The plant has other formulas for a film, and some of its open drains have a hole for air."""
    site = site_of(text_of("classroom"))
    figures = engine.plan_for(site).figures
    (drained,) = (d for d in figures.drained if d.chamber == "overflow-box")
    band = unprimed.level_m(site, drained, Hydraulics(site), "main-drain")
    clean = drained.level_m - site.chambers["overflow-box"].bottom
    assert band.value > clean + 0.02
    stood = [plant_stands_m(site, seed) for seed in range(1, 9)]
    inside = [band.low - 0.005 <= level <= band.high + 0.005 for level in stood]
    assert sum(inside) >= 7, (band, stood)
    assert max(stood) - min(stood) > 0.02, "a band that one float could split"


def test_the_classrooms_float_would_tell_only_perhaps() -> None:
    row = row_of(site_of(text_of("classroom")))
    assert row.sensors == ("box-watch",)
    assert row.note.startswith("perhaps")


def test_a_level_sensor_tells() -> None:
    row = row_of(level_site())
    assert row.sensors == (LEVEL,)
    assert "perhaps" not in row.note


@pytest.mark.parametrize("height", ["155 mm", "300 mm"])
def test_a_float_under_the_clean_level_or_over_all_that_can_come_tells_nothing(height: str) -> None:
    text = edited(text_of("classroom"), "sensors.box-watch", height=f'"{height}"')
    row = row_of(site_of(text))
    assert row.sensors == ()
    assert "only a level sensor would tell" in row.note


def test_a_float_tells_for_sure_where_the_neighbours_are_high() -> None:
    """With the open drain 100 mm higher nothing makes up for the siphon before."""
    text = edited(text_of("classroom"), "passages.open-drain", mouth='"270 mm"')
    text = edited(text, "passages.emergency-drain", mouth='"300 mm"')
    text = edited(text, "passages.main-drain", tuned_share=None)
    row = row_of(site_of(edited(text, "sensors.box-watch", height='"240 mm"')))
    assert row.sensors == ("box-watch",)
    assert "perhaps" not in row.note
