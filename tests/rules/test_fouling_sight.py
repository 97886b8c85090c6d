"""What check says of the loss of a main drain that a site's sensors would show."""

from __future__ import annotations

import json

import pytest

from daemon import checking
from rules.assessment import fouling
from rules.assessment.fouling import Fouling
from rules.engine import plan_for
from rules.site.model import Site
from simulator.water.plant import Plant
from tests.level_site import LEVEL, level_site
from tests.rules.nights import edited, site_of, text_of


def of_box(site: Site) -> tuple[Fouling, str]:
    """What is said of the overflow box: the figures, and the clause."""
    plan = plan_for(site)
    found = fouling.fouling(plan)
    rows = zip(found, fouling.coverage(plan, found), strict=True)
    return next((its, row.note) for its, row in rows if its.chamber == "overflow-box")


def stands_m(site: Site, loss: float) -> float:
    """Where a plant of the drawing's own coefficients stands with so much of the drain gone [m]."""
    plant = Plant(site, 1, exact=True)
    plant.settle()
    plant.condition["main-drain"] = 1.0 - loss
    for _ in range(3000):
        plant.advance(0.1)
    return plant.level_m("overflow-box")


def test_the_float_turns_at_about_the_loss_that_is_told() -> None:
    """Against the simulated plant, which has formulas of its own."""
    site = site_of(text_of("classroom"))
    its, note = of_box(site)
    assert its.floats == ("box-watch",)
    assert its.by_floats == pytest.approx(0.22, abs=0.01)
    height_m = site.floats()["box-watch"].height
    assert stands_m(site, its.by_floats - 0.08) < height_m < stands_m(site, its.by_floats + 0.08)
    assert note == "the floats turn from a loss of about 22 % on: less is not seen"


def test_a_float_hung_higher_sees_less_and_none_sees_nothing() -> None:
    losses = []
    for height in ("190 mm", "220 mm", "300 mm"):
        text = edited(text_of("classroom"), "sensors.box-watch", height=f'"{height}"')
        its, _ = of_box(site_of(text))
        assert its.by_floats is not None
        losses.append(its.by_floats)
    assert losses == sorted(losses)
    assert losses[0] < losses[1] < losses[2] - 0.05
    plan = plan_for(site_of(text_of("classroom")))
    found = fouling.fouling(plan)
    (row,) = [row for row in fouling.coverage(plan, found) if "refugium" in row.failure]
    assert row.sensors == ()
    assert row.note == "nothing hangs there that turns by it"


def test_a_level_sensor_sees_more_and_says_from_which_tolerance() -> None:
    its, note = of_box(level_site())
    assert its.levels == (LEVEL,)
    assert its.slowly == 0.08
    assert its.at_first is not None
    assert its.by_floats is not None
    assert its.slowly < its.at_first
    assert "10 % in ten minutes, 3 % in an hour, 8 % however slowly" in note
    assert "the sensor is good to 5.0 mm" in note
    assert "the floats turn from a loss of about 22 % on" in note


def test_it_stands_in_the_json_of_check() -> None:
    told = json.loads(checking.as_json(checking.check(level_site())))
    (box,) = [one for one in told["main_drains"] if one["chamber"] == "overflow-box"]
    assert box["levels"] == [LEVEL]
    assert box["level_tolerance_m"] == 0.005
    assert box["least_loss_however_slow"] == 0.08
    assert any("loses a part of what it carries" in row["failure"] for row in told["coverage"])
