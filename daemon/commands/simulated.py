"""weirkeeper run --simulate: the daemon as it is, with a plant behind gpiozero's mock pins."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from daemon.assembly import Assembly, new_boot
from daemon.commands.finding import DEMO_SITE, find_drill, find_site, find_site_text
from daemon.commands.verdicts import print_outcome
from daemon.commands.wiring_up import host_and_port, log_to, make_link, make_records
from daemon.errors import InputError
from daemon.live import LiveView
from daemon.live import Moment as Shown
from daemon.pacing import SimulatedTime
from daemon.pins import PinBoard
from rules.signals import Decision, EventKind
from rules.site.model import Site
from simulator.night.night import Night
from simulator.night.outcome import Outcome
from simulator.night.runner import run as run_fast
from simulator.signals.pins import PinStand, PlantFactory
from simulator.story.roles import NoSuchRoleError
from simulator.tryout.phone import Phone
from simulator.water.plant import Plant

START_SPEED = 150.0
"""The good day before a drill passes at this many times real time."""

CALM_SPEED, BUSY_SPEED = 30.0, 3.0
"""With --live: while nothing happens, and while something does."""

BUSY_BEFORE_S, BUSY_AFTER_S = 4.0, 25.0
"""Something happens from so long before the cause to so long after the last loud event [s]."""

LOUD = {EventKind.ALARM_RAISED, EventKind.PUMP_CUT, EventKind.PUMP_STARTED}


class Pace:
    """How fast the night passes: as told, or by what happens."""

    def __init__(self, night: Night, fixed: float | None) -> None:
        self._night = night
        self._fixed = fixed
        self._busy_until_s = -1.0

    def note(self, decision: Decision) -> None:
        """See whether anything happened."""
        if self._night.begun and any(event.kind in LOUD for event in decision.events):
            self._busy_until_s = self._night.drill_s + BUSY_AFTER_S

    def speed(self) -> float:
        """Times real time, now."""
        if not self._night.begun:
            return START_SPEED
        if self._fixed is not None:
            return self._fixed
        now_s, cause_s = self._night.drill_s, self._night.drill.cause_s
        near = cause_s is not None and -BUSY_BEFORE_S <= now_s - cause_s <= BUSY_AFTER_S
        return BUSY_SPEED if near or now_s < self._busy_until_s else CALM_SPEED


def run_simulated(options: argparse.Namespace) -> int:
    """Run one drill through the whole daemon; 0 if it held, 1 if not or if a tick failed."""
    site = find_site(options.site or DEMO_SITE)
    site_text = find_site_text(options.site or DEMO_SITE)
    drill = find_drill(options.simulate)
    if drill.recording is not None:
        sentence = "plays a recording, which has no plant to guard; weirkeeper drill plays it"
        raise InputError(f"{drill.title}: {sentence}")
    fixed = options.speed or (None if options.live else 1.0)
    plant = Plant(site, options.seed, timer_relay=True)
    plant.settle()
    factory = PlantFactory()
    stand = PinStand(site, plant, factory)
    try:
        night = Night(site, drill, stand, guarded=True)
    except NoSuchRoleError as missing:
        raise InputError(f"{drill.title}: {missing}") from None
    board = PinBoard(site, factory, name="sim+pins")
    boot = new_boot()
    pace = Pace(night, fixed)
    with contextlib.ExitStack() as stack:
        log_file = options.log_file
        if options.live and log_file is None:
            log_file = str(Path(tempfile.mkdtemp(prefix="weirkeeper-")) / "log")
        stack.enter_context(log_to(log_file, json=options.log == "json", boot=boot))
        address = stack.enter_context(_broker(options.broker or "embedded"))
        state = Path(options.state) if options.state else None
        story = f"drill {options.simulate}, seed {options.seed}"
        assembly = Assembly(
            site,
            board,
            boot,
            SimulatedTime(lambda: night.ended, pace.speed),
            link=make_link(site, boot, address),
            latches=state / "latched.json" if state else None,
            socket=Path(options.socket) if options.socket else None,
            records=make_records(options, state, site_text, board.name, story=story, hastened=True),
        )
        assembly.loop.before.append(night.move)
        assembly.loop.listeners.append(lambda _t, _n, _w, decision: night.take(decision))
        assembly.loop.listeners.append(lambda _t, _n, _w, decision: pace.note(decision))
        if options.live:
            view = LiveView(site, drill.title, drill.starts_at)
            _show(assembly, view, night, pace)
            stack.enter_context(_phone(address, site, view))
            stack.enter_context(view)
        code = asyncio.run(assembly.run())
    if code or not night.ended:
        print(f"stopped before the night was over; the log is in {log_file or 'standard error'}")
        return code
    outcome = night.outcome(
        Outcome(
            drill=drill.title,
            site=site.site.id,
            seed=options.seed,
            keeper="guard",
            without=(),
            source=board.name,
        )
    )
    bare = run_fast(site, drill, options.seed, keeper="none")
    print_outcome(site, outcome, bare)
    if options.live:
        print(f"The log is in {log_file}")
    return 0 if outcome.passed else 1


def _show(assembly: Assembly, view: LiveView, night: Night, pace: Pace) -> None:
    """Let the view have every moment of the drill itself, not of the good day before."""

    def leave(_t_s: float, _tick: int, _wall: datetime, decision: Decision) -> None:
        plant = night.stand.plant
        if night.begun:
            view.show(
                Shown(
                    night.drill_s,
                    decision,
                    decision.events,
                    plant.levels_m(),
                    plant.spilled_total_m3,
                    pace.speed(),
                )
            )

    assembly.loop.listeners.append(leave)


@contextlib.contextmanager
def _broker(which: str) -> Iterator[str]:
    """The broker's name for `make_link`; an embedded one runs while this is entered."""
    if which != "embedded":
        yield which
        return
    from simulator.tryout.broker import NoBrokerError, TryOutBroker

    broker = TryOutBroker()
    try:
        port = broker.start()
    except NoBrokerError as error:
        raise InputError(f"{error} Or choose another: --broker HOST:PORT, --broker none.") from None
    try:
        yield f"127.0.0.1:{port}"
    finally:
        broker.stop()


@contextlib.contextmanager
def _phone(address: str, site: Site, view: LiveView) -> Iterator[None]:
    """A phone that shows its messages in the view, where there is a broker to hear from."""
    if address in ("none", "site"):
        view.note = "no phone"
        yield
        return
    host, port = host_and_port(address)
    phone = Phone(host, port, site.site.id, view.message)
    view.note = f"broker {address}" if phone.start() else f"no answer from broker {address}"
    try:
        yield
    finally:
        phone.stop()
