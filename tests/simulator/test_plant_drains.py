"""What goes on in drains: air that leaves them, gulps, and prime that is lost."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.site.model import Site
from simulator.water.drains import Siphon
from simulator.water.plant import Plant


def run_until(plant: Plant, held: Callable[[], bool], longest_s: float) -> float:
    """Let time pass until something holds; the time it took."""
    began_s = plant.t_s
    while not held():
        assert plant.t_s - began_s < longest_s, "it never came"
        plant.advance(0.1)
    return plant.t_s - began_s


def siphon_of(plant: Plant) -> Siphon:
    """The first siphon drain of a plant."""
    return next(way for _, way, _, _ in plant.ways if isinstance(way, Siphon))


@pytest.fixture
def running(classroom: Site) -> Plant:
    """The classroom as drawn, on a good day."""
    plant = Plant(classroom, 0, exact=True)
    plant.settle()
    return plant


def test_valve_of_the_siphon_is_set_on_this_very_plant(classroom: Site) -> None:
    """At the open drain's lip the siphon carries 92 % of what comes, whatever was drawn."""
    for seed in (1, 2, 3):
        plant = Plant(classroom, seed)
        plant.settle()
        siphon = siphon_of(plant)
        inlet_m = plant.level_m("inlet") + classroom.chambers["inlet"].bottom
        at_lip = siphon.full(1.150 + 0.160, inlet_m)
        assert at_lip / plant.flows_m3_s["comb"] == pytest.approx(0.92, rel=2e-3)
        assert plant.flows_m3_s["emergency-drain"] == 0.0
        assert plant.level_m("return") == pytest.approx(
            classroom.chambers["return"].level, abs=1e-6
        )


def test_siphon_loses_prime_after_a_stop_and_primes_again(running: Plant) -> None:
    siphon = siphon_of(running)
    assert siphon.primed
    running.command("pump-relay", False)
    run_until(running, lambda: not siphon.primed, 60.0)
    assert running.level_m("overflow-box") <= 0.060 + siphon.lose_m + 0.0005
    running.advance(30.0)
    running.command("pump-relay", True)
    run_until(running, lambda: running.level_m("overflow-box") > 0.060 + siphon.drown_m, 60.0)
    assert not siphon.primed
    took_s = run_until(running, lambda: siphon.primed, 30.0)
    assert took_s == pytest.approx(siphon.prime_s, abs=0.2)


def test_unprimed_siphon_carries_far_less(running: Plant) -> None:
    siphon = siphon_of(running)
    up, down = 1.150 + 0.160, 0.36
    siphon.pipe.run.throttle(siphon.open_loss)  # with its valve open the difference shows
    assert siphon.pipe.film(up, down) < 0.5 * siphon.full(up, down)


def test_blocked_siphon_keeps_its_prime_under_water(running: Plant) -> None:
    running.condition["main-drain"] = 0.0
    running.advance(20.0)
    assert running.flows_m3_s["main-drain"] == 0.0
    running.condition["main-drain"] = 1.0
    running.advance(0.1)
    assert running.flows_m3_s["main-drain"] > 0.9e-3


def test_siphon_gulps_before_it_loses_prime(running: Plant) -> None:
    """Air takes more and more of its flow as the level comes down to its mouth, and none above."""
    siphon = siphon_of(running)
    mouth_m, down_m = siphon.pipe.mouth, running.level_m("inlet") + 0.100
    bare = siphon.pipe.run.flow(siphon.gulp_m + mouth_m - down_m)
    assert siphon.full(mouth_m + siphon.gulp_m, down_m) == pytest.approx(bare)
    near = [siphon.full(mouth_m + share * siphon.gulp_m, down_m) for share in (0.8, 0.5, 0.2)]
    assert bare > near[0] > near[1] > near[2] > 0.5 * bare


def test_weaker_pump_leaves_the_siphon_gulping_and_steady(running: Plant) -> None:
    """With a third less water the box stands just over its mouth, air goes down, prime stays."""
    siphon = siphon_of(running)
    running.lifts["return-pump"].condition = 0.7
    running.advance(900.0)
    assert siphon.primed
    stood_m = running.level_m("overflow-box")
    assert siphon.lose_m < stood_m - 0.060 < siphon.gulp_m
    running.advance(60.0)
    assert running.level_m("overflow-box") == pytest.approx(stood_m, abs=2e-4)


def test_drowned_open_drain_runs_full_unless_air_comes_in_at_its_top(classroom: Site) -> None:
    """Drowned for some seconds it carries more than twice its film, and falls back with a gulp."""
    plant = Plant(classroom, 0, exact=True)
    plant.settle()
    drain = plant.siphon("emergency-drain")
    drain.vented = False
    plant.condition["main-drain"] = 0.0
    film_m3_s = drain.pipe.limit_m3_s
    run_until(plant, lambda: plant.level_m("overflow-box") - 0.200 > drain.drown_m, 30.0)
    assert run_until(plant, lambda: drain.primed, 30.0) == pytest.approx(drain.prime_s, abs=0.2)
    plant.advance(0.1)
    assert plant.flows_m3_s["emergency-drain"] > 2.0 * film_m3_s
    plant.advance(1200.0)
    assert plant.spilled_total_m3 == 0.0
    plant.command("pump-relay", False)
    run_until(plant, lambda: not drain.primed, 60.0)
    plant.advance(0.1)
    assert plant.flows_m3_s["emergency-drain"] < film_m3_s


def test_blocked_pipe_keeps_its_air(running: Plant) -> None:
    """Nothing flows that could take it along, however long its mouth is drowned."""
    drain = running.siphon("emergency-drain")
    drain.vented = False
    for key in ("main-drain", "open-drain", "emergency-drain"):
        running.condition[key] = 0.0
    running.advance(120.0)
    assert running.level_m("overflow-box") > 0.300
    assert not drain.primed
