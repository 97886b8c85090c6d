"""The site's sensors and outputs as gpiozero devices, on whatever pin factory is given."""

from __future__ import annotations

import os
import warnings
from pathlib import Path
from typing import Any

import gpiozero
from gpiozero import DigitalInputDevice, DigitalOutputDevice, GPIOZeroError, SPISoftwareFallback

from rules.site.model import Site
from rules.site.sensors import FlowMeter, LevelSensor, PinSensor

GPIO_GROUP_ADVICE = "run as a user of the group gpio, on a Raspberry Pi"
SPI_ADVICE = (
    "switch the SPI bus on (dtparam=spi=on in config.txt, then restart the machine), and run as a "
    "user of the group spi"
)


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


def _converter(sensor: LevelSensor, factory: Any) -> Any:
    """One channel of the converter of a level sensor.

    Without the bus gpiozero would wag the pins itself, a millisecond or more a reading, in the
    tick: SPISoftwareFallback is raised instead.
    """
    kind = getattr(gpiozero, sensor.converter.upper())
    with warnings.catch_warnings():
        warnings.simplefilter("error", SPISoftwareFallback)
        return kind(channel=sensor.channel, port=0, device=sensor.select, pin_factory=factory)


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
                if isinstance(sensor, LevelSensor):
                    self._inputs[key] = _converter(sensor, factory)
                else:
                    self._inputs[key] = self._contact(key, sensor, factory)
        except GPIOZeroError as error:
            self.close()
            raise NoPinsError(f"a pin cannot be had: {error}") from None
        except SPISoftwareFallback as error:
            self.close()
            raise NoPinsError(f"the SPI bus cannot be had ({error}): {SPI_ADVICE}") from None

    def _contact(self, key: str, sensor: PinSensor, factory: Any) -> Any:
        """An input that closes to ground: closed = low = active."""
        device = DigitalInputDevice(sensor.pin, pull_up=True, pin_factory=factory)
        if isinstance(sensor, FlowMeter):
            counter = _Counter()
            device.when_activated = counter.edge
            self._counters[key] = counter
        return device

    def closed(self, sensor: str) -> bool:
        """True while the contact is closed."""
        try:
            return bool(self._inputs[sensor].is_active)
        except GPIOZeroError as error:
            raise OSError(str(error)) from error

    def pulses(self, sensor: str) -> int:
        """Pulses since the board was opened."""
        return self._counters[sensor].count

    def analog(self, sensor: str) -> float:
        """What a level sensor's converter reads, as a share of its range, 0 to 1."""
        try:
            device = self._inputs[sensor]
            return float(device.raw_value / (2**device.bits - 1))
        except Exception as error:  # lgpio raises a kind of its own, which is no GPIOZeroError
            raise OSError(str(error)) from error

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
