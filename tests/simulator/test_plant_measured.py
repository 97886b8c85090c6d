"""What a bucket and a clock said of a site, in its plant."""

from __future__ import annotations

import pytest

from rules.site.parse import parse_site
from simulator.library import site_text
from simulator.water.plant import Plant

RISER = """
[measured.riser-timed]
of = "riser"
flow = "55 l/min"
tolerance = "4 %"
date = 2026-03-14
"""
DRAINS = """
[measured.main-timed]
of = "main-drain"
flow = "48 l/min"
level = "165 mm"
date = 2026-03-14

[measured.emergency-timed]
of = "emergency-drain"
flow = "9 l/min"
level = "225 mm"
date = 2026-03-14

[measured.baffle-timed]
of = "last-baffle"
flow = "60 l/min"
level = "219 mm"
date = 2026-03-14
"""
LITRE_MIN = 1e-3 / 60


def settled(text: str, seed: int = 0, *, exact: bool = True) -> Plant:
    """The classroom with more in its file, on a good day."""
    plant = Plant(parse_site(site_text("classroom") + text, "timed.toml"), seed, exact=exact)
    plant.settle()
    return plant


@pytest.mark.parametrize("flow", ["55 l/min", "68 l/min"])
def test_pump_lifts_what_was_measured(flow: str) -> None:
    plant = settled(RISER.replace("55 l/min", flow))
    litres = float(flow.split(maxsplit=1)[0])
    assert plant.flows_m3_s["riser"] / LITRE_MIN == pytest.approx(litres, rel=5e-3)


def test_pump_measured_as_a_whole_shares_it_out() -> None:
    plant = settled(RISER.replace('"riser"', '"return-pump"'))
    assert plant.flows_m3_s["return-pump"] / LITRE_MIN == pytest.approx(55.0, rel=5e-3)
    assert plant.flows_m3_s["riser"] < plant.flows_m3_s["return-pump"]


def test_drawn_plants_stay_within_the_tolerance_of_the_measurement() -> None:
    """Drawn pumps spread by far more; a measured one by four percent at the most."""
    flows = [
        settled(RISER, seed, exact=False).flows_m3_s["riser"] / LITRE_MIN for seed in range(1, 9)
    ]
    assert all(0.955 * 55.0 < flow < 1.045 * 55.0 for flow in flows)
    assert max(flows) - min(flows) > 0.5


def test_passages_carry_what_was_measured_at_their_level() -> None:
    plant = settled(DRAINS)
    inlet_m, back_m = plant.level_m("inlet") + 0.1, plant.level_m("return") + 0.1
    main, emergency = plant.siphon("main-drain"), plant.siphon("emergency-drain")
    assert main.full(1.150 + 0.165, inlet_m) / LITRE_MIN == pytest.approx(48.0, rel=1e-2)
    assert emergency.pipe.film(1.150 + 0.225, inlet_m) / LITRE_MIN == pytest.approx(9.0, rel=1e-6)
    baffle = next(way for key, way, _, _ in plant.ways if key == "last-baffle")
    assert baffle.still(0.1 + 0.219, back_m, 1.0, 0.05) / LITRE_MIN == pytest.approx(60.0, rel=1e-6)
