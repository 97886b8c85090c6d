"""From the site file's tables to the plant: valves, level runs, canisters, pumps, water changes."""

from __future__ import annotations

from math import pi

import fluids
import pytest

from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.water.drains import Siphon, gate_loss, level_limit_m3_s
from simulator.water.flows import LOSSES, Run
from simulator.water.plant import Plant
from tests.simulator.third_site import THIRD_SITE

G = 9.80665


def edited(old: str, new: str, text: str = THIRD_SITE) -> Site:
    """The third site with one line changed."""
    assert text.count(old) == 1
    return parse_site(text.replace(old, new), "edited.toml")


def still(site: Site, seed: int = 0, *, exact: bool = True) -> Plant:
    """A settled plant, as drawn unless a seed is to be drawn."""
    plant = Plant(site, seed, exact=exact)
    plant.settle()
    return plant


def way_of(plant: Plant, key: str) -> object:
    """The way of one passage."""
    return next(way for name, way, _, _ in plant.ways if name == key)


def _loss_m(run: Run, flow: float, bore_m: float, length_m: float, loss: float) -> float:
    """Head that a full pipe loses at a flow: Darcy, with Colebrook's factor from `fluids`."""
    speed = flow / (pi / 4 * bore_m * bore_m)
    reynolds = speed * bore_m * run._reynolds * run.area_m2 / bore_m
    friction = fluids.friction_factor(Re=reynolds, eD=1.5e-6 / bore_m)
    return float((loss + friction * length_m / bore_m) * speed * speed / (2 * G))


@pytest.mark.parametrize("open_share", [0.27, 0.5, 1.0])
def test_siphon_with_a_known_valve_loses_what_pipe_and_valve_lose(open_share: float) -> None:
    """Its level run, full of water, adds its length; the valve counts once, at its opening."""
    share = f'valve_open = "{open_share * 100:.0f} %"'
    site = edited('valve_open = "27 %"', share)
    siphon = way_of(Plant(site, 0, exact=True), "main-drain")
    assert isinstance(siphon, Siphon)
    drain = site.drains_from("box")["main-drain"]
    loss = sum(LOSSES[name] for name in drain.fittings if name != "gate-valve")
    loss += max(gate_loss(open_share, 0.5), LOSSES["gate-valve"])
    up, down = 1.150 + 0.160, 0.320
    for _ in range(3):
        flow = siphon.full(up, down)
    lost_m = _loss_m(siphon.pipe.run, flow, drain.pipe.bore_m, 0.9 + 0.4, loss)
    assert lost_m == pytest.approx(up - down, rel=5e-3)


def test_drawn_valves_differ_within_the_two_tables() -> None:
    """The same opening passes from plant to plant what no keeper could tell beforehand."""
    site = parse_site(THIRD_SITE, "workshop.toml")
    flows = []
    for seed in range(1, 13):
        siphon = way_of(Plant(site, seed), "main-drain")
        assert isinstance(siphon, Siphon)
        flows.append(siphon.full(1.31, 0.32))
    middle = way_of(Plant(site, 0, exact=True), "main-drain")
    assert isinstance(middle, Siphon)
    shares = [flow / middle.full(1.31, 0.32) for flow in flows]
    assert 0.80 < min(shares) < 0.97
    assert 1.03 < max(shares) < 1.25


@pytest.mark.parametrize("key", ["open-drain", "emergency-drain"])
def test_level_run_caps_an_open_pipe(key: str) -> None:
    """Manning's flow just full at 10 mm in a metre, for an n of 0.009 to 0.013; a stack has more.

    Under a flood of 150 mm the pipe passes nearly that and never more; without the run twice as
    much would come down.
    """
    run = 'length = "800 mm", fall = "8 mm"'
    if key == "emergency-drain":
        site = edited('mouth = "190 mm"\n', f'level_run = {{ {run} }}\nmouth = "190 mm"\n')
    else:
        site = parse_site(THIRD_SITE, "workshop.toml")
    bore_m = site.drains_from("box")[key].pipe.bore_m
    slow, fast = (level_limit_m3_s(bore_m, 0.01, n) for n in (0.013, 0.009))
    most = []
    for seed in range(1, 9):
        pipe = Plant(site, seed).siphon(key).pipe
        most.append(pipe.film(pipe.mouth + 0.15, 0.3))
    assert 0.9 * slow * 0.97 < min(most) < max(most) <= fast * 1.03
    assert max(most) - min(most) > 0.05 * slow
    steep = edited('"800 mm", fall = "8 mm"', '"80 mm", fall = "8 mm"')
    bare = Plant(steep, 0, exact=True).siphon("open-drain").pipe
    assert bare.film(bare.mouth + 0.15, 0.3) > 1.2 * max(most)


def lifted(site: Site) -> dict[str, float]:
    """What each branch carries with the pump at its speed and every chamber where it begins."""
    plant = Plant(site, 0, exact=True)
    lift = plant.lifts["lifter"]
    lift.speed = lift.full_speed
    for _ in range(20):
        lift.solve(plant.surface_m)
    return plant.flows_m3_s


def test_canister_takes_flow_from_its_branch() -> None:
    """A bed that loses as much as the branch lifts: what comes up falls; the other branch gains."""
    after = lifted(parse_site(THIRD_SITE, "workshop.toml"))
    before = lifted(edited('canister = { loss = "900 mm", at_flow = "5 l/min" }', ""))
    assert after["media-feed"] < 0.8 * before["media-feed"]
    assert after["riser"] > before["riser"]
    worse = lifted(edited('loss = "900 mm"', 'loss = "3600 mm"'))
    assert worse["media-feed"] < 0.75 * after["media-feed"]


def test_worn_pump_is_one_with_less_flow_at_every_head() -> None:
    """A fifth worn: the same as the curve drawn with four fifths of the flow."""
    curve = ('"60 l/min", head = "3 m"', '"120 l/min", head = "1.2 m"', '"150 l/min", head')
    text = THIRD_SITE.replace('worn = "5 %"\n', "")
    for point, less in zip(curve, ("48", "96", "120"), strict=True):
        litres = point[1 : point.index(" ")]
        text = text.replace(point, point.replace(litres, less))
    drawn = still(parse_site(text, "drawn.toml"))
    worn = still(edited('worn = "5 %"', 'worn = "20 %"'))
    assert worn.flows_m3_s["lifter"] == pytest.approx(drawn.flows_m3_s["lifter"], rel=1e-9)
    new = still(edited('worn = "5 %"', 'worn = "0 %"'))
    assert worn.flows_m3_s["lifter"] < 0.95 * new.flows_m3_s["lifter"]


def test_slower_pump_lifts_less_and_stops_as_far() -> None:
    slow, full = (
        still(edited('speed = "90 %"', 'speed = "85 %"')),
        still(edited('speed = "90 %"', 'speed = "100 %"')),
    )
    assert slow.flows_m3_s["lifter"] < 0.85 * full.flows_m3_s["lifter"]
    for plant in (slow, full):
        plant.command("lifter-relay", False)
        stopped_s = 0.0
        while plant.flows_m3_s["riser"] > 0.0:
            plant.advance(0.1)
            stopped_s += 0.1
        assert stopped_s == pytest.approx(2.0, abs=0.4)


def test_under_baffle_holds_the_bay_a_little_over_the_sump() -> None:
    """C 0.61 to 0.656 for a slot on the floor (USBR): the loss by hand, within its band."""
    plant = still(parse_site(THIRD_SITE, "workshop.toml"))
    flow = plant.flows_m3_s["slot"]
    assert flow == pytest.approx(plant.flows_m3_s["lifter"], rel=1e-3)
    fall_m = plant.level_m("bay") - plant.level_m("sump")
    losses = [(flow / (cd * 0.04 * 0.3)) ** 2 / (2 * G) for cd in (0.656, 0.61)]
    assert losses[0] <= fall_m * 1.001
    assert fall_m <= losses[1] * 1.001


def test_under_baffle_runs_back_when_the_sump_stands_higher(workshop: Site) -> None:
    plant = Plant(workshop, 1)
    plant.bring("sump", 0.020)
    plant.advance(0.1)
    assert plant.flows_m3_s["slot"] < 0.0
    plant.advance(120.0)
    assert plant.level_m("bay") == pytest.approx(plant.level_m("sump"), abs=1e-4)


def test_water_change_brings_in_what_it_takes_out(workshop: Site) -> None:
    """60 l a day, as drawn: 2.5 l an hour out of the bay and into the sump, and no level moves."""
    plant = still(workshop)
    plant.evaporating_m3_s = 0.0
    total_m3, stood_m = plant.total_m3, plant.levels_m()
    for _ in range(900):
        plant.advance(1.0)
    assert plant.water_change is not None
    assert plant.water_change.coming_m3_s * 3600 == pytest.approx(2.5e-3)
    assert plant.brought_m3 == pytest.approx(0.0, abs=1e-12)
    assert plant.level_m("sump") == pytest.approx(stood_m["sump"], abs=2e-4)
    assert plant.total_m3 == pytest.approx(total_m3, rel=1e-12)


def test_its_pumps_differ_from_plant_to_plant_within_the_tolerance(workshop: Site) -> None:
    """6 % either way; over an hour that is 0.15 l at most, and it shows in the sump alone."""
    differ = set()
    for seed in range(1, 9):
        change = Plant(workshop, seed).water_change
        assert change is not None
        assert abs(change.differs) <= 0.06
        assert change.coming_m3_s - change.going_m3_s == pytest.approx(
            change.differs * 0.060 / 86400
        )
        differ.add(change.differs)
    assert len(differ) == 8


def test_one_pump_that_fails_fills_the_sump(workshop: Site) -> None:
    """All of 60 l a day too much: 0.625 l in a quarter of an hour; without mains nothing comes."""
    plant = still(workshop)
    plant.evaporating_m3_s = 0.0
    assert plant.water_change is not None
    plant.water_change.differs = 1.0
    stood_m3 = sum(plant.volume_m3)
    for _ in range(900):
        plant.advance(1.0)
    assert plant.brought_m3 == pytest.approx(0.625e-3, rel=1e-9)
    assert sum(plant.volume_m3) - stood_m3 == pytest.approx(plant.brought_m3, rel=1e-9)
    plant.mains = False
    before_m3 = plant.brought_m3
    plant.advance(60.0)
    assert plant.brought_m3 == before_m3


def test_site_without_a_water_change_has_none(classroom: Site) -> None:
    assert Plant(classroom, 1).water_change is None
