"""The site's sensors and outputs as gpiozero devices, on whatever pin factory is given."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from gpiozero import DigitalInputDevice, DigitalOutputDevice, GPIOZeroError

from rules.site.model import Site
from rules.site.sensors import FlowMeter

GPIO_GROUP_ADVICE = "run as a user of the group gpio, on a Raspberry Pi"


class NoPinsError(Exception):
    """There are no pins to be had here; the sentence says why and what else to do."""


def open_factory() -> Any:
    """The pin factory of this machine: lgpio, or the one that GPIOZERO_PIN_FACTORY names.

    Raises NoPinsError instead of falling back to another one in silence.
    """
    wanted = os.environ.get("GPIOZERO_PIN_FACTORY", "lgpio")
    if wanted != "lgpio":
        raise NoPinsError(
            f"GPIOZERO_PIN_FACTORY={wanted}: only lgpio is known to keep edges here; unset it, or "
            "use --simulate to put the plant in place of the pins"
        )
    try:
        from gpiozero.pins.lgpio import LGPIOFactory
    except ImportError as error:
        raise NoPinsError(
            f'the pin library is not installed ({error}): install weirkeeper with its "pi" extra '
            "on a Raspberry Pi, or use --simulate to put the plant in place of the pins"
        ) from None
    # lgpio makes a notification file in the working directory, which must be writable
    if not os.access(Path.cwd(), os.W_OK):
        raise NoPinsError(
            f"the pin library needs a writable working directory; {Path.cwd()} is not"
        )
    try:
        return LGPIOFactory()
    except Exception as error:  # lgpio and gpiozero raise many kinds on a machine without pins
        raise NoPinsError(
            f"no pins here ({error}): {GPIO_GROUP_ADVICE}, or use --simulate to put the plant in "
            "place of the pins"
        ) from None


class _Counter:
    """Counts falling edges. The callback only counts: an exception in it would end them all."""

    def __init__(self) -> None:
        self.count = 0

    def edge(self, _device: Any = None) -> None:
        self.count += 1


class PinBoard:
    """A board on real pins, or on a mock factory that the plant moves."""

    def __init__(self, site: Site, factory: Any, name: str = "pins") -> None:
        self.name = name
        self._inputs: dict[str, Any] = {}
        self._counters: dict[str, _Counter] = {}
        self._outputs: dict[str, Any] = {}
        try:
            for key, output in site.outputs.items():
                self._outputs[key] = DigitalOutputDevice(
                    output.pin,
                    active_high=output.safe == "low",
                    initial_value=False,
                    pin_factory=factory,
                )
            for key, sensor in site.sensors.items():
                # contacts close to ground: closed = low = active
                device = DigitalInputDevice(sensor.pin, pull_up=True, pin_factory=factory)
                self._inputs[key] = device
                if isinstance(sensor, FlowMeter):
                    counter = _Counter()
                    device.when_activated = counter.edge
                    self._counters[key] = counter
        except GPIOZeroError as error:
            self.close()
            raise NoPinsError(f"a pin cannot be had: {error}") from None

    def closed(self, sensor: str) -> bool:
        """True while the contact is closed."""
        try:
            return bool(self._inputs[sensor].is_active)
        except GPIOZeroError as error:
            raise OSError(str(error)) from error

    def pulses(self, sensor: str) -> int:
        """Pulses since the board was opened."""
        return self._counters[sensor].count

    def drive(self, output: str, on: bool) -> None:
        """Put one output on or off."""
        try:
            self._outputs[output].value = on
        except GPIOZeroError as error:
            raise OSError(str(error)) from error

    def close(self) -> None:
        """Drive every output off, then let all pins go."""
        for output in self._outputs.values():
            output.off()
        for device in (*self._outputs.values(), *self._inputs.values()):
            device.close()
