"""Flow meters: pulses of a wheel in the water, and how they come to tell something else."""

from __future__ import annotations

from math import exp, sqrt
from random import Random

from rules.site.sensors import FlowMeter
from simulator.signals.cable import Cable
from simulator.water.plant import Plant

START_M3_S = (4e-6, 8e-6)  # under this flow a meter's wheel stands still
BRAKED = 20.0  # with all of its flow missed for growth, it would start so many times later
NOISE_SHARE = 0.03  # stray pulses that add no more than this to the usual ones change nothing
MANY = 30.0  # from so many pulses on, their number is as good as normally distributed


class Meter(Cable):
    """A flow meter: pulses at the true frequency, off by its own error, either way of flow."""

    def __init__(self, plant: Plant, key: str, meter: FlowMeter) -> None:
        super().__init__(plant, key)
        self._source = plant.lifts.get(meter.on) or plant.rises[meter.on]
        error = plant.draws.between(f"{key}/error", -meter.tolerance, meter.tolerance)
        self.pulses_m3 = meter.pulses * (1.0 + error)
        self.drift = 0.0  # share by which it has come to read more; less when below zero
        self.fouled = 0.0  # share of the flow that it misses because growth brakes its wheel
        self.silent = False
        self.noise_hz = 0.0  # pulses that no water made [1/s]
        self.pulses = 0
        self._chance = plant.draws.stream(f"{key}/pulses")
        self._start_m3_s = plant.draws.between(f"{key}/start", *START_M3_S)
        self._read_m3 = self._source.moved_m3
        self._part = 0.0
        self._usual_hz = self.flow_m3_s * self.pulses_m3

    @property
    def flow_m3_s(self) -> float:
        """What truly flows through it, either way [m3/s]."""
        return abs(self._source.flow_m3_s)

    @property
    def restless(self) -> bool:
        """True while what it tells changes although the flow does not."""
        return self.loose or self._noise_most_hz > NOISE_SHARE * self._usual_hz

    @property
    def _noise_most_hz(self) -> float:
        """Stray pulses in a second that has three standard deviations more than most [1/s]."""
        return self.noise_hz + 3.0 * sqrt(self.noise_hz)

    def look(self, lasted_s: float) -> int:
        """Count on; the pulses since the last look."""
        moved = self._source.moved_m3 - self._read_m3
        self._read_m3 = self._source.moved_m3
        if self.parted:
            return 0
        new = _number(self._chance, self.noise_hz * lasted_s) if self.noise_hz else 0
        starts_m3_s = self._start_m3_s * (1.0 + BRAKED * self.fouled)
        if not self.silent and moved >= starts_m3_s * lasted_s:
            self._part += moved * self.pulses_m3 * (1.0 + self.drift) * (1.0 - self.fouled)
            turned = int(self._part)
            self._part -= turned
            new += turned
        self.pulses += new
        return new


def _number(chance: Random, mean: float) -> int:
    """How many events there are that come by chance, `mean` of them on average."""
    if mean > MANY:
        return max(0, round(chance.gauss(mean, sqrt(mean))))
    least, product, number = exp(-mean), chance.random(), 0
    while product > least:
        product *= chance.random()
        number += 1
    return number
