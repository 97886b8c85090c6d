"""Runs a drill: a settled plant, a guard or none, the faults at their time, and the verdict."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal, Protocol

from daemon.guard import Guard
from daemon.ports import Board
from rules.signals import TICK_S, Command, Decision
from rules.site.model import Site
from simulator.night.night import Night, Progress
from simulator.night.outcome import Comparison, Outcome
from simulator.night.unguarded import Unguarded
from simulator.signals.stand import PlantBoard, Stand
from simulator.story.drill import Drill
from simulator.story.roles import NoSuchRoleError
from simulator.water.plant import Plant

StandKind = Literal["plant", "pins"]


class Ticking(Protocol):
    """The guard, or what stands in its place."""

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """Read the board, decide, drive the outputs."""


def make_stand(site: Site, plant: Plant, kind: StandKind) -> tuple[Stand, Board]:
    """Put a plant in place of the pins: directly, or behind gpiozero's mock pins.

    A board that is opened claims every output at off, so the pumps stop here.
    """
    for output in site.outputs:
        plant.command(output, False)
    if kind == "plant":
        board = PlantBoard(site, plant)
        return board, board
    from daemon.pins import PinBoard
    from simulator.signals.pins import PinStand, PlantFactory

    factory = PlantFactory()
    stand = PinStand(site, plant, factory)
    return stand, PinBoard(site, factory, name="sim+pins")


def run(
    site: Site,
    drill: Drill,
    seed: int,
    *,
    guarded: bool = True,
    without: frozenset[str] = frozenset(),
    stand: StandKind = "plant",
    progress: Progress | None = None,
) -> Outcome:
    """Run one drill. `without` takes hazards out of the guard, to prove that the drill needs them.

    A guard first gets a good day: the drill begins once its pumps have run for a while, so that
    what is judged is the night and not the start.
    """
    plant = Plant(site, seed, timer_relay=guarded)
    plant.settle()
    stage, board = make_stand(site, plant, stand)
    head = Outcome(
        drill=drill.title,
        site=site.site.id,
        seed=seed,
        guarded=guarded,
        without=tuple(sorted(without)),
        source=board.name,
    )
    try:
        night = Night(site, drill, stage, guarded=guarded, progress=progress)
        guard: Ticking
        if guarded:
            guard = Guard(site, board, boot=f"drill-{seed}", without=without)
        else:
            guard = Unguarded(site, board)
        ticks = 0
        while not night.ended:
            ticks += 1
            night.move(ticks * TICK_S)
            night.take(guard.tick(ticks * TICK_S))
        return night.outcome(head)
    except NoSuchRoleError as missing:
        return replace(head, not_applicable=str(missing))
    finally:
        board.close()


def compare(site: Site, drill: Drill, seed: int, *, progress: Progress | None = None) -> Comparison:
    """The same drill on the same plant, with the guard and without it."""
    return Comparison(
        run(site, drill, seed, progress=progress), run(site, drill, seed, guarded=False)
    )
