"""Many overflow boxes at once: level and flow as their sensors read them, every ten seconds.

Written apart from the rules: other formulas, with coefficients drawn for each box. The water stands
where what comes is what the drains carry; it gets there within seconds, which is not followed.
Every figure that is no geometry of the site is our own estimate of what is usual, drawn around it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

STEP_S = 10.0
DAY_S = 86400.0

LIP_SI = 1.7  # edge coefficient of a pipe's round lip
DRIFT, DRIFT_S = 0.015, 105.0 * 3600.0
"""A meter wanders about its own error with this spread and this time constant: 0.5 % in six hours
and 1 % in a day, one sigma each, and back again within weeks."""
WANDER_M, WANDER_S = 0.0003, 36.0 * 3600.0
"""And a level sensor with these."""

PAUSES_A_DAY, PAUSE_S, UNSEEN_S = 2.0, 600.0, 300.0
"""Feeding pauses; after a start the guard looks away for the last [s]."""
SURGES_A_DAY, SURGE_M3 = 3.0, (0.001, 0.004)
"""Hands, stones and jugs in the display: water that comes over the comb within half a minute."""


@dataclass(frozen=True, slots=True)
class Geometry:
    """The boxes as drawn, all alike: heights above the bottom [m], bores [m], flow [m3/s]."""

    main_fall_m: float  # from the bottom of the box down to the level below
    open_mouth_m: float
    emergency_mouth_m: float
    bore_m: float
    trickle: float  # share of the flow that the open drain was set to take
    limit_m3_s: float  # most that the open drain carries
    flow_m3_s: float


class Boxes:
    """So many boxes; `step` brings all of them on by ten seconds."""

    def __init__(self, geometry: Geometry, count: int, seed: int) -> None:
        self._chance = chance = np.random.default_rng(seed)
        self.count = count
        self.geometry = geometry

        def around(middle: float, spread: float) -> Array:
            return middle * chance.uniform(1.0 - spread, 1.0 + spread, count)

        self.flow_m3_s = around(geometry.flow_m3_s, 0.05)
        self._meter = chance.uniform(-0.05, 0.05, count)
        self._drift = DRIFT * chance.standard_normal(count)
        self._offset_m = chance.uniform(-0.005, 0.005, count)
        self._wander_m = WANDER_M * chance.standard_normal(count)
        self._noise_m = chance.uniform(0.00005, 0.00025, count)
        self._meter_noise = chance.uniform(0.0005, 0.002, count)
        self._lip = LIP_SI * pi * geometry.bore_m * chance.uniform(0.85, 1.15, (2, count))
        self._limit = geometry.limit_m3_s * chance.uniform(0.85, 1.15, (2, count))
        self._fall = around(geometry.main_fall_m, 0.03)
        trickle = np.clip(geometry.trickle + chance.uniform(-0.04, 0.04, count), 0.03, None)
        self._daily = chance.uniform(0.0, 0.003, count)
        self._day_phase = chance.uniform(0.0, 1.0, count)
        self._refill_s = chance.uniform(2.0, 8.0, count) * 3600.0
        self._refill = chance.uniform(0.0005, 0.003, count)
        self._paused_until_s = np.full(count, -np.inf)
        self._air = np.zeros(count)
        self._surge_m3 = np.zeros(count)
        # the valve of the main drain, set so that the open drain takes its trickle
        self._main = np.ones(count)
        open_m3_s = trickle * self.flow_m3_s
        head = (open_m3_s / self._lip[0]) ** (2.0 / 3.0)
        self.level_m = geometry.open_mouth_m + head
        self._main = (self.flow_m3_s - open_m3_s) / np.sqrt(self._fall + self.level_m)
        self.t_s = 0.0

    def _film(self, which: int, level_m: Array) -> tuple[Array, Array]:
        """Flow of an open or an emergency drain [m3/s], and how it grows with the level [m2/s]."""
        mouth_m = (self.geometry.open_mouth_m, self.geometry.emergency_mouth_m)[which]
        head = np.maximum(0.0, level_m - mouth_m)
        over = self._lip[which] * head * np.sqrt(head)
        slope = 1.5 * self._lip[which] * np.sqrt(head)
        ratio = over / self._limit[which]
        bend = 1.0 + ratio**4
        root = np.sqrt(np.sqrt(bend))
        return over / root, slope / (root * bend)

    def _settle(self, comes_m3_s: Array, left: Array) -> None:
        """Bring the level to where all that comes is carried: by Newton's method."""
        level = self.level_m
        for _ in range(3):
            root = np.sqrt(np.maximum(0.01, self._fall + level))
            main = left * self._main
            carried, slope = main * root, 0.5 * main / root
            for which in (0, 1):
                film, grows = self._film(which, level)
                carried, slope = carried + film, slope + grows
            move = (comes_m3_s - carried) / np.maximum(slope, 2e-3)
            level = np.clip(level + np.clip(move, -0.01, 0.01), 0.08, 0.33)
        self.level_m = level

    def step(self, left: Array) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
        """Ten seconds on, with this share of each main drain left: level [m] and flow [m3/s] as
        they are read in the mean, and where the guard sees anything at all."""
        chance, count = self._chance, self.count
        self.t_s += STEP_S
        draws = chance.standard_normal((4, count))
        self._drift += -STEP_S / DRIFT_S * self._drift
        self._drift += DRIFT * np.sqrt(2.0 * STEP_S / DRIFT_S) * draws[0]
        self._wander_m += -STEP_S / WANDER_S * self._wander_m
        self._wander_m += WANDER_M * np.sqrt(2.0 * STEP_S / WANDER_S) * draws[1]
        events = chance.random((2, count))
        begins = events[0] < PAUSES_A_DAY * STEP_S / DAY_S
        if begins.any():
            self._paused_until_s[begins] = self.t_s + PAUSE_S
            # a start leaves a little air in the siphon, another each time
            self._air[begins] = chance.uniform(0.0, 0.005, int(begins.sum()))
        unpaused = self.t_s >= self._paused_until_s
        self._air *= np.where(unpaused, 1.0 - STEP_S / 1200.0, 1.0)
        surges = events[1] < SURGES_A_DAY * STEP_S / DAY_S
        self._surge_m3 *= 0.25
        self._surge_m3[surges] += chance.uniform(*SURGE_M3, int(surges.sum()))
        hour = 2.0 * pi * (self.t_s / DAY_S + self._day_phase)
        falls = self._refill * ((self.t_s / self._refill_s + self._day_phase) % 1.0)
        flow = self.flow_m3_s * (1.0 + self._daily * np.sin(hour) - falls)
        self._settle(flow + 0.75 * self._surge_m3 / STEP_S, left * (1.0 - self._air))
        read_m = self.level_m + self._offset_m + self._wander_m + self._noise_m * draws[2]
        told = 1.0 + self._meter + self._drift + self._meter_noise * draws[3]
        return read_m, flow * told, self.t_s >= self._paused_until_s + UNSEEN_S
