"""What happens to the guard and what people order, done to the machine that it runs on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from rules.orders import ACKNOWLEDGEABLE, EVERYTHING
from rules.signals import Alarm, AskedPause, AskedShelf, Command, Order, Origin
from rules.site.model import Site
from simulator.story.acts import Part, at_once
from simulator.story.happenings import Happening
from simulator.story.happenings_world import (
    Acknowledge,
    GuardHangs,
    GuardKilled,
    GuardReboots,
    GuardUnpowered,
    GuardUpgraded,
    InService,
    OutOfService,
    Paused,
    PauseEnded,
    Reset,
    Shelved,
)
from simulator.story.roles import resolve


class GuardHost(Protocol):
    """The machine with the guard on it, as a story acts on it; times in s."""

    def kill(self, back_after_s: float, held: bool = True) -> None:
        """Kill the process; its pins are held as they are, or let go."""

    def hang(self, lasts_s: float, whole: bool = False) -> None:
        """Hold its loop up; with `whole`, all of it."""

    def reboot(self, back_after_s: float) -> None:
        """Start the machine anew."""

    def unpower(self, lasts_s: float) -> None:
        """Take its power."""

    def upgrade(self, back_after_s: float) -> None:
        """Stop the guard in order, and start it again."""

    def order(self, command: Command) -> None:
        """Give the guard an order."""

    def standing(self) -> tuple[Alarm, ...]:
        """The alarms that stand, as a person who asks is told."""


def to_the_guard(
    site: Site, host_now: Callable[[], GuardHost | None], event: Happening
) -> list[Part]:
    """The parts of a happening that need a guard; without one they do nothing."""

    def done(do: Callable[[GuardHost], None]) -> list[Part]:
        def act() -> None:
            host = host_now()
            if host is not None:
                do(host)

        return [at_once(act)]

    match event:
        case GuardKilled():
            return done(lambda host: host.kill(event.back_after, event.pins == "held"))
        case GuardHangs():
            return done(lambda host: host.hang(event.lasts, event.pins == "held"))
        case GuardReboots():
            return done(lambda host: host.reboot(event.back_after))
        case GuardUnpowered():
            return done(lambda host: host.unpower(event.lasts))
        case GuardUpgraded():
            return done(lambda host: host.upgrade(event.back_after))
        case Acknowledge():
            return done(lambda host: _acknowledge(site, host, event.hazard))
        case Shelved():
            return done(lambda host: _shelve(site, host, event))
        case _:
            ordered = _ordered(site, event)
            return [] if ordered is None else done(lambda host: host.order(ordered))


def _ordered(site: Site, event: Happening) -> Command | None:
    """The order that somebody at the guard gives, if this is one."""
    match event:
        case Paused():
            pump = resolve(site, "pump", event.where)[0]
            return _command(site, Order.PAUSE, AskedPause(event.kind, event.for_, pump).text)
        case PauseEnded():
            return _command(site, Order.END_PAUSE, EVERYTHING)
        case OutOfService():
            sensor = resolve(site, "input", event.where)[0]
            return _command(site, Order.OUT_OF_SERVICE, sensor)
        case InService():
            return _command(site, Order.IN_SERVICE, resolve(site, "input", event.where)[0])
        case Reset():
            return _command(site, Order.RESET, EVERYTHING)
        case _:
            return None


def _acknowledge(site: Site, host: GuardHost, hazard: str | None) -> None:
    for alarm in host.standing():
        if alarm.state in ACKNOWLEDGEABLE and hazard in (None, alarm.hazard):
            host.order(_command(site, Order.ACKNOWLEDGE, alarm.code))


def _shelve(site: Site, host: GuardHost, event: Shelved) -> None:
    for alarm in host.standing():
        if event.hazard in (None, alarm.hazard):
            asked = AskedShelf(alarm.code, event.for_).text
            host.order(_command(site, Order.SHELVE, asked))


def _command(site: Site, order: Order, code: str) -> Command:
    """An order given at the guard itself, by the first of the people on call."""
    return Command(order, code, Origin.LOCAL, next(iter(site.people), ""))
