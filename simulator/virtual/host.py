"""A machine with the whole daemon on it, which can be killed, hung, rebooted and upgraded.

The daemon is the one that runs on a Pi: assembly, loop, link, outbox, latches, leases. Only what
`daemon.machine` and the board put between it and the world is simulated.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

import structlog

from daemon.assembly import Assembly
from daemon.flight import Records
from daemon.guard import Guard
from daemon.link import Link, LinkStatus
from daemon.loop import RealTime
from daemon.machine import Machine
from daemon.secrets import Secret
from daemon.session import Address
from rules.signals import Alarm, AlarmState, Command, Decision, Event
from rules.site.model import Site
from simulator.night.host import BOOT_S
from simulator.night.runner import Tap
from simulator.virtual.broker import Broker
from simulator.virtual.clock import MachineClock
from simulator.virtual.disk import VirtualDisk
from simulator.virtual.loop import VirtualLoop
from simulator.virtual.process import Pins, Process, ProcessPins
from simulator.virtual.quiet import Passage, QuietTime
from simulator.virtual.trace import Trace
from simulator.virtual.wire import VirtualWire

LATCHES = Path("/state/latched.json")

RESTART_S = 5.0
"""How long after a process that ended by itself its supervisor starts it again [s]."""

LAUNCH_S = (0.3, 0.9)
"""From the start of a process to the first line of the guard [s]; own estimate."""


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around the machine."""

    loop: VirtualLoop
    broker: Broker
    disk: VirtualDisk
    clock: MachineClock
    trace: Trace
    chance: random.Random


class Run:
    """One run of the daemon, from its start to its end; `raised` are its events, oldest first.

    `held_up` counts how often its loop was made to wait, which makes a tick late each time.
    """

    def __init__(self, process: Process, boot: str, began_s: float) -> None:
        self.process = process
        self.boot = boot
        self.began_s = began_s
        self.raised: list[Event] = []
        self.held_up = 0
        self.stopping = False
        self.wire: VirtualWire | None = None
        self.link: Link | None = None
        self.assembly: Assembly | None = None

    @property
    def guard(self) -> Guard | None:
        """Its guard, once it is put together."""
        return self.assembly.guard if self.assembly is not None else None


class Surroundings(Passage, Protocol):
    """The world as the machine moves it."""

    def move(self) -> None:
        """Bring the world to this moment."""

    def take(self, decision: Decision) -> None:
        """Look at what the guard decided."""


class DaemonHost:
    """The machine, in a world that it moves before each tick and tells of each decision.

    Events in the decisions are told in the time of the night, through all restarts. While nothing
    moves, ticks are left out; not so with `every_tick`.
    """

    def __init__(
        self,
        site: Site,
        pins: Pins,
        around: Around,
        boot: str,
        *,
        without: frozenset[str],
        every_tick: bool,
        records: Records | None,
    ) -> None:
        self._site = site
        self._pins = pins
        self._around = around
        self._loop = around.loop
        self._boot = boot
        self._world: Surroundings | None = None
        self._without = without
        self._every_tick = every_tick
        self._records = records
        self.taps: list[Tap] = []
        self._decision = Decision((), (), (), (), ())
        self._orders: list[Command] = []
        self._to_start: asyncio.TimerHandle | None = None
        self.runs: list[Run] = []
        self.ended_by_itself: list[str] = []

    def live_in(self, world: Surroundings) -> None:
        """Start, in this world."""
        self._world = world
        self._start_in(0.0)

    # --- what it is asked ----------------------------------------------------------------------

    @property
    def run(self) -> Run | None:
        """The run of the daemon that is under way; None while there is none."""
        last = self.runs[-1] if self.runs else None
        return None if last is None or last.process.dead else last

    @property
    def guard(self) -> Guard | None:
        """The guard, None while there is none."""
        return self.run.guard if self.run is not None else None

    @property
    def ticking(self) -> bool:
        """False while the guard is away or hangs."""
        return self.run is not None and not self.run.process.main.held

    @property
    def decision(self) -> Decision:
        """What the guard decided last."""
        return self._decision

    @property
    def link_status(self) -> LinkStatus | None:
        """How its broker link stands."""
        run = self.run
        return run.link.status if run is not None and run.link is not None else None

    def standing(self) -> tuple[Alarm, ...]:
        """The alarms that stand, as a person who asks the guard is told; none while it is away."""
        if self.guard is None:
            return ()
        return tuple(a for a in self._decision.alarms if a.state is not AlarmState.NORMAL)

    def order(self, command: Command) -> None:
        """Give the guard an order at the machine itself, for its next tick."""
        if self.guard is not None:
            self._orders.append(command)

    # --- what can be done to it ------------------------------------------------------------------

    def kill(self, back_after_s: float, held: bool = True) -> None:
        """Kill the process: pins held as they are, as a kernel may, or let go to their pulls."""
        self._say(f"killed, back after {back_after_s:.1f} s")
        self._end_run()
        if not held:
            self._to_pulls()
        self._start_in(back_after_s)

    def hang(self, lasts_s: float, whole: bool = False) -> None:
        """Hold up the loop while the other threads go on; with `whole`, them as well."""
        run = self.run
        if run is None:
            return
        self._say(f"{'all of it' if whole else 'the loop'} hangs for {lasts_s:.1f} s")
        until_s = self._loop.time() + lasts_s
        run.held_up += 1
        for strand in run.process.strands if whole else [run.process.main]:
            strand.hold("hang", until_s)

    def reboot(self, back_after_s: float = BOOT_S) -> None:
        """Start the machine anew: its pins go to their pulls until a guard claims them."""
        self._say(f"reboots, back after {back_after_s:.1f} s")
        self._lose_power(back_after_s)
        self._to_pulls()

    def unpower(self, lasts_s: float) -> None:
        """Take the machine's power for so long; then it boots.

        Its pins are low meanwhile: whatever a low pin switches on, and has another supply, is on.
        """
        self._say(f"without power for {lasts_s:.1f} s")
        self._lose_power(lasts_s + BOOT_S)
        for key, output in self._site.outputs.items():
            self._pins.drive(key, output.safe == "high")
        self._loop.call_later(lasts_s, self._power_returns, context=self._loop.world)

    def upgrade(self, back_after_s: float) -> None:
        """Stop the daemon in order, every output off, and start it again later."""
        self._say(f"upgraded, back after {back_after_s:.1f} s")
        run = self.run
        self._start_in(back_after_s)
        if run is not None and run.assembly is not None:
            run.stopping = True
            self._loop.call_soon(run.assembly.loop.stop, context=run.process.main.context)

    # --- inside --------------------------------------------------------------------------------

    def _say(self, what: str) -> None:
        self._around.trace.add("machine", what)

    def _start_in(self, delay_s: float) -> None:
        if self._to_start is not None:
            self._to_start.cancel()
        at_s = self._loop.time() + delay_s + self._around.chance.uniform(*LAUNCH_S)
        self._to_start = self._loop.call_at(at_s, self._start, context=self._loop.world)

    def _start(self) -> None:
        if self.run is not None:  # the old one still takes leave
            self._to_start = self._loop.call_later(0.1, self._start, context=self._loop.world)
            return
        number, self._to_start = len(self.runs), None
        boot = self._boot if number == 0 else f"{self._boot}-{number}"
        process = Process(self._loop, f"daemon-{number}", self._around.chance)
        run = Run(process, boot, self._loop.time())
        self.runs.append(run)
        self._say(f"{boot} starts")
        self._orders.clear()
        process.in_main(lambda: self._launch(run))

    def _launch(self, run: Run) -> None:
        """What the command line does on a Pi: open the pins, put the parts together, run them."""
        process, world = run.process, self._world
        assert world is not None
        pins = ProcessPins(process, self._pins)
        for output in self._site.outputs:
            pins.drive(output, False)  # a board that is opened claims every output at off

        def open_session(
            address: Address,
            client_id: str,
            secret: Secret | None,
            *,
            will: tuple[str, str],
            subscriptions: tuple[str, ...],
            wake: Callable[[], None],
        ) -> VirtualWire:
            del secret
            run.wire = VirtualWire(
                process.strand("session"),
                self._around.broker,
                self._around.chance,
                address,
                client_id,
                will=will,
                subscriptions=subscriptions,
                wake=wake,
            )
            return run.wire

        clock = self._around.clock
        machine = Machine(clock, process.hire, self._around.disk, open_session)
        log = structlog.get_logger("link")
        run.link = Link(
            self._site, run.boot, None, host="broker", tls=False, log=log, machine=machine
        )
        pace = None if self._every_tick else QuietTime(self._loop, world)
        run.assembly = Assembly(
            self._site,
            pins,
            run.boot,
            pace or RealTime(clock),
            link=run.link,
            latches=LATCHES,
            socket=None,
            records=self._records,
            machine=machine,
            without=self._without,
        )
        loop = run.assembly.loop
        if pace is not None:
            pace.take(run.assembly.guard, lambda: run.stopping or bool(self._orders))
        loop.before.append(lambda _t_s: world.move())
        loop.sources.append(self._take_orders)
        loop.listeners.append(lambda t_s, _n, wall, decision: self._hear(run, t_s, wall, decision))
        if pace is not None:
            loop.listeners.append(lambda _t_s, _n, _wall, decision: pace.note(decision))
        run.held_up = int(process.main.held)  # by a disk that stalls while it is read
        task = self._loop.create_task(run.assembly.run())
        task.add_done_callback(lambda task: self._ended(run, task), context=self._loop.world)

    def _take_orders(self) -> tuple[Command, ...]:
        orders, self._orders = tuple(self._orders), []
        return orders

    def _hear(self, run: Run, t_s: float, wall: datetime, decision: Decision) -> None:
        if run.process.dead or self._world is None:
            return  # it was killed in the middle of this tick
        guard = run.guard
        if guard is not None and (seen := guard.observation) is not None:
            for tap in self.taps:
                tap(seen.t_s, seen, decision, guard)
        run.raised += decision.events
        for event in decision.events:
            self._around.trace.add("guard", f"{wall.isoformat()} {event.kind.value} {event.text}")
        if decision.events:
            shift_s = self._loop.time() - t_s
            events = tuple(replace(each, t_s=each.t_s + shift_s) for each in decision.events)
            decision = replace(decision, events=events)
        self._decision = decision
        self._world.take(decision)

    def _ended(self, run: Run, task: asyncio.Task[int]) -> None:
        """The main thread is through; what it still waits for keeps the process up so long."""
        code = task.result()  # what is thrown here is thrown at whoever plays the night
        self._loop.call_soon(self._exit, run, code, context=run.process.main.context)

    def _exit(self, run: Run, code: int) -> None:
        if run.process.dead:
            return
        self._say(f"{run.boot} ends with {code}")
        self._end_run()
        if code or self._to_start is None:
            self.ended_by_itself.append(run.boot)
            self._start_in(RESTART_S)

    def _end_run(self) -> None:
        """The process is gone: its threads, its connection, and what the disk was at."""
        run = self.run
        if run is None:
            return
        run.process.die()
        if run.wire is not None:
            run.wire.sever()
        for strand in run.process.strands:
            self._around.disk.break_off(strand)

    def _lose_power(self, back_after_s: float) -> None:
        run = self.run
        if run is not None and run.wire is not None:
            run.wire.vanish()
        self._end_run()
        self._start_in(back_after_s)
        self._around.clock.stand(back_after_s)

    def _power_returns(self) -> None:
        if self.run is None:
            self._to_pulls()

    def _to_pulls(self) -> None:
        for key, output in self._site.outputs.items():
            self._pins.drive(key, not output.pulled_safe_at_power_on)
