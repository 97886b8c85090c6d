"""The cable of a sensor, which may be cut or have a bad joint."""

from __future__ import annotations

from math import inf

from simulator.signals.moments import Moments
from simulator.water.plant import Plant


class Cable:
    """The cable of one sensor: sound, cut, or parting for moments."""

    def __init__(self, plant: Plant, key: str) -> None:
        self.key = key
        self.cable_cut = False
        self._plant = plant
        self._joint: Moments | None = None

    def loosen(self, a_minute: float, for_s: float) -> None:
        """Let it part so often, for so long each time [s]."""
        chance = self._plant.draws.stream(f"{self.key}/loose")
        self._joint = Moments(chance, a_minute, (for_s, for_s), self._plant.t_s)

    def mend(self) -> None:
        """Make it sound again."""
        self.cable_cut = False
        self._joint = None

    @property
    def loose(self) -> bool:
        """True while it has a bad joint."""
        return self._joint is not None

    @property
    def parted(self) -> bool:
        """True while nothing comes through it."""
        return self.cable_cut or (self._joint is not None and self._joint.at(self._plant.t_s))

    def holds_s(self) -> float:
        """Time until a bad joint parts or closes [s]; infinite where there is none."""
        return inf if self._joint is None else self._joint.next_s - self._plant.t_s
