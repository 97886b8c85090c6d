"""A week of faults at random: no water appears or vanishes, whatever the steps asked for."""

from __future__ import annotations

import random
from math import isfinite

import pytest

from rules.site.model import Site
from simulator.water.plant import Plant

WEEK_S = 7 * 86400.0
STEPS_S = (0.1, 1.0, 10.0, 60.0)


def _drains(site: Site) -> list[str]:
    return [key for key, passage in site.gravity().items() if passage.kind.endswith("drain")]


def _mend(plant: Plant) -> None:
    """Everything whole again, and the water that is missing poured in by hand."""
    plant.condition.update(dict.fromkeys(plant.condition, 1.0))
    plant.mains = True
    plant.relay_stuck.clear()
    plant.unplugged.clear()
    plant.leak_m3_s.clear()
    plant.stream_m3_s.clear()
    plant.stirred_m.clear()
    for lift in plant.lifts.values():
        lift.seized, lift.condition = False, 1.0
    for rise in plant.rises.values():
        rise.condition, rise.beside, rise.plugged = 1.0, 0.0, False
    for siphon in (plant.siphon(key) for key in _drains(plant.site)):
        siphon.draws_air = False
    short_m3 = plant.leaked_m3 + plant.spilled_total_m3 + plant.evaporated_m3 - plant.brought_m3
    plant.bring("return", 0.5 * max(0.0, short_m3))


def _break_water(plant: Plant, chance: random.Random) -> None:
    """One thing that goes wrong with passages and chambers."""
    drain = chance.choice(_drains(plant.site))
    chamber = chance.choice(list(plant.index))
    match chance.randrange(6):
        case 0 | 1:
            plant.condition[drain] = chance.choice((0.0, chance.random()))
        case 2:
            plant.condition[chance.choice(list(plant.condition))] = chance.random()
        case 3:
            plant.leak_m3_s[chamber] = chance.choice((1e-7, 1e-6, 2e-5))
        case 4:
            plant.stream_m3_s[chamber] = chance.uniform(-1e-4, 1e-4)
        case _:
            plant.stirred_m[chamber] = chance.uniform(0.0, 0.02)


def _break_machines(plant: Plant, chance: random.Random) -> None:
    """One thing that goes wrong with the pump, its pipes and its current, or in a drain."""
    rise = chance.choice(list(plant.rises.values()))
    lift = next(iter(plant.lifts.values()))
    siphon = plant.siphon(chance.choice(_drains(plant.site)))
    match chance.randrange(8):
        case 0:
            plant.mains = False
        case 1:
            plant.relay_stuck["pump-relay"] = chance.random() < 0.5
        case 2:
            lift.seized = True
        case 3:
            lift.condition = chance.uniform(0.3, 1.0)
        case 4:
            rise.beside = chance.random() * 0.2
        case 5:
            rise.plugged = True
        case 6:
            rise.condition = chance.random()
        case _:
            siphon.draws_air = True
            siphon.lose_prime()


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_week_of_faults_conserves_water(name: str, request: pytest.FixtureRequest) -> None:
    """Blocks, stops, leaks, top-offs, power cuts, splashes: to a millionth of what it holds."""
    site: Site = request.getfixturevalue(name)
    chance = random.Random(f"week on the {name}")
    plant = Plant(site, 7)
    plant.settle()
    whole_m3 = plant.total_m3
    mend_s = 0.0
    while plant.t_s < WEEK_S:
        if plant.t_s >= mend_s:
            _mend(plant)
            mend_s = plant.t_s + 3 * 3600.0
        if chance.random() < 0.2:
            chance.choice((_break_water, _break_machines))(plant, chance)
        plant.command("pump-relay", chance.random() < 0.9)
        plant.command("top-off-valve", chance.random() < 0.05)
        step_s = chance.choice(STEPS_S)
        for _ in range(chance.choice((1, 10, 60))):
            plant.advance(step_s)
        plant.command("top-off-valve", False)
        plant.advance(chance.choice((60.0, 3600.0)))
        assert all(map(isfinite, plant.surface_m))
        assert min(plant.volume_m3) >= 0.0
        assert plant.total_m3 == pytest.approx(whole_m3, abs=1e-6 * whole_m3)
    assert plant.spilled_total_m3 > 0.01
    assert plant.leaked_m3 > 0.01
    assert plant.evaporated_m3 > 0.01
    assert plant.dry_s > 0.0
