"""Where the plant stands in place of the pins: time goes forward here, and a board is read."""

from __future__ import annotations

from abc import ABC, abstractmethod
from math import ceil

from rules.site.model import Site
from rules.site.sensors import FlowMeter, LevelSensor, Sensor
from simulator.signals.contacts import ContactEdge
from simulator.signals.sensing import SURPRISE, Sensors
from simulator.water.plant import Plant

LOOK_S = 0.1  # the sensors look at the plant at least so often while anything may turn
STILL_M_S = 2e-6  # a level that moves no faster than this stands still
FLOW_SHARE = 0.01  # a flow that has changed by so much is news
FLOW_LEAST_M3_S = 1e-5  # and so is one of this size where there was none


def _window_s(sensor: Sensor) -> float:
    """For how long after a change a sensor's reading still changes [s]."""
    match sensor:
        case FlowMeter():
            return max(sensor.window, sensor.silent_after) + LOOK_S
        case LevelSensor():
            return sensor.filter + LOOK_S
        case _:
            return 0.0  # whoever filters a contact keeps count of it


class Stand(ABC):
    """A plant with its sensors, brought forward in time by whoever owns the clock."""

    def __init__(self, site: Site, plant: Plant) -> None:
        self.site = site
        self.plant = plant
        self.sensors = Sensors(site, plant)
        self._window_s = max((_window_s(sensor) for sensor in site.sensors.values()), default=0.0)
        self._restless_until_s = 0.0

    def advance_to(self, t_s: float) -> None:
        """Let time pass until the plant's clock shows `t_s`."""
        while (left_s := t_s - self.plant.t_s) > 1e-9:
            self.obey()
            self.plant.advance(min(LOOK_S, left_s))
            self._look()

    def advance_until(self, t_s: float) -> float:
        """Let time pass until `t_s`, or until a sensor shows anything new; the time reached [s].

        The sensors are looked at no more often than the water asks for; how long that is, is found
        anew whenever the water begins to move faster. For as long as the guard takes its flows and
        levels over, a change of one goes on being news.
        """
        plant, sensors = self.plant, self.sensors
        self.obey()
        if plant.t_s < self._restless_until_s:
            t_s = min(t_s, plant.t_s + LOOK_S)
        flows = [meter.flow_m3_s for meter in sensors.meters.values()]
        news = False
        while not news and (left_s := t_s - plant.t_s) > 1e-9:
            most_m_s = STILL_M_S + SURPRISE * plant.fastest_m_s
            calm_s = sensors.calm_s(most_m_s)
            if calm_s < LOOK_S:
                plant.advance(min(LOOK_S, left_s))
                news = self._look() or sensors.turning
            else:
                looks = int(min(calm_s, left_s) / LOOK_S + 1e-6)
                self._coast(looks * LOOK_S if looks else left_s, most_m_s)
            if self._differs(flows):
                news = True
                self.disturb()
        self.show([], sensors.count())
        return plant.t_s

    def _coast(self, lasts_s: float, most_m_s: float) -> None:
        """Advance the plant by so long; no further than the next look if the water stirs."""
        plant, began_s = self.plant, self.plant.t_s
        plant.advance(lasts_s, most_m_s)
        gone_s = plant.t_s - began_s
        if lasts_s - gone_s > 1e-9:
            plant.advance(ceil(gone_s / LOOK_S - 1e-6) * LOOK_S - gone_s)

    def disturb(self) -> None:
        """Take note that the story has changed something that no look at the water would show."""
        self._restless_until_s = max(self._restless_until_s, self.plant.t_s + self._window_s)

    def _differs(self, flows_m3_s: list[float]) -> bool:
        """True once a meter or a level sensor tells something other than at the last look."""
        for meter, flow in zip(self.sensors.meters.values(), flows_m3_s, strict=True):
            change = abs(meter.flow_m3_s - flow)
            if meter.restless or change > FLOW_LEAST_M3_S + FLOW_SHARE * flow:
                return True
        return any(level.restless or level.moved for level in self.sensors.levels.values())

    def _look(self) -> bool:
        """Show what the sensors see; True if a contact has turned."""
        edges, pulses = self.sensors.look()
        self.show(edges, pulses)
        return bool(edges)

    @abstractmethod
    def obey(self) -> None:
        """Bring the outputs of the guard to the plant."""

    @abstractmethod
    def show(self, edges: list[ContactEdge], pulses: dict[str, int]) -> None:
        """Bring what the sensors saw to the guard."""


class PlantBoard(Stand):
    """A board straight on the plant, without pins between: the fast way."""

    name = "sim+plant"

    def closed(self, sensor: str) -> bool:
        """True while the contact is closed; within a bounce it may be wrong."""
        return self.sensors.plugged[sensor].closed

    def pulses(self, sensor: str) -> int:
        """Pulses of a flow meter since the board was opened."""
        return self.sensors.meters[sensor].pulses

    def analog(self, sensor: str) -> float:
        """What the converter of a level sensor reads, as a share of its range."""
        return self.sensors.levels[sensor].share()

    def drive(self, output: str, on: bool) -> None:
        """Put one output on or off."""
        self.plant.command(output, on)

    def close(self) -> None:
        """Drive every output off."""
        for output in self.site.outputs:
            self.plant.command(output, False)

    def obey(self) -> None:
        """Outputs act at once here."""

    def show(self, edges: list[ContactEdge], pulses: dict[str, int]) -> None:
        """Contacts and meters are read where they are."""
