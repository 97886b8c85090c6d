"""Plays a drill with the whole daemon under virtual time: one seed, one trace, bit for bit."""

from __future__ import annotations

import contextlib
import logging
import random
from collections.abc import Iterator, MutableMapping
from dataclasses import replace
from typing import Any

import structlog

from rules.site.model import Site
from simulator.night.night import Night, Progress
from simulator.night.outcome import Outcome
from simulator.night.runner import make_stand
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


def needs_daemon(drill: Drill) -> bool:
    """True if something happens in it, or is stated, that only the whole daemon can show."""
    return any(part.needs_daemon for part in (*drill.happens, *drill.must, *drill.must_not))


def run_daemon(
    site: Site,
    drill: Drill,
    seed: int,
    *,
    progress: Progress | None = None,
    trace: Trace | None = None,
    every_tick: bool = False,
) -> Outcome:
    """Run one drill with the whole daemon. `trace` takes a line for everything that happens.

    While nothing moves, ticks are left out, as in the fast way; not so with `every_tick`.
    """
    with contextlib.ExitStack() as stack:
        try:
            stage = stack.enter_context(
                staged(site, drill, seed, trace or Trace(), progress, every_tick=every_tick)
            )
        except NoSuchRoleError as missing:
            return replace(_head(site, drill, seed, "sim+plant"), not_applicable=str(missing))
        stage.loop.run_until_complete(stage.world.over)
        return stage.night.outcome(_head(site, drill, seed, stage.pins.name))


def _head(site: Site, drill: Drill, seed: int, source: str) -> Outcome:
    return Outcome(drill.title, site.site.id, seed, "guard", (), source)


class Stage:
    """A night set up under virtual time, for whoever lets it run."""

    def __init__(
        self,
        site: Site,
        drill: Drill,
        seed: int,
        trace: Trace,
        progress: Progress | None,
        *,
        every_tick: bool,
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
        self.host = DaemonHost(site, self.pins, around, boot, every_tick=every_tick)
        self.night = Night(site, drill, stand, guarded=True, host=self.host, progress=progress)
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
    progress: Progress | None = None,
    *,
    every_tick: bool = False,
) -> Iterator[Stage]:
    """A night set up, its log lines in the trace; raises NoSuchRoleError."""
    with _logging_to(trace):
        stage = Stage(site, drill, seed, trace, progress, every_tick=every_tick)
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
