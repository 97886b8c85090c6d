"""Plays a drill with the whole daemon under virtual time: one seed, one trace, bit for bit."""

from __future__ import annotations

import contextlib
import logging
import random
from collections.abc import Iterator, MutableMapping
from dataclasses import dataclass, replace
from typing import Any

import structlog

from daemon.flight import Records
from rules.site.model import Site
from simulator.night.night import Night, Progress
from simulator.night.outcome import Outcome
from simulator.night.runner import Tap, make_stand
from simulator.story.drill import Drill
from simulator.story.roles import NoSuchRoleError
from simulator.virtual.broker import Broker
from simulator.virtual.clock import MachineClock
from simulator.virtual.disk import VirtualDisk
from simulator.virtual.host import Around, DaemonHost
from simulator.virtual.loop import VirtualLoop
from simulator.virtual.phone import Phone
from simulator.virtual.process import Pins
from simulator.virtual.trace import Trace
from simulator.virtual.world import World
from simulator.water.plant import Plant

SOURCE = "sim+plant, virtual time"


def run_daemon(
    site: Site,
    drill: Drill,
    seed: int,
    *,
    without: frozenset[str] = frozenset(),
    progress: Progress | None = None,
    tap: Tap | None = None,
    rows: bool = True,
    every_tick: bool = False,
    trace: Trace | None = None,
) -> Outcome:
    """Run one drill with the whole daemon: see `simulator.night.runner.run` for what is shared.

    Without `rows` none are kept for pictures. `trace` takes a line for everything that happens.
    """
    head = Outcome(drill.title, site.site.id, seed, "guard", tuple(sorted(without)), SOURCE)
    ways = Ways(without, rows, every_tick)
    with contextlib.ExitStack() as stack:
        try:
            stage = stack.enter_context(
                staged(site, drill, seed, trace or Trace(), ways=ways, progress=progress)
            )
        except NoSuchRoleError as missing:
            return replace(head, not_applicable=str(missing))
        if tap is not None:
            stage.host.taps.append(tap)
        stage.loop.run_until_complete(stage.world.over)
        return stage.night.outcome(head)


@dataclass(frozen=True, slots=True)
class Ways:
    """How a night is run: hazards taken out, rows kept for pictures, no tick left out, and what
    the flight recorder writes on the simulated disk."""

    without: frozenset[str] = frozenset()
    rows: bool = True
    every_tick: bool = False
    records: Records | None = None


PLAIN = Ways()


class Stage:
    """A night set up under virtual time, for whoever lets it run."""

    def __init__(
        self,
        site: Site,
        drill: Drill,
        seed: int,
        trace: Trace,
        *,
        ways: Ways,
        progress: Progress | None,
    ) -> None:
        self.loop = loop = VirtualLoop()  # type: ignore[abstract]  # no sockets, no signals
        self.trace = trace
        trace.by(loop.time)
        plant = Plant(site, seed, timer_relay=True)
        plant.settle()
        stand, board = make_stand(site, plant, "plant")

        def chance(what: str) -> random.Random:
            return random.Random(f"{seed}/{what}")

        self.broker = Broker(loop, chance("network"), trace)
        self.disk = VirtualDisk(loop, chance("disk"), trace)
        self.pins = Pins(tuple(site.outputs), board, trace)
        clock = MachineClock(loop, trace, drill.starts_at)
        around = Around(loop, self.broker, self.disk, clock, trace, chance("machine"))
        boot = f"drill-{seed}"
        self.host = DaemonHost(
            site,
            self.pins,
            around,
            boot,
            without=ways.without,
            every_tick=ways.every_tick,
            records=ways.records,
        )
        self.night = Night(
            site,
            drill,
            stand,
            guarded=True,
            host=self.host,
            progress=progress,
            trace=ways.rows,
        )
        self.world = World(site, self.night, self.pins, around)
        self.phone = Phone(self.broker, site, trace)
        self.phone.told.append(self.world.show)
        self.host.live_in(self.world)


@contextlib.contextmanager
def staged(
    site: Site,
    drill: Drill,
    seed: int,
    trace: Trace,
    *,
    ways: Ways = PLAIN,
    progress: Progress | None = None,
) -> Iterator[Stage]:
    """A night set up, its log lines in the trace; raises NoSuchRoleError."""
    with _logging_to(trace):
        stage = Stage(site, drill, seed, trace, ways=ways, progress=progress)
        try:
            yield stage
        finally:
            for run in stage.host.runs:
                run.process.die()  # nothing of it may still act when it is thrown away
            stage.loop.close()


@contextlib.contextmanager
def _logging_to(trace: Trace) -> Iterator[None]:
    """Every log line of the daemon goes into the trace instead of to where this process logs."""

    def take(_logger: object, method: str, event: MutableMapping[str, Any]) -> Any:
        what = event.pop("event")
        said = " ".join(f"{key}={value}" for key, value in event.items() if key != "exc_info")
        trace.add("log", f"{method} {what} {said}".rstrip())
        raise structlog.DropEvent

    before = structlog.get_config()
    structlog.configure(
        processors=[take],
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        logger_factory=structlog.ReturnLoggerFactory(),
        cache_logger_on_first_use=False,
    )
    try:
        yield
    finally:
        structlog.configure(**before)
