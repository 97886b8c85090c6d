"""Drains: pipes that stand in an overflow box and lead down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, pi, sqrt

from rules.hydraulics.friction import GRAVITY_M_S2, PipeRun

_INCH_M = 0.0254
_GALLON_MIN_M3_S = 231.0 * _INCH_M**3 / 60.0
AIR_CORE_SHARE = 7.0 / 24.0
"""Share of a stack's section that water may fill with the air core still open (plumbing codes)."""
_LIP = 2.0 / 3.0 * 0.60
_MOUTH = 0.60
LIP_TO_MOUTH = 0.25 * _MOUTH / _LIP
"""Head over a lip, in bores, up to which it is a weir and above which its mouth is an orifice."""
_DOUBT_LIP = 0.20
_DOUBT_AIR = 0.20


def lip_parts(head_m: float, bore_m: float) -> tuple[float, float]:
    """Flow over the lip as a weir, and through the mouth as an orifice [m3/s], at one head."""
    if head_m <= 0.0:
        return 0.0, 0.0
    fall = sqrt(2.0 * GRAVITY_M_S2 * head_m)
    return _LIP * pi * bore_m * head_m * fall, _MOUTH * 0.25 * pi * bore_m * bore_m * fall


def lip_flow(head_m: float, bore_m: float) -> float:
    """Flow over the lip of a standing pipe [m3/s], with its end open to the air.

    Over an edge of length pi D as a weir, 2/3 x 0.60 sqrt(2g) pi D h^1.5, or through its mouth as
    an orifice, 0.60 A sqrt(2 g h): whichever passes less; they meet at h = 3/8 D.
    Common hydraulics of a shaft inlet; coefficients from memory.
    """
    return min(lip_parts(head_m, bore_m))


def annular_capacity(bore_m: float, filled: float = AIR_CORE_SHARE) -> float:
    """Most that runs down the wall of a vertical pipe with its air core open [m3/s].

    q = 27.8 r^(5/3) D^(8/3) (US gallons a minute, inches), Wyly and Eaton, NBS Monograph 31, 1961
    (formula from memory). `filled` is the share of the section that is water, 0 to 1/3.

    >>> round(annular_capacity(2 * 0.0254) / (231 * 0.0254**3 / 60), 2)
    22.64
    """
    if not 0.0 < filled <= 1.0 / 3.0:
        raise ValueError(f"a stack filled to {filled:.2f} of its section is outside 0 to 1/3")
    gallons: float = 27.8 * filled ** (5.0 / 3.0) * (bore_m / _INCH_M) ** (8.0 / 3.0)
    return gallons * _GALLON_MIN_M3_S


def quiet_submergence(flow_m3_s: float, bore_m: float) -> float:
    """Depth over a mouth at which no air is drawn down by a whirl [m].

    S = D (1 + 2.3 v / sqrt(g D)), ANSI/HI 9.8, for pump intakes; a drain's mouth is much like one.
    """
    speed = flow_m3_s / (0.25 * pi * bore_m * bore_m)
    return bore_m * (1.0 + 2.3 * speed / sqrt(GRAVITY_M_S2 * bore_m))


@dataclass(frozen=True, slots=True)
class SiphonDrainFlow:
    """A drain that runs full between the box and max(its outlet, the level below).

    From its mouth up to one bore above it the siphon fades in, by a cubic weight, over what its
    lip would pass; above that it is a full pipe with the loss of its valve added. `pipe` has all
    losses of the open run, `throttle_k` is the valve's.
    """

    mouth_m: float
    outlet_m: float
    pipe: PipeRun
    throttle_k: float = 0.0

    def lip_and_weight(self, up_m: float) -> tuple[float, float]:
        """What its lip would pass [m3/s], and the weight of the full pipe, 0 to 1."""
        head = up_m - self.mouth_m
        if head <= 0.0:
            return 0.0, 0.0
        t = min(1.0, head / self.pipe.bore_m)
        return lip_flow(head, self.pipe.bore_m), t * t * (3.0 - 2.0 * t)

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        lip, weight = self.lip_and_weight(up_m)
        head = up_m - max(self.outlet_m, down_m)
        if lip <= 0.0 or head <= 0.0:
            return 0.0
        full = self.pipe.flow(head, self.throttle_k)[0]
        return condition * (weight * full + (1.0 - weight) * min(lip, full))

    def throttled(self, flow_m3_s: float, up_m: float, down_m: float) -> SiphonDrainFlow | None:
        """The same drain with its valve closed until it passes a flow at these levels.

        None when even the open valve passes less.
        """
        lip, weight = self.lip_and_weight(up_m)
        head = up_m - max(self.outlet_m, down_m)
        full = flow_m3_s
        if flow_m3_s > lip:
            if weight <= 0.0:
                return None
            full = (flow_m3_s - (1.0 - weight) * lip) / weight
        lost = self.pipe.loss(full)[0]
        if head <= 0.0 or lost > head or full <= 0.0:
            return None
        speed = full / self.pipe.area_m2
        return replace(self, throttle_k=(head - lost) * 2.0 * GRAVITY_M_S2 / (speed * speed))

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share; wider while its mouth may still draw air."""
        flow = self.flow(up_m, down_m)
        doubt = self.pipe.uncertainty(flow, self.throttle_k)
        quiet = up_m - self.mouth_m >= quiet_submergence(flow, self.pipe.bore_m)
        return doubt if quiet else hypot(doubt, _DOUBT_AIR)


@dataclass(frozen=True, slots=True)
class OpenDrainFlow:
    """An open or an emergency drain: a film down its wall, air down its middle.

    It has two branches. `annular_flow`, with its air core open, is what may be relied on, and so
    it is what `flow` gives. Once the level stands at `drowns_at_m` the air is shut out, the pipe
    fills and draws a siphon: `drowned_flow`, until the level has fallen to `clears_at_m` and air
    comes in again. Between those heights it depends on where the level came from: `drowned`.
    """

    mouth_m: float
    outlet_m: float
    pipe: PipeRun
    annular_m3_s: float

    @property
    def drowns_at_m(self) -> float:
        """Level at which its mouth drowns: one bore over the lip (common practice, no source)."""
        return self.mouth_m + self.pipe.bore_m

    @property
    def clears_at_m(self) -> float:
        """Level at which a drowned mouth lets air in again: where its lip works as a weir."""
        return self.mouth_m + LIP_TO_MOUTH * self.pipe.bore_m

    def drowned(self, before: bool, up_m: float) -> bool:
        """Whether it runs drowned at a level, given whether it did just before (hysteresis)."""
        return up_m > self.clears_at_m if before else up_m >= self.drowns_at_m

    def drowned_flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow once it runs full, drawing a siphon [m3/s]; never to be relied on."""
        if up_m <= self.mouth_m:
            return 0.0
        return condition * self.pipe.flow(up_m - max(self.outlet_m, down_m))[0]

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum: the annular one."""
        return self.annular_flow(up_m, down_m, condition)

    def annular_flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow with air down its middle [m3/s].

        The least of what its lip passes, what a vertical stack carries with its air core open, and
        what the pipe would pass when full.
        """
        head = up_m - max(self.outlet_m, down_m)
        film = min(lip_flow(up_m - self.mouth_m, self.pipe.bore_m), self.annular_m3_s)
        if film <= 0.0 or head <= 0.0:
            return 0.0
        if self.pipe.loss(film)[0] > head:
            film = self.pipe.flow(head)[0]
        return condition * film

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share."""
        del up_m, down_m
        return _DOUBT_LIP
