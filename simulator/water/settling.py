"""Bringing a plant to where it stands on a good day, with valves and measured flows as asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.site.passages import OpenDrain, SiphonDrain
from simulator.water.drains import Siphon
from simulator.water.measuring import fit_measured

if TYPE_CHECKING:
    from simulator.water.plant import Plant

STILL_M3_S = 2e-7  # a chamber whose content changes more slowly stands still
LONGEST_S = 900.0  # a site that never comes to rest is taken as it then is
PIECE_S = 5.0
REFILL_S = 0.5  # so often a chamber that no passage holds is brought back to its level
ROUNDS = 3  # each one sets the valves and lets the levels come to rest
LITTLE_M3_S = 1e-5  # a flow that is worth a look
STEP_FINEST_S = 0.01  # a passage stiffer than this allows is left a little too narrow
HELD_BACK = 1.03  # by so much more a passage would carry if steps were shorter


def settle(plant: Plant) -> None:
    """Run the plant until it rests, with the chambers that no passage holds kept at their level."""
    evaporating, plant.evaporating_m3_s = plant.evaporating_m3_s, 0.0
    change, plant.water_change = plant.water_change, None
    for pump in plant.site.pumps:
        relay = plant.site.pump_output(pump)
        if relay is not None:
            plant.command(relay, True)
    for lift in plant.lifts.values():
        lift.speed = lift.full_speed
    plant.wake()
    _rest(plant, 60.0)
    for _ in range(ROUNDS):
        _tune(plant)
        fit_measured(plant)
        _rest(plant, LONGEST_S)
    while plant.step_most_s > STEP_FINEST_S and _held_back(plant):
        plant.step_most_s *= 0.5
        plant.wake()
        _rest(plant, LONGEST_S)
    plant.evaporating_m3_s, plant.water_change = evaporating, change


def _held_back(plant: Plant) -> bool:
    """True if a passage carries less than its law says, only because steps are long.

    That keeps a step from going too far where two levels meet; where water runs through all the
    time it would keep them apart.
    """
    flows, levels = plant.flows_m3_s, plant.surface_m
    return any(
        abs(way.advance(levels[upper], levels[lower], plant.condition[key], 1e-9))
        > HELD_BACK * abs(flows[key])
        for key, way, upper, lower in plant.ways
        if not isinstance(way, Siphon) and abs(flows[key]) > LITTLE_M3_S
    )


def _rest(plant: Plant, longest_s: float) -> None:
    held = {
        key: chamber.level
        for key, chamber in plant.site.chambers.items()
        if chamber.level is not None
    }
    ran_s = 0.0
    while ran_s < longest_s:
        before = list(plant.volume_m3)
        for _ in range(round(PIECE_S / REFILL_S)):
            plant.keep_beating()
            plant.advance(REFILL_S)
            for key, level in held.items():
                plant.fill_to(key, level)
        ran_s += PIECE_S
        change = max(abs(a - b) for a, b in zip(plant.volume_m3, before, strict=True))
        if change < STILL_M3_S * PIECE_S:
            return


def _tune(plant: Plant) -> None:
    """Set each siphon's valve: at the open drain's lip it carries its share of what comes.

    One whose valve stands where it stands is only filled; it finds its own level.
    """
    ways = {key: (way, upper, lower) for key, way, upper, lower in plant.ways}
    for key, passage in plant.site.gravity().items():
        if not isinstance(passage, SiphonDrain):
            continue
        siphon, upper, lower = ways[key]
        assert isinstance(siphon, Siphon)
        lips = [
            drain.mouth
            for drain in plant.site.drains_from(passage.from_).values()
            if isinstance(drain, OpenDrain)
        ]
        if passage.tuned_share is not None:
            lip = plant.shapes.bottom_m[upper] + min(lips)
            wanted = passage.tuned_share * _inflow_m3_s(plant, upper)
            head = lip - max(siphon.pipe.outlet, plant.surface_m[lower])
            if wanted > 0.0 and head > 0.0:
                run = siphon.pipe.run
                run.throttle(max(run.loss_for(wanted, head), siphon.open_loss))
        siphon.primed = True
        if lips:
            plant.fill_to(passage.from_, min(lips))
    plant.wake()


def _inflow_m3_s(plant: Plant, chamber: int) -> float:
    """What comes into a chamber by passages and branches [m3/s]."""
    flows = plant.flows_m3_s
    inflow = sum(flows[key] for key, _, _, lower in plant.ways if lower == chamber)
    return inflow + sum(rise.flow_m3_s for rise in plant.rises.values() if rise.to == chamber)
