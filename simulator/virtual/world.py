"""The world of a night under virtual time: the water, the faults of broker, disk and clock."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from math import inf

from rules.signals import TICK_S, Decision
from rules.site.model import Site
from simulator.night.evidence import Arrived
from simulator.night.night import Night
from simulator.story.drill import Drill
from simulator.story.happenings import Happening
from simulator.story.happenings_world import (
    BrokerDown,
    BrokerForgets,
    BrokerHangs,
    ClockJumps,
    DiskFull,
    DiskStalls,
)
from simulator.virtual.host import Around
from simulator.virtual.phone import Shown
from simulator.virtual.process import Pins

CALM_S = 3.0
"""So long after anything happened around the guard, every tick comes [s]."""

LATE_S = 0.002
"""So long after a tick was due, the world goes on by itself [s]."""


class Weather:
    """Faults of what stands around the machine; each ends by itself, the longest counts."""

    def __init__(self, around: Around, at: Callable[[float, Callable[[], None]], None]) -> None:
        self._around = around
        self._at = at
        self._until_s: dict[str, float] = {}

    def jump_clock(self, by_s: float) -> None:
        """Set the wall clock."""
        self._around.clock.jump(by_s)

    def fill_disk(self, lasts_s: float) -> None:
        """Let nothing more be written."""
        self._around.disk.full = True
        self._for("disk full", lasts_s, self._room)

    def stall_disk(self, lasts_s: float) -> None:
        """Let every step of the disk take until then."""
        self._around.trace.add("disk", f"stalls for {lasts_s:.1f} s")
        self._around.disk.stall(lasts_s)

    def stop_broker(self, lasts_s: float) -> None:
        """Kill the broker, and start it again."""
        self._around.broker.stop()
        self._for("broker down", lasts_s, self._around.broker.start)

    def hang_broker(self, lasts_s: float) -> None:
        """Leave the broker's connections half open."""
        self._around.broker.hang()
        self._for("broker hangs", lasts_s, self._around.broker.go_on)

    def refuse(self, lasts_s: float) -> None:
        """Let the broker refuse whoever calls; connections that stand are ended."""
        self._around.trace.add("broker", f"refuses for {lasts_s:.1f} s")
        self._around.broker.refuses = True
        if self._around.broker.up:
            self._around.broker.stop()
            self._around.broker.start()
        self._for("broker refuses", lasts_s, self._obliging)

    def forget(self) -> None:
        """Give the broker an empty disk."""
        self._around.broker.forget()

    def _obliging(self) -> None:
        self._around.broker.refuses = False

    def _room(self) -> None:
        self._around.disk.full = False

    def _for(self, what: str, lasts_s: float, end: Callable[[], None]) -> None:
        until_s = self._around.loop.time() + lasts_s
        self._until_s[what] = max(self._until_s.get(what, 0.0), until_s)

        def over() -> None:
            if self._around.loop.time() >= self._until_s[what]:
                end()

        self._at(until_s, over)


class World:
    """Moves a night by the daemon's ticks, and by its own while there are none."""

    def __init__(self, site: Site, night: Night, pins: Pins, around: Around) -> None:
        self.night = night
        self.over: asyncio.Future[None] = around.loop.create_future()
        self.weather = Weather(around, self.at)
        self._site = site
        self._pins = pins
        self._around = around
        self._loop = around.loop
        self._moved_s = 0.0
        self._last = Decision((False,) * len(site.outputs), (), (), (), ())
        self.began_s = inf  # when the story began, once it has
        self.on_begin: list[Callable[[float], None]] = []
        self._coming: list[float] = []
        self._happened_s = -inf
        self._beat_later()

    def move(self) -> None:
        """Bring the world to this moment; called before each tick of the guard."""
        self._moved_s = self._loop.time()
        self.night.move(self._moved_s)

    def move_until(self, t_s: float) -> float:
        """Bring the world to `t_s`, or to where a sensor shows anything new; the time then [s].

        For a stretch in which the guard's ticks are left out: they would have beaten.
        """
        plant = self.night.stand.plant
        plant.keep_beating(t_s - self._loop.time())
        self._moved_s = self.night.move_until(t_s)
        plant.keep_beating()
        return self._moved_s

    def at(self, t_s: float, act: Callable[[], None]) -> None:
        """Let something happen around the guard at that time; no stretch goes past it."""
        self._coming.append(t_s)

        def happen() -> None:
            self._coming.remove(t_s)
            self._happened_s = self._loop.time()
            act()

        self._loop.call_at(t_s, happen, context=self._loop.world)

    @property
    def quiet_until_s(self) -> float:
        """Until when nothing happens around the guard [s]; now, when something just has."""
        now_s = self._loop.time()
        if now_s - self._happened_s < CALM_S:
            return now_s
        return min(self._coming, default=inf)

    def take(self, decision: Decision) -> None:
        """Look at what the guard decided."""
        self._last = decision
        self.night.take(decision)
        if self.night.begun and self.began_s == inf:
            self.began_s = self._loop.time()
            self._begin(self.night.drill)
        if self.night.ended and not self.over.done():
            self.over.set_result(None)

    def show(self, shown: Shown) -> None:
        """A phone shows a message."""
        seen, alarm = self.night.seen, shown.event["alarm"]
        if seen is None or seen.arrived is None or shown.event["kind"] != "alarm-raised":
            return
        key = f"{shown.event['boot']} {alarm['row']} {alarm['occurrence']}"
        seen.arrived.append(Arrived(self.night.time_of(shown.t_s), shown.hazard, key))

    def _beat_later(self) -> None:
        due_s = self._moved_s + TICK_S + LATE_S
        self._loop.call_at(due_s, self._beat, context=self._loop.world)

    def _beat(self) -> None:
        if self._loop.time() - self._moved_s > TICK_S:
            self.move()
            outputs = tuple(self._pins.left[key] for key in self._site.outputs)
            self.take(replace(self._last, events=(), outputs=outputs))
        self._beat_later()

    def _begin(self, drill: Drill) -> None:
        self._around.trace.add("world", f"the story begins: {drill.title}")
        if self.night.seen is not None:
            self.night.seen.arrived = []
        for tell in self.on_begin:
            tell(self.began_s)
        for event in drill.happens:
            act = self._fault(event)
            if act is not None:
                self.at(self.began_s + event.at, act)

    def _fault(self, event: Happening) -> Callable[[], None] | None:
        """What happens to broker, disk and clock; the script does the rest."""
        weather = self.weather
        match event:
            case ClockJumps():
                by_s = event.by if event.to == "forward" else -event.by
                return lambda: weather.jump_clock(by_s)
            case DiskFull():
                return lambda: weather.fill_disk(event.lasts)
            case DiskStalls():
                return lambda: weather.stall_disk(event.lasts)
            case BrokerDown():
                return lambda: weather.stop_broker(event.lasts)
            case BrokerHangs():
                return lambda: weather.hang_broker(event.lasts)
            case BrokerForgets():
                return weather.forget
            case _:
                return None
