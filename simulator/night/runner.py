"""Runs a drill: a settled plant, a guard or none, the faults at their time, and the verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from daemon.guard import Guard
from daemon.ports import Board
from rules.signals import TICK_S, Decision, Observation
from rules.site.model import Site
from simulator.night.host import Host
from simulator.night.night import Night, Progress
from simulator.night.outcome import Comparison, Outcome
from simulator.night.pace import Keeper, Pace
from simulator.night.replayed import replayed
from simulator.night.unguarded import Unguarded
from simulator.signals.stand import PlantBoard, Stand
from simulator.story.drill import Drill
from simulator.story.roles import NoSuchRoleError
from simulator.water.plant import Plant

StandKind = Literal["plant", "pins"]

Tap = Callable[[float, Observation, Decision, Guard], None]
"""Is told of every tick of a guard: when, what it saw, what it decided, and which guard it was."""

GUARD, NONE = "guard", "none"
"""Keepers of a night that are no stand-ins: the guard itself, and nothing at all."""


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


class _Watch:
    """Time by which leases run in a night whose quiet stretches are left out.

    A stretch counts as one tick: in it the guard would have renewed them ten times a second.
    """

    def __init__(self) -> None:
        self._now_s = self._seen_s = 0.0

    def to(self, t_s: float) -> None:
        """Go on to a tick."""
        self._now_s += min(t_s - self._seen_s, TICK_S)
        self._seen_s = t_s

    def __call__(self) -> float:
        return self._now_s


def run(
    site: Site,
    drill: Drill,
    seed: int,
    *,
    keeper: str = GUARD,
    without: frozenset[str] = frozenset(),
    stand: StandKind = "plant",
    progress: Progress | None = None,
    tap: Tap | None = None,
    trace: bool = True,
    every_tick: bool = False,
) -> Outcome:
    """Run one drill, with the guard or with whatever stands in its place.

    `without` takes hazards out of the guard, to prove that the drill needs them. `tap` is told of
    every tick of the guard. Without `trace` no rows are kept for pictures. While nothing moves,
    ticks are left out: see `simulator.night.pace`; not so with `every_tick`. A drill that needs the
    whole daemon is run with it, under virtual time.

    A guard first gets a good day: the drill begins once its pumps have run for a while, so that
    what is judged is the night and not the start.
    """
    if drill.recording is not None:
        return replayed(site, drill, seed, keeper=keeper, without=without)
    guarded = keeper == GUARD
    if guarded and drill.needs_daemon:
        from simulator.virtual.play import run_daemon

        return run_daemon(
            site,
            drill,
            seed,
            without=without,
            progress=progress,
            tap=tap,
            rows=trace,
            every_tick=every_tick,
        )
    plant = Plant(site, seed, timer_relay=guarded)
    plant.settle()
    stage, board = make_stand(site, plant, stand)
    head = Outcome(
        drill=drill.title,
        site=site.site.id,
        seed=seed,
        keeper=keeper,
        without=tuple(sorted(without)),
        source=board.name,
    )
    watch = _Watch()
    try:
        keeping = _keeper(
            keeper,
            site=site,
            board=board,
            drill=drill,
            without=without,
            seed=seed,
            watch=watch,
        )
        night = Night(
            site,
            drill,
            stage,
            guarded=guarded,
            host=keeping if isinstance(keeping, Host) else None,
            progress=progress,
            trace=trace,
        )
        _play(night, keeping, Pace(drill, keeping, every_tick=every_tick), watch, tap)
        return night.outcome(head)
    except NoSuchRoleError as missing:
        return replace(head, not_applicable=str(missing))
    finally:
        board.close()


def _keeper(
    name: str,
    *,
    site: Site,
    board: Board,
    drill: Drill,
    without: frozenset[str],
    seed: int,
    watch: _Watch,
) -> Keeper:
    if name == GUARD:
        return Host(site, board, f"drill-{seed}", without=without, clock=watch)
    if name == NONE:
        return Unguarded(site, board)
    from simulator.night.standins import STANDINS

    return STANDINS[name](site, board, drill)


def _play(night: Night, keeper: Keeper, pace: Pace, watch: _Watch, tap: Tap | None) -> None:
    now, plant = 0, night.stand.plant
    while not night.ended:
        due = pace.next_tick(now, night.drill_s if night.begun else None)
        stretch = due - now > 1
        if stretch:
            plant.keep_beating((due - now) * TICK_S)  # the ticks left out would have beaten
            now = round(night.move_until(due * TICK_S) / TICK_S)
            plant.keep_beating()
        else:
            now = due
            night.move(now * TICK_S)
        watch.to(now * TICK_S)
        decision = keeper.tick(now * TICK_S)
        if tap is not None and isinstance(keeper, Host):
            guard, observation = keeper.guard, keeper.observation
            if guard is not None and observation is not None:
                tap(now * TICK_S, observation, decision, guard)
        night.take(decision)


def compare(site: Site, drill: Drill, seed: int, *, progress: Progress | None = None) -> Comparison:
    """The same drill on the same plant, with the guard and without it."""
    return Comparison(
        run(site, drill, seed, progress=progress), run(site, drill, seed, keeper=NONE)
    )
