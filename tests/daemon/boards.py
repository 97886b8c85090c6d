"""A board in memory, for tests of what stands on a board."""

from __future__ import annotations

from rules.site.model import Site
from rules.site.sensors import FlowMeter, LevelSensor


class MemoryBoard:
    """Contacts and counts set by the test; what was driven is kept, in order."""

    name = "memory"

    def __init__(self, site: Site) -> None:
        self.site = site
        self.contacts: dict[str, bool] = {}
        self.counts: dict[str, int] = {}
        self.shares: dict[str, float] = {}
        self.broken: set[str] = set()
        self.on: dict[str, bool] = dict.fromkeys(site.outputs, False)
        self.driven: list[tuple[str, bool]] = []
        self.good_day()

    def good_day(self) -> None:
        """Everything as on a good day: safe contacts closed, meters to be moved by the test."""
        for key, sensor in self.site.sensors.items():
            if isinstance(sensor, FlowMeter):
                self.counts[key] = 0
            elif isinstance(sensor, LevelSensor):
                self.shares[key] = sensor.low.share
            elif sensor.kind == "float":
                wet = sensor.duty in ("dry-run", "top-off")
                self.contacts[key] = wet == (sensor.closed == "wet")
            elif sensor.kind == "leak":
                self.contacts[key] = sensor.closed_when == "dry"
            else:
                self.contacts[key] = sensor.closed_when == "present"

    def wet(self, sensor: str, wet: bool) -> None:
        """Put a float wet or dry."""
        self.contacts[sensor] = wet == (self.site.floats()[sensor].closed == "wet")

    def closed(self, sensor: str) -> bool:
        if sensor in self.broken:
            raise OSError("cable test")
        return self.contacts[sensor]

    def pulses(self, sensor: str) -> int:
        if sensor in self.broken:
            raise OSError("cable test")
        return self.counts[sensor]

    def analog(self, sensor: str) -> float:
        if sensor in self.broken:
            raise OSError("cable test")
        return self.shares[sensor]

    def drive(self, output: str, on: bool) -> None:
        if output in self.broken:
            raise OSError("output test")
        self.on[output] = on
        self.driven.append((output, on))

    def close(self) -> None:
        for output in self.on:
            self.on[output] = False
