"""Flow through walls, sponges and pipes, in the plant's own equations and coefficients.

These are deliberately not the equations the rules use. Heights are metres above the datum, flows
m3/s. `advance` gives the flow from the upper side to the lower, negative when it runs the other
way, and moves in one step at most half of what would bring both sides level: that keeps an
explicit step stable where two levels meet.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, log10, pi, sin, sqrt
from typing import Protocol

G = 9.80665
WEIR_SI = 1.84  # Francis, sharp edge without end contractions, SI units
COMB_SI = 1.56  # the same, less about 15 % for the contraction into narrow slots
HOLE_CD = 0.62
SLOT_CD = 0.61  # a drowned slot with sharp edges all round
SUPPRESSED = 0.15  # by so much more it passes as it would with walls along its whole edge
SOFT_HEAD_M = 1e-3  # below about this head a pipe's flow bends from square root to straight line

LOSSES = {
    "entrance-flush": 0.5,
    "entrance-projecting": 0.85,
    "entrance-bellmouth": 0.05,
    "elbow-90": 0.7,
    "elbow-45": 0.33,
    "bend-90-long": 0.4,
    "tee-run": 0.4,
    "tee-branch": 1.3,
    "union": 0.06,
    "gate-valve": 0.17,
    "ball-valve": 0.07,
    "check-valve": 2.1,
    "exit": 1.0,
}
"""Loss coefficient of each fitting: rounded from common tables, from memory."""


class Way(Protocol):
    """Any passage that water takes by itself."""

    def advance(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """The flow at these levels [m3/s]; `condition` is the share of its clean conductance."""

    def still(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """The same, while nothing in the passage itself goes on."""


class _Plain:
    """A passage in which nothing goes on: no air that comes or goes."""

    __slots__ = ()

    def advance(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """See `Way`."""
        raise NotImplementedError

    def still(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """See `Way`."""
        return self.advance(up, down, condition, dt_s)


def kinematic_viscosity_m2_s(temperature_c: float, salinity_g_kg: float) -> float:
    """Viscosity of the water [m2/s]: Vogel's law for fresh water, a straight line for salt.

    From memory; within 1 % of published figures from 15 to 30 degC.
    """
    fresh: float = 2.414e-5 * 10.0 ** (247.8 / (temperature_c + 133.15))
    density = 1000.0 - 0.0055 * (temperature_c - 4.0) ** 2 + 0.76 * salinity_g_kg
    return fresh * (1.0 + 0.0022 * salinity_g_kg) / density


def edge_flow(coefficient: float, width: float, height: float, up: float, down: float) -> float:
    """Flow over an edge, or through slots of limited height, free or drowned [m3/s].

    Du Buat's sum: above the lower side's level the water falls freely, under it the whole
    difference of level drives it. `up` >= `down` are heads above the crest [m], `height` is that
    of a slot [m].
    """
    if up <= 0.0:
        return 0.0
    low = down if down > 0.0 else 0.0
    fall = up - low
    root = sqrt(fall)
    if low >= height:
        return coefficient * width * 1.5 * height * root
    free = fall * root
    if up > height:
        over = up - height
        free -= over * sqrt(over)
    return coefficient * width * (free + 1.5 * low * root)


class Edge(_Plain):
    """A weir, a baffle, or a comb of slots; runs both ways."""

    __slots__ = ("_both", "_lower", "_upper", "coefficient", "crest", "height", "width")

    def __init__(
        self,
        coefficient: float,
        crest: float,
        width: float,
        height: float,
        *,
        upper_m2: float,
        lower_m2: float,
    ) -> None:
        self.coefficient = coefficient
        self.crest = crest
        self.width = width
        self.height = height
        self._upper = 0.5 * upper_m2
        self._lower = 0.5 * lower_m2
        self._both = 0.5 * upper_m2 * lower_m2 / (upper_m2 + lower_m2)

    def advance(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """See `Way`."""
        if up >= down:
            return self._one_way(up - self.crest, down - self.crest, self._upper, condition, dt_s)
        return -self._one_way(down - self.crest, up - self.crest, self._lower, condition, dt_s)

    def _one_way(
        self, up: float, down: float, half_m2: float, condition: float, dt_s: float
    ) -> float:
        if up <= 0.0:
            return 0.0
        flow = condition * edge_flow(self.coefficient, self.width, self.height, up, down)
        most = (up * half_m2 if down <= 0.0 else (up - down) * self._both) / dt_s
        return flow if flow < most else most


class Sponge(_Plain):
    """A sponge or screen between two chambers: part of its loss is straight, part is square.

    Forchheimer's law, loss / clean loss = (1 - s) x + s x^2 with x the flow as a share of the flow
    at which the clean loss was seen through the whole height. It runs both ways.
    """

    __slots__ = ("_both", "at_flow", "bottom", "clean_loss", "square", "top")

    def __init__(
        self,
        bottom: float,
        top: float,
        clean_loss: float,
        at_flow: float,
        square: float,
        *,
        upper_m2: float,
        lower_m2: float,
    ) -> None:
        self.bottom = bottom
        self.top = top
        self.clean_loss = clean_loss
        self.at_flow = at_flow
        self.square = square
        self._both = 0.5 * upper_m2 * lower_m2 / (upper_m2 + lower_m2)

    def advance(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """See `Way`."""
        high, low = (up, down) if up >= down else (down, up)
        if high <= self.bottom or condition <= 0.0:
            return 0.0
        low = max(low, self.bottom)
        loss = high - low
        wet = (min(high, self.top) - self.bottom) / (self.top - self.bottom)
        straight = 1.0 - self.square
        share = sqrt(straight * straight + 4.0 * self.square * loss / self.clean_loss) - straight
        flow = condition * wet * self.at_flow * share / (2.0 * self.square)
        flow = min(flow, loss * self._both / dt_s)
        return flow if up >= down else -flow


class _Opening(_Plain):
    """An opening in a wall, partly or wholly under water; runs both ways.

    Water falls through it from the one level to the other, or to the middle of its wet part where
    that lies higher.
    """

    __slots__ = ("_both", "bottom", "cd", "height")

    def __init__(
        self, cd: float, bottom: float, height: float, *, upper_m2: float, lower_m2: float
    ) -> None:
        self.cd = cd
        self.bottom = bottom
        self.height = height
        self._both = 0.5 * upper_m2 * lower_m2 / (upper_m2 + lower_m2)

    def wetted_m2(self, depth: float) -> float:
        """Its area below `depth` over its lower edge [m2]."""
        raise NotImplementedError

    def advance(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """See `Way`."""
        high, low = (up, down) if up >= down else (down, up)
        head = high - self.bottom
        if head <= 0.0:
            return 0.0
        depth = min(head, self.height)
        fall = min(high - low, head - 0.5 * depth)
        flow = condition * self.cd * self.wetted_m2(depth) * sqrt(2.0 * G * fall)
        flow = min(flow, (high - low) * self._both / dt_s)
        return flow if up >= down else -flow


class RoundHole(_Opening):
    """A round hole through a wall."""

    __slots__ = ("radius",)

    def __init__(
        self, cd: float, centre: float, radius: float, *, upper_m2: float, lower_m2: float
    ) -> None:
        super().__init__(cd, centre - radius, 2.0 * radius, upper_m2=upper_m2, lower_m2=lower_m2)
        self.radius = radius

    def wetted_m2(self, depth: float) -> float:
        """See `_Opening`."""
        angle = 2.0 * acos(1.0 - depth / self.radius)
        return 0.5 * self.radius * self.radius * (angle - sin(angle))


class Slot(_Opening):
    """A slot under a baffle."""

    __slots__ = ("width",)

    def __init__(
        self,
        cd: float,
        bottom: float,
        gap: float,
        width: float,
        *,
        upper_m2: float,
        lower_m2: float,
    ) -> None:
        super().__init__(cd, bottom, gap, upper_m2=upper_m2, lower_m2=lower_m2)
        self.width = width

    def wetted_m2(self, depth: float) -> float:
        """See `_Opening`."""
        return self.width * depth


def slot_cd(gap: float, width: float, on_the_floor: bool) -> float:
    """Discharge coefficient of a slot under a baffle; more where the floor bounds it below.

    C = 0.61 (1 + 0.15 r), r the share of its edge along which no jet can contract: USBR Water
    Measurement Manual, submerged orifices (formula from memory).
    """
    share = width / (2.0 * (width + gap)) if on_the_floor else 0.0
    return SLOT_CD * (1.0 + SUPPRESSED * share)


@dataclass(frozen=True, slots=True)
class Bed:
    """A bed of media in a canister, which loses `loss_m` at `at_m3_s`.

    Forchheimer's law again: the share `square` of it grows with the flow squared, the rest with
    the flow.
    """

    loss_m: float
    at_m3_s: float
    square: float

    def per_square(self, flow_m3_s: float) -> float:
        """Its loss over the flow squared, at a flow [s2/m5]."""
        straight = (1.0 - self.square) / (self.at_m3_s * flow_m3_s)
        return self.loss_m * (straight + self.square / (self.at_m3_s * self.at_m3_s))


class Run:
    """A run of pipe full of water: loss = (sum of K + f L / D) v^2 / 2g, f by Haaland.

    The friction factor is kept from call to call and worked out anew when the flow has moved by
    more than 2 %, which is worth less than 0.1 % of the flow; with a `bed` on the way, whose loss
    depends more on the flow, by more than 0.2 %.
    """

    __slots__ = (
        "_at_m3_s",
        "_bed",
        "_k",
        "_length_bores",
        "_relative",
        "_reynolds",
        "_slack",
        "area_m2",
        "loss",
    )

    def __init__(
        self,
        bore_m: float,
        length_m: float,
        loss: float,
        roughness_m: float,
        nu_m2_s: float,
        *,
        bed: Bed | None = None,
    ) -> None:
        self.area_m2 = 0.25 * pi * bore_m * bore_m
        self.loss = loss
        self._bed = bed
        self._slack = 0.02 if bed is None else 0.002
        self._length_bores = length_m / bore_m
        self._relative = roughness_m / bore_m
        self._reynolds = bore_m / (nu_m2_s * self.area_m2)  # Reynolds number of 1 m3/s
        self._at_m3_s = 0.0
        self._k = 0.0
        self._fix(self.area_m2)  # a first guess: 1 m/s

    def _friction(self, flow_m3_s: float) -> float:
        reynolds = self._reynolds * flow_m3_s
        if reynolds < 2300.0:
            return 64.0 / max(reynolds, 1.0)
        inner: float = (self._relative / 3.7) ** 1.11 + 6.9 / reynolds
        root = 1.8 * log10(inner)
        return 1.0 / (root * root)

    def _fix(self, flow_m3_s: float) -> None:
        total = self.loss + self._friction(flow_m3_s) * self._length_bores
        resistance = total / (2.0 * G * self.area_m2 * self.area_m2)
        if self._bed is not None:
            resistance += self._bed.per_square(flow_m3_s)
        self._k = 1.0 / sqrt(resistance)
        self._at_m3_s = flow_m3_s

    def throttle(self, loss: float) -> None:
        """Set the sum of its loss coefficients."""
        self.loss = loss
        self._fix(self._at_m3_s)

    def loss_for(self, flow_m3_s: float, head_m: float) -> float:
        """The sum of loss coefficients that would let just this flow through at this head."""
        velocity = flow_m3_s / self.area_m2
        total = 2.0 * G * head_m / (velocity * velocity)
        return total - self._friction(flow_m3_s) * self._length_bores

    def resistance(self, flow_m3_s: float) -> float:
        """Head lost per flow squared near this flow [s2/m5]."""
        self._refresh(flow_m3_s)
        return 1.0 / (self._k * self._k)

    def _refresh(self, flow_m3_s: float) -> None:
        size = abs(flow_m3_s)
        if abs(size - self._at_m3_s) > self._slack * self._at_m3_s and size > 1e-9:
            self._fix(size)

    def flow(self, head_m: float) -> float:
        """Flow under this head, with its sign [m3/s]."""
        soft = sqrt(sqrt(head_m * head_m + SOFT_HEAD_M * SOFT_HEAD_M))
        for _ in range(4):
            flow = self._k * head_m / soft
            before = self._k
            self._refresh(flow)
            if before == self._k:
                break
        return flow

    def flow_and_slope(self, head_m: float) -> tuple[float, float]:
        """Flow under this head and its slope [m3/s, m2/s], at the last friction factor."""
        square = head_m * head_m
        soft = square + SOFT_HEAD_M * SOFT_HEAD_M
        k = self._k / sqrt(sqrt(soft))
        return k * head_m, k * (1.0 - 0.5 * square / soft)
