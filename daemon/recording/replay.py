"""A recording through the rules as they are now: what they decide at every look.

The readings are what they were. Where the rules would have done something else, the water would
have gone another way from there on, and the readings with it; a replay tells what would have been
done first, and only roughly what would have come after it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import nan
from typing import Literal

from daemon.recording import remembered
from daemon.recording.read import Recording, Row
from daemon.recording.source import Progress, problem
from rules import engine
from rules.idle import idle_until_s, passed
from rules.memory import Memory, PumpMemory, begin
from rules.plan import Plan
from rules.signals import TICK_S, Decision, Observation, Phase, Quality, Reading
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, LevelSensor, MainsSensor, Sensor

HELD_LONGEST_S = 86400.0
"""Readings from elsewhere hold until the next row, for a day at most [s]."""

ABSENT = Reading(nan, Quality.BAD, 0.0, "the recording does not have it")

Assume = Literal["bad", "good"]
"""What a sensor without a column is taken for: unreadable, or as on a good day."""


@dataclass(frozen=True, slots=True)
class Played:
    """One look: what was seen, what today's rules decide, and the row it came from.

    `row` is None where readings hold between two rows.
    """

    observation: Observation
    decision: Decision
    row: Row | None

    @property
    def t_s(self) -> float:
        """When, in the time of the recording [s]."""
        return self.observation.t_s


class _Mind:
    """What the rules remember in the course of one replay, and before their last look."""

    def __init__(self, plan: Plan, boot: str) -> None:
        self._plan = plan
        self.memory = self._before = begin(plan, boot)

    def look(self, observation: Observation) -> Decision:
        """One step of the rules."""
        self._before = self.memory
        self.memory, decision = engine.step(self._plan, self._before, observation)
        return decision

    def pass_over(self, t_s: float) -> bool:
        """Leave out looks up to `t_s`, as the guard did, where they change nothing today either."""
        if idle_until_s(self._plan, self._before, self.memory) < t_s:
            return False
        self.memory = passed(self._plan, self.memory, t_s)
        return True

    def run(self, row: Row) -> None:
        """Begin with every pump running, but those that the row says were off."""
        pumps = tuple(
            PumpMemory(Phase.RUNNING, row.t_s, on=True)
            if pump.output is None or row.on[pump.output] is not False
            else state
            for pump, state in zip(self._plan.pumps, self.memory.pumps, strict=True)
        )
        self.memory = replace(self.memory, t_s=row.t_s, pumps=pumps)


class Replay:
    """A recording, a site, and the rules of today; raises InputError with a sentence."""

    def __init__(
        self,
        recording: Recording,
        site: Site,
        *,
        without: frozenset[str] = frozenset(),
        assume: Assume = "bad",
    ) -> None:
        self.recording = recording
        self.site = site
        self.columns = recording.columns(site)
        self.plan = engine.plan_for(site, without)
        self.without = without
        self.assume: Assume = assume
        self._none_dropped = (False,) * len(site.outputs)

    def play(self, progress: Progress | None = None) -> Iterator[Played]:
        """Every look; raises InputError with a sentence."""
        head = self.recording.head
        mind = _Mind(self.plan, head.boot if head else "replay")
        last: Row | None = None
        for row in self.recording.rows(self.site, progress):
            if last is not None:
                for t_s in self._between(last, row, mind):
                    yield Played(*self._look(last, t_s, mind), None)
            self._take_up(row, mind)
            yield Played(*self._look(row, row.t_s, mind), row)
            last = row

    def _between(self, last: Row, row: Row, mind: _Mind) -> Iterator[float]:
        """When to look between two rows, at the readings of the first [s]."""
        until_s = row.t_s
        if self.recording.ours:
            if row.passed_s is None or row.remembered or mind.pass_over(row.passed_s):
                return
            until_s = row.passed_s + TICK_S / 2
        elif until_s - last.t_s > HELD_LONGEST_S:
            apart = f"{until_s - last.t_s:.0f} s after the row before"
            sentence = f"{apart}; values are held for a day at most"
            raise problem(self.recording.file, row.line, "", sentence)
        number = 1
        while (t_s := last.t_s + number * TICK_S) < until_s - TICK_S / 100:
            yield t_s
            number += 1

    def _take_up(self, row: Row, mind: _Mind) -> None:
        """What is remembered before a row: at the first of readings from elsewhere, pumps run.

        Unless the row itself says that they were off; for such readings begin in the midst.
        """
        if row.remembered:
            try:
                mind.memory = remembered.read(row.remembered, self.plan)
            except ValueError as error:
                raise problem(self.recording.file, row.line - 1, "", str(error)) from None
        elif not self.recording.ours and not mind.memory.contacts:
            mind.run(row)

    def _look(self, row: Row, t_s: float, mind: _Mind) -> tuple[Observation, Decision]:
        readings = tuple(ABSENT if reading is None else reading for reading in row.readings)
        if t_s == row.t_s:
            observation = Observation(t_s, readings, row.commands, row.dropped)
        else:  # an order is given once
            observation = Observation(t_s, readings, (), self._none_dropped)
        if self.columns.absent:
            observation = self._filled(observation, mind.memory)
        return observation, mind.look(observation)

    def _filled(self, observation: Observation, memory: Memory) -> Observation:
        """The same with sensors that have no column as on a good day, where that is wished."""
        if self.assume == "bad":
            return observation
        readings = tuple(
            self._good(self.site.sensors[key], memory) if reading is ABSENT else reading
            for key, reading in zip(self.site.sensors, observation.readings, strict=True)
        )
        return Observation(observation.t_s, readings, observation.commands, observation.dropped)

    def _good(self, sensor: Sensor, memory: Memory) -> Reading:
        match sensor:
            case FloatSwitch():
                return Reading(float(sensor.duty in ("dry-run", "top-off")))
            case LeakSensor():
                return Reading(0.0)
            case MainsSensor():
                return Reading(1.0)
            case LevelSensor():
                level_m = self.plan.figures.running.levels_m[sensor.chamber]
                return Reading(level_m - self.site.chambers[sensor.chamber].bottom)
            case FlowMeter():
                return Reading(_flow_m3_s(self.plan, sensor, memory))


def _flow_m3_s(plan: Plan, meter: FlowMeter, memory: Memory) -> float:
    """The computed flow past a meter while its pump is on, by what was decided last."""
    for pump, state in zip(plan.pumps, memory.pumps, strict=True):
        lift = plan.figures.lift(pump.id)
        if meter.on == pump.id or meter.on in lift.branches:
            flow = lift.flow_m3_s if meter.on == pump.id else lift.branches[meter.on]
            return flow if state.on else 0.0
    return 0.0
