"""Where the plant stands in place of the pins: time goes forward here, and a board is read."""

from __future__ import annotations

from abc import ABC, abstractmethod

from rules.site.model import Site
from simulator.signals.sensing import ContactEdge, Sensors
from simulator.water.plant import Plant

LOOK_S = 0.1  # the sensors look at the plant at least so often


class Stand(ABC):
    """A plant with its sensors, brought forward in time by whoever owns the clock."""

    def __init__(self, site: Site, plant: Plant) -> None:
        self.site = site
        self.plant = plant
        self.sensors = Sensors(site, plant)

    def advance_to(self, t_s: float) -> None:
        """Let time pass until the plant's clock shows `t_s`."""
        while (left_s := t_s - self.plant.t_s) > 1e-9:
            self.obey()
            self.plant.advance(min(LOOK_S, left_s))
            self.show(*self.sensors.look())

    def advance_until(self, t_s: float) -> float:
        """Let time pass until `t_s`, or until a contact turns or the water at a level sensor moves;
        returns the time reached [s]."""
        while (left_s := t_s - self.plant.t_s) > 1e-9:
            self.obey()
            self.plant.advance(min(LOOK_S, left_s))
            edges, pulses = self.sensors.look()
            self.show(edges, pulses)
            if edges or any(level.moved for level in self.sensors.levels.values()):
                break
        return self.plant.t_s

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
        return self.sensors.contacts[sensor].closed

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
