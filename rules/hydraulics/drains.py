"""Drains: pipes that stand in an overflow box and lead down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt

from rules.hydraulics.friction import GRAVITY_M_S2, PipeRun

_INCH_M = 0.0254
_GALLON_MIN_M3_S = 231.0 * _INCH_M**3 / 60.0
AIR_CORE_SHARE = 7.0 / 24.0
"""Share of a stack's section that water may fill with the air core still open (plumbing codes)."""
_LIP = 2.0 / 3.0 * 0.60
_MOUTH = 0.60
_DOUBT_FULL = 0.10
_DOUBT_LIP = 0.20


def lip_flow(head_m: float, bore_m: float) -> float:
    """Flow over the lip of a standing pipe [m3/s], with its end open to the air.

    Over an edge of length pi D as a weir, 2/3 x 0.60 sqrt(2g) pi D h^1.5, or through its mouth as
    an orifice, 0.60 A sqrt(2 g h): whichever passes less; they meet at h = D / 2.67.
    Common hydraulics of a shaft inlet; coefficients from memory.
    """
    if head_m <= 0.0:
        return 0.0
    fall = sqrt(2.0 * GRAVITY_M_S2 * head_m)
    return min(_LIP * pi * bore_m * head_m, _MOUTH * 0.25 * pi * bore_m * bore_m) * fall


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

    def _lip_and_weight(self, up_m: float) -> tuple[float, float]:
        head = up_m - self.mouth_m
        if head <= 0.0:
            return 0.0, 0.0
        t = min(1.0, head / self.pipe.bore_m)
        return lip_flow(head, self.pipe.bore_m), t * t * (3.0 - 2.0 * t)

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        lip, weight = self._lip_and_weight(up_m)
        head = up_m - max(self.outlet_m, down_m)
        if lip <= 0.0 or head <= 0.0:
            return 0.0
        full = self.pipe.flow(head, self.throttle_k)[0]
        return condition * (weight * full + (1.0 - weight) * min(lip, full))

    def throttled(self, flow_m3_s: float, up_m: float, down_m: float) -> SiphonDrainFlow | None:
        """The same drain with its valve closed until it passes a flow at these levels.

        None when even the open valve passes less.
        """
        lip, weight = self._lip_and_weight(up_m)
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
        """Doubt about the flow, as a share; wider while the mouth is not a bore under water."""
        del down_m
        return _DOUBT_FULL if up_m >= self.mouth_m + self.pipe.bore_m else _DOUBT_LIP


@dataclass(frozen=True, slots=True)
class OpenDrainFlow:
    """An open or an emergency drain: a film down its wall, air down its middle.

    The least of what its lip passes, what a vertical stack carries with its air core open, and
    what the pipe would pass when full. It could pass more once it is drowned and draws a siphon;
    nothing may rely on that, so it is not counted here.
    """

    mouth_m: float
    outlet_m: float
    pipe: PipeRun
    annular_m3_s: float

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
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
