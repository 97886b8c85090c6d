"""What is asked of a course of events, and what it answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is different from a good day; ValueError for a value that means nothing.

    `condition` holds the share of clean conductance of passages (0 = blocked) and the share of its
    flow of a pump, which counts as stopped at 0. `pumps_on` is False for a stop at the start, of
    all pumps or of those named False; each still lifts for `run_on_s`. The factors scale the flow
    of all pumps and the capacity of all drains. With `siphon_breaks` False every siphon break is
    plugged. `top_off_m3_s` runs from the reservoir to the chamber it tops up until the reservoir
    is empty.
    """

    condition: Mapping[str, float] = field(default_factory=dict)
    pumps_on: bool | Mapping[str, bool] = True
    pump_factor: float = 1.0
    drain_factor: float = 1.0
    siphon_breaks: bool = True
    top_off_m3_s: float = 0.0
    run_on_s: float = 0.0
    horizon_s: float = 3600.0

    def __post_init__(self) -> None:
        numbers = {
            "pump_factor": self.pump_factor,
            "drain_factor": self.drain_factor,
            "top_off_m3_s": self.top_off_m3_s,
            "run_on_s": self.run_on_s,
            "horizon_s": self.horizon_s,
            **{f"condition of {key}": share for key, share in self.condition.items()},
        }
        for name, value in numbers.items():
            if not (isfinite(value) and value >= 0.0):
                raise ValueError(f"{name}: {value} must be a finite number, zero or more")

    def on(self, pump: str) -> bool:
        """Whether a pump goes on running; one that gives nothing holds no water up either."""
        if self.condition.get(pump, 1.0) * self.pump_factor == 0.0:
            return False
        if isinstance(self.pumps_on, bool):
            return self.pumps_on
        return self.pumps_on.get(pump, True)


@dataclass(frozen=True, slots=True)
class Course:
    """What happens: times in seconds from the start, levels above the datum.

    `spills` are the chambers whose rim water goes over, each with its first time, in that order.
    `dry_s` is when each pump first draws air, `spilled_m3` what has left over each rim by the end.
    `steady_s` is when everything came to rest, infinity if that is beyond the horizon.
    `samples` are levels on the way, about two hundred at most.
    """

    spills: tuple[tuple[str, float], ...]
    first_spill_s: float
    dry_s: dict[str, float]
    spilled_m3: dict[str, float]
    levels_m: dict[str, float]
    highest_m: dict[str, float]
    steady_s: float
    samples: tuple[tuple[float, dict[str, float]], ...]


__all__ = ["Course", "WhatIf"]
