"""What is remembered of a drained chamber between two ticks: frozen values, of a fixed size."""

from __future__ import annotations

from dataclasses import dataclass

from rules.observer.detector import SAMPLE_S, Detector
from rules.observer.growth import NEW, Growth
from rules.signals import Condition


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the sample at hand has so far: sums over time of level and flow; `looked_s` is the time
    of the last look [s]."""

    looked_s: float = 0.0
    level_m_s: float = 0.0
    flow_m3: float = 0.0
    lasted_s: float = 0.0


NO_SAMPLE = Gathered()
UNSEEN = Detector()
UNKNOWN = Condition()


@dataclass(frozen=True, slots=True)
class Sight:
    """One drained chamber: the sample at hand, the detector after the last one, and what it says;
    `sampled_s` is when that was [s]; `growth` is what the days before say."""

    gathered: Gathered = NO_SAMPLE
    detector: Detector = UNSEEN
    condition: Condition = UNKNOWN
    sampled_s: float = 0.0
    growth: Growth = NEW

    @property
    def pressing(self) -> bool:
        """True while the next sample may change what is told."""
        return self.detector.suspects or self.growth.closing

    @property
    def next_s(self) -> float:
        """When the sample at hand is whole [s]."""
        return self.gathered.looked_s + max(0.0, SAMPLE_S - self.gathered.lasted_s)
