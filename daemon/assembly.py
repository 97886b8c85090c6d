"""The parts of a running guard put together: guard, loop, broker link, control socket, latches."""

from __future__ import annotations

import secrets as random_source
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import structlog

from daemon.control import Control, ControlError
from daemon.flight import Flight, Records
from daemon.guard import Guard
from daemon.latches import Latches, read_kept
from daemon.link import Link
from daemon.loop import Loop, Time
from daemon.machine import THIS, Machine
from daemon.notify import Notify
from daemon.ports import Board
from daemon.status import StatusBoard
from rules.memory import Kept
from rules.signals import Decision
from rules.site.model import Site

log = structlog.get_logger(__name__)


def new_boot() -> str:
    """An id for this run of the daemon; the codes of its alerts are bound to it."""
    return random_source.token_hex(4)


class Assembly:
    """Everything that runs beside the tick, started and stopped in order.

    `link` is None where there is no broker; `latches` and `records` are None where nothing is to
    be kept or recorded, as in a simulated night. `without` takes hazards out, to prove in a
    simulation that they are needed.
    """

    def __init__(
        self,
        site: Site,
        board: Board,
        boot: str,
        pace: Time,
        *,
        link: Link | None,
        latches: Path | None,
        socket: Path | None,
        records: Records | None = None,
        machine: Machine = THIS,
        without: frozenset[str] = frozenset(),
    ) -> None:
        kept = read_kept(latches, site.pumps, machine.disk) if latches else Kept()
        if kept.latched:
            rows = ", ".join(sorted(kept.latched))
            log.warning("still latched from before the restart", rows=rows)
        if kept.attempts:
            pumps = ", ".join(sorted(kept.attempts))
            log.warning("cut before the restart: it rests before it is started", pumps=pumps)
        if kept.on:
            pumps = ", ".join(sorted(kept.on))
            log.warning("left on by a guard that was not stopped in order", pumps=pumps)
        clock = machine.clock
        self.guard = Guard(
            site,
            board,
            boot,
            without=without,
            kept=kept,
            clock=clock.monotonic_s,
            hire=machine.hire,
        )
        self.notify = Notify(clock)
        self.loop = Loop(self.guard, pace, self.notify, clock)
        self.flight = Flight(self.guard, boot, records, machine) if records else None
        self.status = StatusBoard(self.guard.plan, boot, self.loop.tally, link, self.flight)
        self._link = link
        self._latches = Latches(latches, machine) if latches else None
        self._socket = socket
        self.loop.listeners.append(self.status.hand_over)
        if link is not None:
            self.loop.sources.append(link.commands)
            self.loop.listeners.append(self._to_link)
        if self._latches is not None:
            self.loop.listeners.append(self._to_latches)
        if self.flight is not None:
            self.loop.listeners.append(self.flight.take)

    async def run(self) -> int:
        """Run until stopped; returns the exit code."""
        control = await self._open_control()
        if self._link is not None:
            self._link.start()
        self.notify.ready(f"guarding {self.guard.plan.site.site.name}")
        try:
            code = await self.loop.run()
            if code == 0 and self._latches is not None:
                self._latches.keep(self.guard.kept(stopped=True))
            return code
        finally:
            if control is not None:
                await control.stop()
            if self._link is not None:
                self._link.stop(3.0)
            if self._latches is not None:
                self._latches.close()
            if self.flight is not None:
                if self.loop.failure is not None:
                    self.flight.fail(self.loop.failure)
                self.flight.close()

    async def _open_control(self) -> Control | None:
        if self._socket is None:
            return None
        control = Control(self._socket, self._status, log)
        try:
            self._socket.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            await control.start()
        except (ControlError, OSError) as error:
            # the guard is worth more than its door: it runs on without one, and says so
            log.error("no control socket: status, acknowledge and reset need it", why=str(error))
            return None
        self.loop.sources.append(control.commands)
        self.loop.listeners.append(lambda _t, _tick, _wall, decision: control.hand_over(decision))
        return control

    def _status(self) -> Mapping[str, object]:
        return self.status.as_json()

    def _to_link(self, _t_s: float, tick: int, wall: datetime, decision: Decision) -> None:
        assert self._link is not None
        self._link.hand_over(decision, tick, wall)

    def _to_latches(self, _t_s: float, _tick: int, _wall: datetime, _decision: Decision) -> None:
        assert self._latches is not None
        self._latches.keep(self.guard.kept())
