"""Runs a drill: a settled plant, a guard or none, the faults at their time, and the verdict."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, Protocol

from daemon.guard import Guard
from daemon.ports import Board
from rules.signals import Command, Decision, Event, Phase
from rules.site.model import Site
from simulator.drill import Drill
from simulator.evidence import Evidence
from simulator.faults import Script
from simulator.judge import Finding, judge, statements_for
from simulator.outcome import Comparison, Outcome
from simulator.plant import Plant
from simulator.roles import NoSuchRoleError
from simulator.stand import PlantBoard, Stand
from simulator.unguarded import Unguarded

TICK_S = 0.1
SAMPLE_TICKS = 10  # one row of the trace, and one call of `progress`, a second
QUIET_S = 180.0  # the guard has had the pumps running for so long when a drill begins
LONGEST_START_S = 900.0  # a guard that has not come so far by then begins the drill as it is

NEVER_QUIET = Finding(
    "the guard lets the pumps run on the good day before",
    False,
    f"not for {QUIET_S:.0f} s on end within {LONGEST_START_S:.0f} s",
)
"""Found when a guard cuts, or holds off, while nothing is wrong."""

StandKind = Literal["plant", "pins"]


class Ticking(Protocol):
    """The guard, or what stands in its place."""

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """Read the board, decide, drive the outputs."""


@dataclass(frozen=True, slots=True)
class Moment:
    """How a drill stands, once a simulated second; `events` are those since the last moment."""

    t_s: float
    lasts_s: float
    plant: Plant
    decision: Decision
    events: tuple[Event, ...]


Progress = Callable[[Moment], None]


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
    from simulator.pins import PinStand, PlantFactory

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
        script = Script(site, stage, drill)
        statements = statements_for(site, drill)
        guard: Ticking
        if guarded:
            guard = Guard(site, board, boot=f"drill-{seed}", without=without)
        else:
            guard = Unguarded(site, board)
        night = _Night(
            site=site, drill=drill, stand=stage, guard=guard, script=script, progress=progress
        )
        quiet = night.start() if guarded else True
        seen = night.run()
    except NoSuchRoleError as missing:
        return replace(head, not_applicable=str(missing))
    finally:
        board.close()
    findings = tuple(judge(site, statement, seen) for statement in statements)
    return _told(head, drill, seen, findings if quiet else (NEVER_QUIET, *findings))


def _told(head: Outcome, drill: Drill, seen: Evidence, findings: tuple[Finding, ...]) -> Outcome:
    """Fill in what was seen and found."""
    return replace(
        head,
        passed=all(finding.held for finding in findings),
        findings=findings,
        lasted_s=drill.lasts,
        cause_s=drill.cause_s,
        cut_s=seen.first_cut_s(),
        spilled_m3=dict(seen.plant.spilled_m3),
        leaked_m3=seen.plant.leaked_m3,
        dry_s=seen.plant.dry_s,
        needless_stop_s=_needless_s(drill, seen),
        events=tuple(seen.events),
        alarms=tuple(seen.alarms()),
        trace=seen.trace,
    )


def compare(site: Site, drill: Drill, seed: int, *, progress: Progress | None = None) -> Comparison:
    """The same drill on the same plant, with the guard and without it."""
    return Comparison(
        run(site, drill, seed, progress=progress), run(site, drill, seed, guarded=False)
    )


def _needless_s(drill: Drill, seen: Evidence) -> float:
    """Time for which a pump stood that should not have: all of it where no cut was called for."""
    if any(statement.what == "pump cut" for statement in drill.must_not):
        return seen.off_s
    return seen.off_before_cause_s


class _Night:
    """The loop: the world moves on by a tick, then the guard looks."""

    def __init__(
        self,
        *,
        site: Site,
        drill: Drill,
        stand: Stand,
        guard: Ticking,
        script: Script,
        progress: Progress | None,
    ) -> None:
        self._site = site
        self._drill = drill
        self._stand = stand
        self._guard = guard
        self._script = script
        self._progress = progress
        self._ticks = 0

    def _tick(self) -> Decision:
        self._ticks += 1
        t_s = self._ticks * TICK_S
        self._stand.advance_to(t_s)
        decision = self._guard.tick(t_s)
        self._stand.obey()  # so that what is seen of the relays is this tick's
        return decision

    def start(self) -> bool:
        """Let the guard bring the pumps to where they have run for a while; False if it did not."""
        quiet = 0
        while quiet * TICK_S < QUIET_S:
            if self._ticks * TICK_S > LONGEST_START_S:
                return False
            decision = self._tick()
            running = all(pump.phase is Phase.RUNNING for pump in decision.pumps)
            quiet = quiet + 1 if running else 0
        return True

    def run(self) -> Evidence:
        """The drill itself."""
        began = self._ticks
        seen = Evidence(self._site, self._stand.plant, self._drill.cause_s, began * TICK_S)
        told = 0
        for number in range(1, round(self._drill.lasts / TICK_S) + 1):
            t_s = number * TICK_S
            self._script.advance(t_s - TICK_S)
            decision = self._tick()
            seen.take(t_s, TICK_S, decision)
            if number % SAMPLE_TICKS == 0:
                seen.sample(t_s, decision)
                if self._progress is not None:
                    events = tuple(seen.events[told:])
                    told = len(seen.events)
                    self._progress(
                        Moment(t_s, self._drill.lasts, self._stand.plant, decision, events)
                    )
        return seen
