"""A night told to the engine: readings of a good day, changes to them, and what came of it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from math import nan
from pathlib import Path

import simulator
from rules import engine
from rules.memory import Kept, Memory, begin
from rules.orders import EVERYTHING
from rules.plan import Plan
from rules.signals import (
    Alarm,
    AskedPause,
    Command,
    Decision,
    Event,
    EventKind,
    Observation,
    Order,
    Origin,
    Phase,
    Quality,
    Reading,
)
from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.sensors import FloatSwitch, FlowMeter, LevelSensor, MainsSensor

SITES = Path(simulator.__file__).parent / "sites"
TICK_S = 0.1
REST_TICK_S = 0.5
LONG_TICK_S = 30.0

WET, DRY = Reading(1.0), Reading(0.0)


def text_of(name: str) -> str:
    """The text of a demo site."""
    return (SITES / f"{name}.toml").read_text(encoding="utf-8")


def changed(text: str, *changes: tuple[str, str]) -> str:
    """The text with each change made once; a change that changes nothing is a mistake here."""
    for old, new in changes:
        assert text.count(old) >= 1, f"not in the text: {old}"
        text = text.replace(old, new, 1)
    return text


def edited(text: str, table: str, **values: str | None) -> str:
    """The text with keys of one table set to these TOML values, added, or (None) left out."""
    lines = text.splitlines()
    start = lines.index(f"[{table}]")
    end = next((i for i in range(start + 1, len(lines)) if lines[i][:1] == "["), len(lines))
    for key, value in values.items():
        name = key.rstrip("_")
        new = [] if value is None else [f"{name} = {value}"]
        at = next((i for i in range(start, end) if lines[i].startswith(f"{name} = ")), None)
        assert at is not None or value is not None, f"no {name} in [{table}]"
        old = slice(start + 1, start + 1) if at is None else slice(at, at + 1)
        end += len(new) - (old.stop - old.start)
        lines[old] = new
    return "\n".join(lines)


def without_table(text: str, table: str) -> str:
    """The text with one table left out."""
    kept, inside, found = [], False, False
    for line in text.splitlines():
        if line.startswith("["):
            inside = line.strip() == f"[{table}]"
            found |= inside
        if not inside:
            kept.append(line)
    assert found, f"no table {table}"
    return "\n".join(kept)


def site_of(text: str) -> Site:
    """A site read from its text."""
    return parse_site(text, "night.toml")


@cache
def _demo_plan(name: str, without: frozenset[str]) -> Plan:
    """The plan of a demo site; it is never changed, so that all nights may share it."""
    return engine.plan_for(site_of(text_of(name)), without)


@cache
def _good_start(name: str, without: frozenset[str], boot: str, seconds: float) -> Night:
    """A night that began well; many stories begin like it, so it is told once."""
    night = Night(name, without=without, boot=boot)
    night.run(seconds)
    return night


class Night:
    """One guard, one site, and a clock that this class owns.

    Times are seconds since the guard began. The meters follow the pump unless told otherwise.
    """

    def __init__(
        self,
        site: str | Site = "classroom",
        *,
        without: Iterable[str] = (),
        kept: Kept | None = None,
        boot: str = "boot-a",
    ) -> None:
        taken_out = frozenset(without)
        self.plan: Plan = (
            engine.plan_for(site, taken_out)
            if isinstance(site, Site)
            else _demo_plan(site, taken_out)
        )
        self.site = self.plan.site
        self._start = (site, taken_out, boot) if isinstance(site, str) and kept is None else None
        self.memory: Memory = begin(self.plan, boot, kept)
        self.decision: Decision | None = None
        self.events: list[Event] = []
        self.changed_s = 0.0
        self.t_s = 0.0
        self._set: dict[str, Reading] = {}
        self._orders: list[Command] = []
        self._dropped: set[str] = set()

    # --- what happens ------------------------------------------------------------------------

    def wet(self, *sensors: str) -> None:
        """These contacts read wet (or the supply present) from now on."""
        self._put(sensors, WET)

    def dry(self, *sensors: str) -> None:
        """These contacts read dry (or the supply lost) from now on."""
        self._put(sensors, DRY)

    def bad(self, *sensors: str) -> None:
        """These sensors cannot be read from now on."""
        self._put(sensors, Reading(nan, Quality.BAD, 0.0, "no such pin"))

    def flow(self, sensor: str, share: float) -> None:
        """This meter shows a share of what it shows on a good day."""
        self._put([sensor], Reading(share * self._good_flow(sensor)))

    def reads(self, sensor: str, reading: Reading) -> None:
        """This sensor gives exactly this reading from now on."""
        self._put([sensor], reading)

    def mend(self, *sensors: str) -> None:
        """These sensors read as on a good day again; all of them if none is named."""
        for sensor in sensors or tuple(self._set):
            self._set.pop(sensor, None)
        self.changed_s = self.t_s

    def drop(self, output: str) -> None:
        """The lease of this output runs out before the next tick."""
        self._dropped.add(output)

    def _put(self, sensors: Iterable[str], reading: Reading) -> None:
        for sensor in sensors:
            assert sensor in self.site.sensors, f"no sensor {sensor}"
            self._set[sensor] = reading
        self.changed_s = self.t_s

    # --- orders ------------------------------------------------------------------------------

    def acknowledge(self, code: str, person: str = "", origin: Origin = Origin.BROKER) -> Event:
        """A person acknowledges; returns the answer."""
        return self.order(Command(Order.ACKNOWLEDGE, code, origin, person))

    def reset(self, code: str = EVERYTHING, origin: Origin = Origin.LOCAL) -> Event:
        """A person resets all that is latched, or what this code answers; returns the answer."""
        return self.order(Command(Order.RESET, code, origin))

    def pause(self, kind: str, lasts_s: float | None = None) -> Event:
        """A person pauses the pump, at the guard; returns the answer."""
        return self.order(Command(Order.PAUSE, AskedPause(kind, lasts_s).text, Origin.LOCAL))

    def give(self, *commands: Command) -> None:
        """These orders, all at the next look."""
        self._orders.extend(commands)
        self.tick()

    def order(self, command: Command) -> Event:
        """An order as it arrives; returns the answer."""
        self.give(command)
        assert self.decision is not None
        kinds = (EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED)
        (answer,) = [event for event in self.decision.events if event.kind in kinds]
        return answer

    # --- time --------------------------------------------------------------------------------

    def tick(self, dt_s: float = TICK_S) -> Decision:
        """One look at the world, `dt_s` after the last one; the first one at once."""
        if self.decision is not None:
            self.t_s = round(self.t_s + dt_s, 6)
        dropped = tuple(key in self._dropped for key in self.site.outputs)
        observation = Observation(self.t_s, self.readings(), tuple(self._orders), dropped)
        self._orders.clear()
        self._dropped.clear()
        self.memory, self.decision = engine.step(self.plan, self.memory, observation)
        self.events.extend(self.decision.events)
        return self.decision

    def run(self, seconds: float, dt_s: float = TICK_S) -> None:
        """Ten looks a second for so long."""
        for _ in range(round(seconds / dt_s)):
            self.tick(dt_s)

    def rest(self, seconds: float) -> None:
        """A long wait, at two looks a second."""
        self.run(seconds, REST_TICK_S)

    def wait(self, seconds: float) -> None:
        """A very long wait in which no sensor changes, at a look every half minute."""
        self.run(seconds, LONG_TICK_S)

    def good(self, seconds: float) -> None:
        """So long with every sensor as on a good day."""
        self.mend()
        if self.decision is None and self._start is not None:
            told = _good_start(*self._start, seconds)
            self.memory, self.decision, self.t_s = told.memory, told.decision, told.t_s
            self.events = list(told.events)
        else:
            self.run(seconds)

    def wave(
        self, sensor: str, period_s: float, duty: float, seconds: float, dt_s: float = TICK_S
    ) -> None:
        """A contact that waves wet and dry: wet for this share of each period."""
        for i in range(round(seconds / dt_s)):
            phase = (i * dt_s) % period_s
            self._set[sensor] = WET if phase < duty * period_s - 1e-9 else DRY
            self.tick(dt_s)

    def readings(self) -> tuple[Reading, ...]:
        """What the sensors say now, in the order of the site file."""
        return tuple(self._set.get(key) or self._good(key) for key in self.site.sensors)

    def _good(self, key: str) -> Reading:
        sensor = self.site.sensors[key]
        if isinstance(sensor, FlowMeter):
            return Reading(self._good_flow(key) if self._metered_pump_on(sensor) else 0.0)
        if isinstance(sensor, FloatSwitch):
            return WET if sensor.duty in ("dry-run", "top-off") else DRY
        if isinstance(sensor, LevelSensor):
            bottom_m = self.site.chambers[sensor.chamber].bottom
            return Reading(self.plan.figures.running.levels_m[sensor.chamber] - bottom_m)
        return WET if isinstance(sensor, MainsSensor) else DRY

    def _good_flow(self, key: str) -> float:
        sensor = self.site.sensors[key]
        assert isinstance(sensor, FlowMeter)
        lift = self.plan.figures.lift(self._pump_of(sensor))
        return lift.flow_m3_s if sensor.on == lift.pump else lift.branches[sensor.on]

    def _pump_of(self, meter: FlowMeter) -> str:
        for pump in self.site.pumps:
            if meter.on == pump or meter.on in self.site.branches(pump):
                return pump
        raise AssertionError(f"nothing is metered by {meter}")

    def _metered_pump_on(self, meter: FlowMeter) -> bool:
        index = list(self.site.pumps).index(self._pump_of(meter))
        return self.memory.pumps[index].on

    # --- what came of it ---------------------------------------------------------------------

    def on(self, output: str) -> bool:
        """True when this output was driven on at the last tick."""
        assert self.decision is not None
        return self.decision.outputs[self.plan.outputs[output]]

    @property
    def phase(self) -> Phase:
        """The phase of the first pump."""
        return self.memory.pumps[0].phase

    def of(self, kind: EventKind, subject: str = "") -> list[Event]:
        """The events of one kind so far, of one subject where named."""
        return [e for e in self.events if e.kind is kind and subject in ("", e.subject)]

    @property
    def cut_at(self) -> float | None:
        """When the pump was last cut [s], None if never."""
        cuts = self.of(EventKind.PUMP_CUT)
        return cuts[-1].t_s if cuts else None

    @property
    def cut_after_s(self) -> float | None:
        """Time from the last change to the first cut after it [s], None if there was none."""
        cuts = [e.t_s for e in self.of(EventKind.PUMP_CUT) if e.t_s >= self.changed_s]
        return round(cuts[0] - self.changed_s, 6) if cuts else None

    def raised(self, row: str) -> list[Alarm]:
        """Every alarm that a row raised so far."""
        alarms = [event.alarm for event in self.of(EventKind.ALARM_RAISED)]
        return [alarm for alarm in alarms if alarm is not None and alarm.row == row]

    def alarm(self, row: str) -> Alarm | None:
        """A row's alarm as it stands."""
        assert self.decision is not None
        return next((alarm for alarm in self.decision.alarms if alarm.row == row), None)
