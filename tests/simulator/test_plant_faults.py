"""Faults of relays, plugs, the valve and the siphon's joints, as the plant obeys them."""

from __future__ import annotations

import pytest

from rules.site.model import Site
from simulator.water.plant import Plant


@pytest.fixture
def running(classroom: Site) -> Plant:
    """The classroom as drawn, on a good day."""
    plant = Plant(classroom, 0, exact=True)
    plant.settle()
    return plant


def _on(plant: Plant, on: bool) -> bool:
    plant.command("pump-relay", on)
    plant.advance(5.0)
    return plant.flows_m3_s["return-pump"] > 1e-3


def test_welded_relay_runs_on_and_a_dead_one_never_closes(running: Plant) -> None:
    running.relay_stuck["pump-relay"] = True
    assert _on(running, False)
    running.relay_stuck["pump-relay"] = False
    assert not _on(running, True)
    del running.relay_stuck["pump-relay"]
    assert _on(running, True)
    assert not _on(running, False)


def test_pulled_plug_and_lost_mains_stop_even_a_welded_relay(running: Plant) -> None:
    running.relay_stuck["pump-relay"] = True
    running.unplugged.add("return-pump")
    assert not _on(running, True)
    running.unplugged.clear()
    assert _on(running, False)
    running.mains = False
    assert not _on(running, True)


def test_timer_relay_opens_though_the_pump_relay_is_welded(classroom: Site) -> None:
    """It is in series: two seconds without a beat, in one long stretch as in short ones."""
    plant = Plant(classroom, 0, exact=True, timer_relay=True)
    plant.settle()
    plant.relay_stuck["pump-relay"] = True
    plant.keep_beating(30.0)
    plant.advance(30.0)
    assert plant.powered("return-pump")
    before_m3 = plant.lifts["return-pump"].moved_m3
    plant.advance(20.0)
    assert not plant.powered("return-pump")
    assert plant.lifts["return-pump"].speed == 0.0
    # two seconds and the run-on, then what runs back: not the 24 l of a pump that runs on
    assert plant.lifts["return-pump"].moved_m3 - before_m3 < 0.012


def test_relay_of_the_valve_sticks_as_any_other(running: Plant) -> None:
    running.relay_stuck["top-off-valve"] = True
    running.advance(1.0)
    assert running.flows_m3_s["top-off"] > 0.0
    running.mains = False
    running.advance(1.0)
    assert running.flows_m3_s["top-off"] == 0.0
    running.mains = True
    running.relay_stuck["top-off-valve"] = False
    running.command("top-off-valve", True)
    running.advance(1.0)
    assert running.flows_m3_s["top-off"] == 0.0


def test_valve_that_opens_by_half_gives_half(running: Plant) -> None:
    running.command("top-off-valve", True)
    running.advance(1.0)
    whole_m3_s = running.flows_m3_s["top-off"]
    running.valve_share = 0.5
    running.advance(1.0)
    assert running.flows_m3_s["top-off"] == pytest.approx(0.5 * whole_m3_s)


def test_siphon_with_a_leaking_joint_loses_its_prime_and_gets_none(running: Plant) -> None:
    """While the joint leaks the open drain and the emergency drain carry the rest."""
    siphon = running.siphon("main-drain")
    assert siphon.primed
    siphon.draws_air = True
    running.advance(siphon.leak_s + 1.0)
    assert not siphon.primed
    running.advance(120.0)
    assert not siphon.primed
    siphon.draws_air = False
    running.advance(120.0)
    assert siphon.primed


def test_siphon_can_be_made_to_lose_its_prime(running: Plant) -> None:
    siphon = running.siphon("main-drain")
    siphon.lose_prime()
    running.advance(0.1)
    assert not siphon.primed
    running.advance(60.0)
    assert siphon.primed
    with pytest.raises(KeyError):
        running.siphon("riser")
