"""Analog level sensors: what a converter makes of the water, and the converter on its bus."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from gpiozero.pins import SPI

from rules.site.model import Site
from rules.site.sensors import LevelSensor
from simulator.signals.cable import Cable
from simulator.signals.waves import Waves
from simulator.water.plant import Plant

NOISE_SHARE = (0.0005, 0.002)
"""Spread of what a channel reads of still water, as a share of its range: one sigma."""

MOVED_M = 0.001
"""A level that has moved by so much since it was read is worth another look [m]."""


def bits_of(converter: str) -> int:
    """In how many bits a converter gives a reading (data sheets: the MCP32 kinds in twelve)."""
    return 12 if converter.startswith("mcp32") else 10


class Level(Cable):
    """One level sensor: the level under its waves, off by its own error, and noise."""

    def __init__(self, plant: Plant, key: str, sensor: LevelSensor, waves: bool) -> None:
        super().__init__(plant, key)
        self._chamber = plant.index[sensor.chamber]
        self._sensor = sensor
        draws = plant.draws
        self.offset_m = draws.between(f"{key}/offset", -sensor.tolerance, sensor.tolerance)
        self.noise_share = 0.0 if draws.exact else draws.between(f"{key}/noise", *NOISE_SHARE)
        self.waves = Waves(plant, key, sensor.chamber, rough=waves)
        self.off_m = 0.0  # by so much it has come to read too high; too low when below zero
        self.hiss_m = 0.0  # spread of the noise that has come to it: one sigma
        self.frozen = False  # it goes on giving what it gave last
        self.lost = False  # nothing comes from it: the channel reads nought
        self._chance = draws.stream(f"{key}/hiss")
        self._read_s = float("nan")
        self._share = 0.0
        self._read_m = float("nan")

    @property
    def level_m(self) -> float:
        """The water at it, above the bottom of its chamber [m]."""
        return self._plant.surface_m[self._chamber] - self._plant.shapes.bottom_m[self._chamber]

    @property
    def moved(self) -> bool:
        """True once the water has moved since it was last read."""
        return abs(self.level_m - self._read_m) > MOVED_M

    @property
    def restless(self) -> bool:
        """True while what it tells changes although the level does not, by more than its noise."""
        return self.loose or self.hiss_m > 0.0 or self.waves.most_m() > self.waves.usual_m

    def share(self) -> float:
        """What its converter reads now, as a share of its range; the same at one time twice."""
        if self._plant.t_s != self._read_s:
            self._read_s, self._read_m = self._plant.t_s, self.level_m
            if not self.frozen:
                self._share = self._converted()
        return 0.0 if self.lost or self.parted else self._share

    def _converted(self) -> float:
        level_m = self._read_m + self.offset_m + self.off_m + self.waves.now_m()
        if self.hiss_m:
            level_m += self._chance.gauss(0.0, self.hiss_m)
        hiss = self._chance.gauss(0.0, self.noise_share) if self.noise_share else 0.0
        share = self._sensor.share(level_m) + hiss
        steps: int = 2 ** bits_of(self._sensor.converter) - 1
        return round(min(1.0, max(0.0, share)) * steps) / steps


class PlantBus(SPI):  # type: ignore[misc]
    """The SPI bus of the mock pins, with the converters of a site on it: words in, words out.

    It answers as the data sheets of the MCP3002 to MCP3208 say: the last bits of what it sends back
    are the reading of the channel that the request names.
    """

    def __init__(
        self, site: Site, read: Mapping[str, Callable[[], float]], select: int, pin_factory: Any
    ) -> None:
        super().__init__(pin_factory=pin_factory)
        self._kind = next(s.converter for s in site.levels().values() if s.select == select)
        self._channels = {
            sensor.channel: read[key]
            for key, sensor in site.levels().items()
            if sensor.select == select
        }
        self._open = True

    def close(self) -> None:
        """Let it go."""
        self._open = False
        super().close()

    @property
    def closed(self) -> bool:
        """True once it was let go."""
        return not self._open

    def transfer(self, data: list[int]) -> list[int]:
        """Send a request and get the reading: as many words as were sent."""
        bits = bits_of(self._kind)
        sent = int.from_bytes(bytes(data))
        # start bit, single-ended bit, then the channel: one bit of it on the two-channel kinds
        mask = 0b1 if self._kind.endswith("2") else 0b111
        read = self._channels.get(sent >> (bits + 2) & mask)
        value = round((read() if read is not None else 0.0) * (2**bits - 1))
        return list(value.to_bytes(len(data)))
