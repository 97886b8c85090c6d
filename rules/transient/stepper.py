"""Every chamber of a site stepped through time, on any day that is not a good one."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, sqrt

from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.network import Hydraulics, Running
from rules.site.model import Site
from rules.transient.basin import level_of, surface_of, volume_of
from rules.transient.lift import Lift, RunningPump, StoppedPump
from rules.transient.rosenbrock import Stride, stride
from rules.transient.scenario import Course, WhatIf
from rules.transient.ways import Balance, GravityWays, RimWays, TopOffWays, Ways

TOLERANCE_M = 1e-4
"""Error that one step may add to a level [m]."""
STILL_M_S = 0.001 / 3600.0
"""A level that moves less than a millimetre an hour is at rest [m/s]."""
STILL_M3_S = 1e-7
"""What may still go over all rims while everything counts as at rest [m3/s]."""
FILM_M = 1e-5
"""Water this high over a rim is a spill, less is rounding [m]."""
FIRST_STEP_S = 0.5
STEPS_MOST = 20000
STEP_LEAST_S = 1e-9
STEPS_LEAST = 50
"""Steps in a whole horizon, however still the water is."""
ROUNDING_M3 = 1e-15
SAMPLES = 200


class Stepper:
    """The courses of one site from its running state on; built once, asked often.

    Quasi-steady: at every moment each passage carries what its two levels drive through it, and
    each pump what its pipes take; the water's inertia does not count (a siphon gathers speed in
    about a second). An open or an emergency drain is counted with its air core open, and a siphon
    drain as primed at the start; blocked in part it goes on with its share, and it starts again at
    once when its mouth is under water, so nothing here says whether it primes. `tolerance_m` is
    the error that one step may add to a level. Raises HydraulicsError.
    """

    def __init__(
        self,
        site: Site,
        hydraulics: Hydraulics,
        running: Running,
        tolerance_m: float = TOLERANCE_M,
    ) -> None:
        self.site, self.tolerance_m = site, tolerance_m
        self.chambers = list(site.chambers.values())
        for key, chamber in site.chambers.items():
            if chamber.displacement >= 1.0:
                raise HydraulicsError(f"chamber {key}: rock and gear leave no room for water in it")
        self.start_m3 = [volume_of(c, running.levels_m[key]) for key, c in site.chambers.items()]
        self.gravity = GravityWays(site, hydraulics.passages)
        self.rims = RimWays(site)
        self.lifts = {pump: Lift(site, hydraulics, pump) for pump in site.pumps}

    def run(self, what: WhatIf) -> Course:
        """What happens from the running state on, when this is different from then on."""
        for key in what.condition:
            if key not in self.site.passages and key not in self.site.pumps:
                raise HydraulicsError(f'"{key}" is no passage and no pump of this site')
        for key in what.pumps_on if not isinstance(what.pumps_on, bool) else ():
            if key not in self.site.pumps:
                raise HydraulicsError(f'"{key}" is no pump of this site')
        if what.top_off_m3_s > 0.0 and self.site.top_off is None:
            raise HydraulicsError("this site has no top-off that could run")
        return _Run(self, what).through()


class _Run:
    """One course while it is computed."""

    def __init__(self, stepper: Stepper, what: WhatIf) -> None:
        self.of, self.what = stepper, what
        site = stepper.site
        self.keys = list(site.chambers)
        self.volumes = list(stepper.start_m3)
        self.levels = self._levels(self.volumes)
        self.full = [volume_of(c, c.rim_m + FILM_M) for c in stepper.chambers]
        self.time_s = 0.0
        self.spilled = [0.0] * len(self.keys)
        self.highest = list(self.levels)
        self.spills: dict[int, float] = {}
        self.dry = dict.fromkeys(site.pumps, inf)
        self.samples: list[tuple[float, list[float]]] = []
        self.fixed: list[Ways] = [stepper.gravity.under(what.condition, what.drain_factor)]
        if what.top_off_m3_s > 0.0 and site.top_off is not None:
            source, to = (self.keys.index(k) for k in (site.top_off.reservoir, site.top_off.to))
            bottom = stepper.chambers[source].bottom
            self.fixed.append(TopOffWays(source, to, bottom, what.top_off_m3_s))
        self.running = {pump: RunningPump(lift, what) for pump, lift in stepper.lifts.items()}
        self.stopped: list[StoppedPump] = []
        self.to_stop = [pump for pump in site.pumps if not what.on(pump)]

    def _levels(self, volumes: Sequence[float]) -> list[float]:
        return [level_of(c, v) for c, v in zip(self.of.chambers, volumes, strict=True)]

    def _surfaces(self) -> list[float]:
        return [surface_of(c, at) for c, at in zip(self.of.chambers, self.levels, strict=True)]

    def _balance(self, levels: Sequence[float], slopes: bool) -> Balance:
        balance = Balance(len(levels))
        for ways in (*self.fixed, *self.running.values(), *self.stopped, self.of.rims):
            ways.add(levels, balance, slopes)
        return balance

    def _later(self, volumes: list[float]) -> Balance:
        return self._balance(self._levels(volumes), slopes=False)

    def _switch(self) -> bool:
        """Cut the pumps whose time has come, let air into siphons; whether anything changed."""
        changed = [pump.break_at(self.levels) for pump in self.stopped]
        if self.to_stop and self.time_s >= self.what.run_on_s - STEP_LEAST_S:
            for pump in self.to_stop:
                del self.running[pump]
                self.stopped.append(StoppedPump(self.of.lifts[pump], self.what, self.levels))
            self.to_stop = []
            return True
        return any(changed)

    def _at_rest(
        self, now: Balance, moving_m3_s: Sequence[float], surfaces: Sequence[float]
    ) -> bool:
        return (
            not self.to_stop
            and sum(now.spill) < STILL_M3_S
            and all(abs(f) < STILL_M_S * a for f, a in zip(moving_m3_s, surfaces, strict=True))
        )

    def through(self) -> Course:
        """Step on until everything is at rest or the horizon is reached."""
        what, step_s, rest_s = self.what, FIRST_STEP_S, inf
        self._switch()
        now, surfaces = self._balance(self.levels, slopes=True), self._surfaces()
        self._note(self.volumes, now, now, 0.0)
        moving = now.rates()
        for _ in range(STEPS_MOST):
            if self._at_rest(now, moving, surfaces):
                rest_s = self.time_s
                break
            if self.time_s >= what.horizon_s - STEP_LEAST_S:
                break
            until = min(what.horizon_s, what.run_on_s if self.to_stop else inf)
            left = until - self.time_s
            stride_s, found, step_s = self._stride(now, surfaces, min(step_s, left))
            before, was = self.volumes, now
            self.time_s = until if stride_s == left else self.time_s + stride_s
            self.volumes = [max(0.0, v) for v in found.volumes_m3]
            self.levels = self._levels(self.volumes)
            self.spilled = [a + b for a, b in zip(self.spilled, found.spilled_m3, strict=True)]
            now, surfaces = self._balance(self.levels, slopes=True), self._surfaces()
            self._note(before, was, now, stride_s)
            # over the whole step: at a drowned edge the flow of one moment is noise
            moving = [(a - b) / stride_s for a, b in zip(self.volumes, before, strict=True)]
            if self._switch():
                now = self._balance(self.levels, slopes=True)
                moving, step_s = now.rates(), FIRST_STEP_S
        else:
            raise HydraulicsError(
                f"no end was found for this course: after {STEPS_MOST} steps it is "
                f"{self.time_s:.1f} s old"
            )
        return self._course(rest_s)

    def _stride(
        self, now: Balance, surfaces: Sequence[float], step_s: float
    ) -> tuple[float, Stride, float]:
        """The longest step up to `step_s` that may stand, where it leads, and the next to try."""
        while step_s >= STEP_LEAST_S:
            found = stride(self.volumes, surfaces, now, self._later, step_s)
            errors = zip(found.error_m3, surfaces, strict=True)
            worst = max(abs(error) / a for error, a in errors) / self.of.tolerance_m
            if worst > 1.0:
                step_s *= max(0.2, 0.9 / sqrt(worst))
                continue
            if min(found.volumes_m3) < -ROUNDING_M3:
                step_s *= 0.5
                continue
            share = 1.0
            if self.stopped:
                after = self._levels(found.volumes_m3)
                share = min(p.share_to_break(self.levels, after) for p in self.stopped)
            if share == 1.0:
                grow = min(4.0, 0.9 / sqrt(max(worst, 0.05)))
                return step_s, found, min(grow * step_s, self.what.horizon_s / STEPS_LEAST)
            step_s *= share
        raise HydraulicsError(f"this course cannot be followed past {self.time_s:.3f} s")

    def _note(self, before: list[float], was: Balance, now: Balance, step_s: float) -> None:
        """Keep what this step is to be remembered for."""
        start_s, f0, f1 = self.time_s - step_s, was.rates(), now.rates()
        for i, (v0, v1) in enumerate(zip(before, self.volumes, strict=True)):
            self.highest[i] = max(self.highest[i], self.levels[i])
            if v1 > self.full[i] and i not in self.spills:
                share = _crossing(v0, v1, step_s * f0[i], step_s * f1[i], self.full[i])
                self.spills[i] = start_s + share * step_s
        for pump, running in self.running.items():
            if self.dry[pump] == inf and running.draws_air(self.levels):
                i, air = running.lift.source, running.air_m3
                share = _crossing(before[i], self.volumes[i], step_s * f0[i], step_s * f1[i], air)
                self.dry[pump] = start_s + share * step_s
        self.samples.append((self.time_s, self.levels))

    def _course(self, rest_s: float) -> Course:
        def named(values: Sequence[float]) -> dict[str, float]:
            return dict(zip(self.keys, values, strict=True))

        spills = sorted(((self.keys[i], at) for i, at in self.spills.items()), key=lambda s: s[1])
        thin = -(-len(self.samples) // SAMPLES)
        kept = self.samples[:-1:thin] + self.samples[-1:]
        return Course(
            spills=tuple(spills),
            first_spill_s=spills[0][1] if spills else inf,
            dry_s=self.dry,
            spilled_m3=named(self.spilled),
            levels_m=named(self.levels),
            highest_m=named(self.highest),
            steady_s=rest_s,
            samples=tuple((at, named(levels)) for at, levels in kept),
        )


def _crossing(v0: float, v1: float, d0: float, d1: float, target: float) -> float:
    """Share of a step after which a volume passes `target`, by the cubic through its ends.

    `d0` and `d1` are its rates there, times the length of the step; 0 if it begins beyond.
    """
    sign = 1.0 if v1 > v0 else -1.0
    if sign * (v0 - target) >= 0.0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(40):
        s = 0.5 * (low + high)
        r = 1.0 - s
        at = r * r * ((1.0 + 2.0 * s) * v0 + s * d0) + s * s * ((3.0 - 2.0 * s) * v1 - r * d1)
        if sign * (at - target) >= 0.0:
            high = s
        else:
            low = s
    return high


__all__ = ["Stepper"]
