"""The plant behind gpiozero's mock pins: contacts and pulses as real edges, relays read back.

gpiozero's own mock pin keeps every state it ever had, which fills the memory in a long run, and
takes a debounce that it does not do. Ours counts its edges and refuses the debounce.
"""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic
from typing import Any

from gpiozero import PinInvalidBounce, SPIBadArgs
from gpiozero.pins.mock import MockFactory, MockPin

from rules.site.model import Site
from rules.site.sensors import PinSensor
from simulator.signals.contacts import ContactEdge
from simulator.signals.levels import PlantBus
from simulator.signals.stand import Stand
from simulator.water.plant import Plant


class PlantPin(MockPin):  # type: ignore[misc]
    """A mock pin for long runs: it remembers how many edges it had, and none of them.

    What is wired to it holds its level; its pull moves it only while nothing is.
    """

    _held: bool | None = None
    _state: bool

    def clear_states(self) -> None:
        """Begin to count anew."""
        self._last_change = monotonic()
        self.states: list[Any] = []
        self.edges_seen = 0

    def _change_state(self, value: Any) -> bool:
        if self._state == value:
            return False
        self._state = value
        self._last_change = monotonic()
        self.edges_seen += 1
        return True

    def hold(self, level: bool) -> None:
        """Put it high or low from outside."""
        self._held = level
        if self._function == "input":
            if level:
                self.drive_high()
            else:
                self.drive_low()

    def _set_pull(self, value: Any) -> None:
        super()._set_pull(value)
        if self._held is not None:
            self.hold(self._held)

    def _set_bounce(self, value: Any) -> None:
        if value is not None:
            raise PinInvalidBounce(
                "these pins show every bounce; filter in the guard, as it does on real pins"
            )


class PlantFactory(MockFactory):  # type: ignore[misc]
    """A factory of pins that the plant moves, and of a bus whose converters read it."""

    def __init__(self) -> None:
        super().__init__(pin_class=PlantPin)
        self.bus: Callable[[int], PlantBus] | None = None

    def spi(self, **args: Any) -> Any:
        """The bus to the converter on one select."""
        if self.bus is None:
            raise SPIBadArgs("nothing is wired to this bus")
        return self.bus(int(args["device"]))


def _pin(site: Site, key: str, factory: PlantFactory) -> PlantPin:
    sensor = site.sensors[key]
    assert isinstance(sensor, PinSensor)
    pin: PlantPin = factory.pin(sensor.pin)
    return pin


class PinStand(Stand):
    """Moves the pins by the plant and the plant by the pins."""

    def __init__(self, site: Site, plant: Plant, factory: PlantFactory) -> None:
        super().__init__(site, plant)
        self._contacts: dict[str, PlantPin] = {
            key: _pin(site, key, factory) for key in self.sensors.contacts
        }
        self._meters: dict[str, PlantPin] = {
            key: _pin(site, key, factory) for key in self.sensors.meters
        }
        read = {key: level.share for key, level in self.sensors.levels.items()}
        factory.bus = lambda select: PlantBus(site, read, select, factory)
        self._relays = {key: factory.pin(output.pin) for key, output in site.outputs.items()}
        # contacts close to ground against a pull-up: closed is low
        for key, contact in self.sensors.contacts.items():
            self._contacts[key].hold(not contact.closed)
        for pin in self._meters.values():
            pin.hold(True)

    def pin_of(self, sensor: str) -> PlantPin:
        """The pin that a sensor is wired to."""
        return self._contacts[sensor] if sensor in self._contacts else self._meters[sensor]

    def obey(self) -> None:
        """Read every relay off its pin."""
        for key, output in self.site.outputs.items():
            pin = self._relays[key]
            if pin.function == "output":
                on = bool(pin.state) == (output.safe == "low")
            else:
                on = not output.pulled_safe_at_power_on  # nobody drives it: its own pull does
            if on != self.plant.on[key]:
                self.plant.command(key, on)

    def show(self, edges: list[ContactEdge], pulses: dict[str, int]) -> None:
        """Every edge and every pulse, one by one."""
        for edge in edges:
            self._contacts[edge.sensor].hold(not edge.closed)
        for key, count in pulses.items():
            pin = self._meters[key]
            for _ in range(count):
                pin.hold(False)
                pin.hold(True)
