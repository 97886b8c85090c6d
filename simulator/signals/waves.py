"""Waves on the surface of a chamber, as one sensor in it sees them."""

from __future__ import annotations

from math import pi, sin

from simulator.water.plant import Plant
from simulator.water.waves import WAVE_M

WAVE_S = (0.8, 2.5)


class Waves:
    """The waves of a chamber where one sensor hangs; `rough` where a pump stirs the surface."""

    def __init__(self, plant: Plant, key: str, chamber: str, *, rough: bool) -> None:
        self._plant = plant
        self._chamber = chamber
        draws = plant.draws
        self.usual_m = draws.between(f"{chamber}/wave", *WAVE_M) if rough else 0.0
        self._pulse = 2.0 * pi / draws.between(f"{chamber}/period", *WAVE_S)
        self._phase = draws.between(f"{key}/phase", -pi, pi)

    def most_m(self) -> float:
        """How far they reach above the mean level [m]; those that somebody stirs are higher."""
        stirred = self._plant.stirred_m
        return self.usual_m + stirred.get(self._chamber, 0.0) if stirred else self.usual_m

    def now_m(self) -> float:
        """How far the surface stands above the mean level now [m]."""
        most_m = self.most_m()
        return most_m * sin(self._pulse * self._plant.t_s + self._phase) if most_m else 0.0
