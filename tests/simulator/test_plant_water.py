"""The plant's behaviour in time: levels, priming, stops, spills, and where all the water is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import site_text
from simulator.water.plant import Plant


def run_until(plant: Plant, held: Callable[[], bool], longest_s: float) -> float:
    """Let time pass until something holds; the time it took."""
    began_s = plant.t_s
    while not held():
        assert plant.t_s - began_s < longest_s, "it never came"
        plant.advance(0.1)
    return plant.t_s - began_s


@pytest.fixture
def running(classroom: Site) -> Plant:
    """The classroom as drawn, on a good day."""
    plant = Plant(classroom, 0, exact=True)
    plant.settle()
    return plant


@pytest.mark.parametrize(
    ("inflow_l_s", "head_mm"), [(0.5, 12.2673), (1.0, 19.4731), (1.5, 25.5170)]
)
def test_tank_with_weir_settles_where_swmm_says(
    bench: Site, inflow_l_s: float, head_mm: float
) -> None:
    """SWMM through `pyswmm`: tank 1 m2, weir 0.2 m, C 1.84, steady inflow."""
    plant = Plant(bench, 0, exact=True)
    plant.stream_m3_s["tank"] = inflow_l_s / 1000
    plant.advance(600.0)
    assert (plant.level_m("tank") - 0.4) * 1000 == pytest.approx(head_mm, abs=0.05)


def test_shut_weir_raises_the_tank_as_swmm_says(bench: Site) -> None:
    """SWMM through `pyswmm`: the same tank with its weir shut at 1.0 l/s rises 50 mm in 50.0 s."""
    plant = Plant(bench, 0, exact=True)
    plant.stream_m3_s["tank"] = 1e-3
    plant.advance(600.0)
    before_m = plant.level_m("tank")
    plant.condition["edge"] = 0.0
    plant.advance(50.0)
    assert plant.level_m("tank") - before_m == pytest.approx(0.050, rel=1e-9)


@pytest.mark.parametrize("name", ["classroom", "rack"])
@pytest.mark.parametrize("seed", [1, 2])
def test_no_water_appears_or_vanishes(name: str, seed: int) -> None:
    """Through blocks, stops, a leak, spills, top-off, evaporation and people with buckets."""
    site = parse_site(site_text(name), name)
    plant = Plant(site, seed)
    plant.settle()
    total_m3 = plant.total_m3
    plant.evaporating_m3_s *= 1000
    drains = [key for key, p in site.gravity().items() if p.kind.endswith("drain")]
    for number in range(300):
        if number % 40 == 10:
            plant.condition[drains[number % len(drains)]] = 0.0
        plant.command("pump-relay", number % 70 > 20)
        plant.command("top-off-valve", number % 90 > 50)
        plant.leak_m3_s = {"inlet": 1e-4} if number % 100 > 60 else {}
        plant.stream_m3_s = {"return": -2e-4 if number % 100 > 50 else 3e-4}
        plant.advance(1.0)
        assert plant.total_m3 == pytest.approx(total_m3, rel=1e-9)
    assert min(plant.volume_m3) >= 0.0
    assert plant.evaporated_m3 > 0.0
    assert plant.leaked_m3 > 0.0


def test_a_pump_takes_no_more_than_there_is(bench_text: str) -> None:
    """An intake at the very bottom empties a small chamber within a step; the sum still holds."""
    text = bench_text.replace('area = "2 m^2"', 'area = "0.01 m^2"').replace("50 mm", "0 mm")
    plant = Plant(parse_site(text, "cup"), 3)
    plant.command("lifter-relay", True)
    total_m3 = plant.total_m3
    for _ in range(200):
        plant.advance(0.1)
        assert min(plant.volume_m3) >= 0.0
        assert plant.total_m3 == pytest.approx(total_m3, rel=1e-9)
    assert plant.level_m("sump") == 0.0
    risen_m3 = plant.volume_m3[plant.index["tank"]] + plant.rises["riser"].held_m3
    assert risen_m3 == pytest.approx(total_m3, rel=1e-9)


def test_a_good_day_stays_as_it_is(running: Plant) -> None:
    """Ten minutes: nothing spills, no level but the return chamber's moves by half a millimetre."""
    before = running.levels_m()
    running.advance(600.0)
    for key, level_m in running.levels_m().items():
        assert level_m == pytest.approx(before[key], abs=0.0005)
    assert running.spilled_total_m3 == 0.0
    assert running.dry_s == 0.0
    assert running.evaporated_m3 > 0.0


def test_water_still_rises_for_the_run_on_after_a_cut(running: Plant) -> None:
    running.command("pump-relay", False)
    stopped_s = run_until(running, lambda: running.flows_m3_s["riser"] <= 0.0, 10.0)
    assert stopped_s == pytest.approx(2.0, abs=0.3)


def test_siphon_break_ends_the_back_siphon(running: Plant, classroom: Site) -> None:
    """With the hole open water runs back to the hole, plugged to the outlet, and not below."""
    before_m3 = running.volume_m3[running.index["display"]]
    running.command("pump-relay", False)
    running.advance(5.0)
    assert running.flows_m3_s["riser"] < 0.0
    running.advance(900.0)
    assert running.flows_m3_s["riser"] == 0.0
    open_level_m = running.level_m("display")
    assert 0.559 < open_level_m < 0.565
    plugged = Plant(classroom, 0, exact=True)
    plugged.settle()
    plugged.rises["riser"].plugged = True
    plugged.command("pump-relay", False)
    plugged.advance(900.0)
    assert plugged.level_m("display") == pytest.approx(0.520, abs=0.002)
    assert plugged.level_m("return") > running.level_m("return") + 0.04
    assert before_m3 > running.volume_m3[running.index["display"]]


def test_water_in_the_riser_runs_down_once_air_is_in_it(running: Plant) -> None:
    """A column of 1.135 m in 1-1/4 in pipe: bore 34.8 to 35.1 mm of ASTM D1785, some 1.1 l.

    A restart fills it again before anything comes out at the top.
    """
    riser = running.rises["riser"]
    assert riser.stands_m3 == pytest.approx(3.14159 / 4 * 0.035**2 * 1.135, rel=0.03)
    assert riser.held_m3 == pytest.approx(riser.stands_m3, abs=1e-9)
    running.command("pump-relay", False)
    run_until(running, lambda: not riser.wet, 300.0)
    down_s = run_until(running, lambda: riser.held_m3 < 1e-9, 30.0)
    assert 0.3 < down_s < 3.0
    running.advance(600.0)
    running.command("pump-relay", True)
    filled_s = run_until(running, lambda: running.flows_m3_s["riser"] > 0.5e-3, 5.0)
    assert riser.gives_m3_s == 0.0
    filled_s += run_until(running, lambda: riser.gives_m3_s > 0.0, 5.0)
    assert 1.0 < filled_s < 4.0


def test_siphon_that_is_not_broken_leaves_the_riser_full(running: Plant) -> None:
    """Without a break water runs back for as long as its end is covered; the pipe stays full."""
    riser = running.rises["riser"]
    riser.plugged = True
    running.command("pump-relay", False)
    running.advance(20.0)
    assert riser.flow_m3_s < 0.0
    assert riser.held_m3 == pytest.approx(riser.stands_m3, abs=1e-9)


def test_check_valve_lets_nothing_back(classroom: Site) -> None:
    text = site_text("classroom").replace(
        'fittings = ["tee-run", "elbow-90", "elbow-90", "exit"]',
        'fittings = ["tee-run", "check-valve", "elbow-90", "elbow-90", "exit"]',
    )
    plant = Plant(parse_site(text, "check"), 0, exact=True)
    plant.settle()
    plant.command("pump-relay", False)
    for _ in range(300):
        plant.advance(0.1)
        assert plant.flows_m3_s["riser"] >= 0.0


def test_restart_does_not_begin_a_back_siphon_by_itself(running: Plant) -> None:
    """Once air is in the branch, water that covers its end again does not run back."""
    running.command("pump-relay", False)
    running.advance(900.0)
    running.bring("display", 0.81 * 0.03)
    running.advance(1.0)
    assert running.flows_m3_s["riser"] == 0.0


def test_pump_draws_air_below_its_intake(running: Plant) -> None:
    running.stream_m3_s["return"] = -2e-3
    run_until(running, lambda: running.dry_s > 0.0, 120.0)
    assert running.level_m("return") < 0.060
    running.advance(60.0)
    assert running.level_m("return") < 0.055
    assert running.flows_m3_s["return-pump"] < 0.7e-3
    assert running.dry_s > 55.0
    dry_s = running.dry_s
    running.command("pump-relay", False)
    running.advance(10.0)
    assert running.dry_s == dry_s


def test_pump_stands_without_mains_and_when_it_has_seized(running: Plant) -> None:
    running.lifts["return-pump"].seized = True
    running.advance(1.0)
    assert running.flows_m3_s["return-pump"] < 0.0
    running.lifts["return-pump"].seized = False
    running.advance(5.0)
    assert running.flows_m3_s["return-pump"] > 1e-3
    running.mains = False
    running.advance(5.0)
    assert running.flows_m3_s["return-pump"] <= 0.0


def test_timer_relay_opens_when_the_heartbeat_stands_still(classroom: Site) -> None:
    """Two seconds without a change and the pump has no current, whatever its relay says."""
    plant = Plant(classroom, 0, exact=True, timer_relay=True)
    plant.settle()
    for number in range(20):
        plant.command("heartbeat", number % 2 == 0)
        plant.advance(0.5)
        assert plant.powered("return-pump")
    plant.advance(1.4)
    assert plant.powered("return-pump")
    plant.advance(0.2)
    assert not plant.powered("return-pump")
    assert Plant(classroom, 0, exact=True).powered("return-pump") is False  # its relay is open


def test_top_off_fills_only_while_there_is_water(running: Plant) -> None:
    before_m3 = running.volume_m3[running.index["reservoir"]]
    running.command("top-off-valve", True)
    running.advance(60.0)
    given_m3 = before_m3 - running.volume_m3[running.index["reservoir"]]
    assert given_m3 == pytest.approx(1.5e-3, rel=1e-6)
    running.valve_stuck = False
    running.advance(10.0)
    assert running.flows_m3_s["top-off"] == 0.0
    running.valve_stuck = True
    running.command("top-off-valve", False)
    running.advance(1200.0)
    assert running.volume_m3[running.index["reservoir"]] == 0.0
    assert running.flows_m3_s["top-off"] == 0.0
    assert running.spilled_total_m3 == 0.0  # the whole reservoir fits


@pytest.mark.parametrize("seed", [0, 11, 13])
def test_unguarded_block_of_the_main_drain_spills(classroom: Site, seed: int) -> None:
    """Some 13 l where the other drains keep their air; where one primes, nothing at all."""
    plant = Plant(classroom, seed, exact=seed == 0)
    plant.settle()
    assert plant.siphon("open-drain").vented
    assert plant.siphon("emergency-drain").vented
    plant.condition["main-drain"] = 0.0
    plant.advance(1200.0)
    assert 0.005 < plant.spilled_total_m3 < 0.020
    assert plant.spilled_m3["display"] > 0.0
    assert plant.spilled_m3["reservoir"] == 0.0
    assert plant.floor_m3 == plant.spilled_total_m3


def test_rack_is_safe_by_itself_when_every_drain_blocks(rack: Site) -> None:
    plant = Plant(rack, 1)
    plant.settle()
    for key, passage in rack.gravity().items():
        if passage.kind.endswith("drain"):
            plant.condition[key] = 0.0
    plant.advance(600.0)
    assert plant.spilled_total_m3 == 0.0
    assert plant.dry_s > 0.0


def test_a_box_level_with_its_display_spills_over_its_own_rim(running: Plant) -> None:
    for key in ("main-drain", "open-drain", "emergency-drain"):
        running.condition[key] = 0.0
    running.advance(120.0)
    assert running.spilled_m3["overflow-box"] > 0.0
    assert running.spilled_m3["display"] > running.spilled_m3["overflow-box"]
    assert running.level_m("overflow-box") == pytest.approx(0.350, abs=0.004)


def _trace(site: Site, seed: int) -> list[tuple[float, ...]]:
    plant = Plant(site, seed)
    plant.settle()
    plant.condition["main-drain"] = 0.3
    rows = []
    for _ in range(300):
        plant.advance(0.1)
        rows.append((*plant.volume_m3, *plant.flows_m3_s.values()))
    return rows


def test_a_seed_repeats_to_the_bit_and_another_differs(classroom: Site) -> None:
    assert _trace(classroom, 5) == _trace(classroom, 5)
    assert _trace(classroom, 5) != _trace(classroom, 6)


def test_plant_has_errors_of_its_own(classroom: Site) -> None:
    """Drawn plants spread around the exact one, so that no estimate can fit them all."""
    exact = Plant(classroom, 0, exact=True)
    exact.settle()
    flows = []
    for seed in range(1, 9):
        plant = Plant(classroom, seed)
        plant.settle()
        flows.append(plant.flows_m3_s["comb"] / exact.flows_m3_s["comb"] - 1.0)
    assert max(flows) - min(flows) > 0.02
    assert max(abs(flow) for flow in flows) < 0.15
