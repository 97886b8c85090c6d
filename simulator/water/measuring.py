"""A plant made to carry what was measured on the site, as nearly as that was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.site.measured import Measured
from rules.site.passages import Branch
from simulator.water.drains import Siphon
from simulator.water.flows import Edge, RoundHole, Slot, Sponge, Way

if TYPE_CHECKING:
    from simulator.water.plant import Plant

SOLVES = 8  # of a pump, each with its curve nearer to what was measured


def fit_measured(plant: Plant) -> None:
    """Bring pumps and passages to their measured flows at the levels as they now are.

    A pump's curve keeps its heads and takes other flows; a siphon drain's valve is set anew; any
    other passage takes one factor. What was measured is itself off, by a draw within its tolerance.
    """
    for key, measured in plant.site.measured.items():
        flow = measured.flow * plant.draws.factor(f"{key}/measured", measured.tolerance)
        passage = plant.site.passages.get(measured.of)
        if passage is None or isinstance(passage, Branch):
            _fit_pump(plant, measured, flow)
        else:
            _fit_passage(plant, measured, flow)


def _fit_pump(plant: Plant, measured: Measured, flow_m3_s: float) -> None:
    of = measured.of
    lift = next(
        one for key, one in plant.lifts.items() if of == key or plant.rises.get(of) in one.rises
    )
    for _ in range(SOLVES):
        lift.solve(plant.surface_m)
        found = plant.rises[of].flow_m3_s if of in plant.rises else lift.flow_m3_s
        if found <= 0.0:
            return  # it cannot lift so high: nothing that could be scaled
        lift.curve.scale(flow_m3_s / found)


def _fit_passage(plant: Plant, measured: Measured, flow_m3_s: float) -> None:
    way, upper, lower = next(
        (way, upper, lower) for key, way, upper, lower in plant.ways if key == measured.of
    )
    assert measured.level is not None  # the site file has been checked
    up, down = plant.shapes.bottom_m[upper] + measured.level, plant.surface_m[lower]
    found = way.still(up, down, 1.0, plant.step_most_s)
    if isinstance(way, Siphon) and way.primed:
        head = up - max(way.pipe.outlet, down)
        way.pipe.run.throttle(max(0.0, way.pipe.run.loss_for(flow_m3_s, head)))
    elif found > 0.0:
        _scale(way, flow_m3_s / found)


def _scale(way: Way, ratio: float) -> None:
    match way:
        case Edge():
            way.coefficient *= ratio
        case Sponge():
            way.at_flow *= ratio
        case RoundHole() | Slot():
            way.cd *= ratio
        case Siphon():
            way.pipe.lip *= ratio
            way.pipe.limit_m3_s *= ratio
