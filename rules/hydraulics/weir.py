"""Water over an edge: weir, baffle and comb."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

from rules.hydraulics.friction import GRAVITY_M_S2
from rules.hydraulics.opening import SHARP_EDGE, root

_EDGE_HEAD_M = 0.001
_EDGE_FADE_M = 0.003
HEAD_LEAST_M = 0.030
"""Heads below this lie outside the range of every weir formula."""
IN_RANGE = 0.05
EXTRAPOLATED = 0.15
"""Doubt about a weir's flow, as a share: in range, and below it (own estimate, no source)."""

_FRANCIS = 1.84
_SLOT_RATIO_MOST = 1.0 / 3.0
_NEARLY_LEVEL = 1e-6
FULL_WIDTH = (0.602, 0.075, -0.001)
CONTRACTED = (0.587, -0.0023, 0.0024)
"""Kindsvater-Carter for b/B = 1 and for b/B towards 0: Ce at h/P = 0, its slope, width term [m].

The second set is from memory; 0.554 (1 - 0.0035 h/P) (b + 0.0025) sqrt(g) is its usual short form.
"""


def villemonte(upper_head_m: float, lower_head_m: float) -> float:
    """Share of the free flow left when the lower level stands above the crest.

    (1 - (h2/h1)^1.5)^0.385, Villemonte 1947, for a weir whose free flow goes with h^1.5. Where the
    two differ by less than a millionth it is made straight: there it would be endlessly steep, and
    rounding alone would move water.
    """
    if lower_head_m <= 0.0:
        return 1.0
    if lower_head_m >= upper_head_m:
        return 0.0
    ratio = min(lower_head_m / upper_head_m, 1.0 - _NEARLY_LEVEL)
    left: float = (1.0 - ratio * sqrt(ratio)) ** 0.385
    between = (upper_head_m - lower_head_m) / (upper_head_m * _NEARLY_LEVEL)
    return left * min(1.0, between)


def rectangular(
    head_m: float,
    width_m: float,
    crest_height_m: float,
    kind: tuple[float, float, float] = FULL_WIDTH,
) -> float:
    """Free flow over a sharp rectangular weir [m3/s].

    Q = 2/3 sqrt(2g) (c + s h/P) (b + kb) (h + 0.001)^1.5, Kindsvater and Carter 1957; c, s, kb for
    a crest over the full width (FULL_WIDTH) or a notch in a wide wall (CONTRACTED).

    Range: h > 0.03 m, b > 0.15 m, P > 0.1 m, h/P < 2. Below 3 mm the millimetre added to the head
    fades, so that no head gives no flow; h/P counts as 2 at most. See `uncertainty` for the doubt.

    >>> round(rectangular(0.3, 2.0, 0.4), 6)
    0.64156
    """
    if head_m <= 0.0:
        return 0.0
    at_rest, slope, edge_width = kind
    ratio = head_m / crest_height_m if head_m < 2.0 * crest_height_m else 2.0
    head = head_m + _EDGE_HEAD_M * min(1.0, head_m / _EDGE_FADE_M)
    width = max(0.0, width_m + edge_width)
    return (
        2.0 / 3.0 * sqrt(2.0 * GRAVITY_M_S2) * (at_rest + slope * ratio) * width * head * sqrt(head)
    )


@dataclass(frozen=True, slots=True)
class WeirFlow:
    """A weir or a baffle; flows back (below zero) when the lower side stands higher."""

    crest_m: float
    width_m: float
    upper_height_m: float
    lower_height_m: float
    kind: tuple[float, float, float] = FULL_WIDTH

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        if up_m < down_m:
            return -condition * self._over(down_m, up_m, self.lower_height_m)
        return condition * self._over(up_m, down_m, self.upper_height_m)

    def _over(self, high_m: float, low_m: float, height_m: float) -> float:
        head = high_m - self.crest_m
        if head <= 0.0:
            return 0.0
        free = rectangular(head, self.width_m, height_m, self.kind)
        return free * villemonte(head, low_m - self.crest_m)

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share; wider below the 30 mm where the formulas begin."""
        head = max(up_m, down_m) - self.crest_m
        return IN_RANGE if head >= HEAD_LEAST_M else EXTRAPOLATED


@dataclass(frozen=True, slots=True)
class Slot:
    """One slot of a comb at work: its width less the contraction [m], its free flow [m3/s], the
    share of that which the lower level leaves, and what it passes at most once drowned [m3/s]."""

    clear_m: float
    free_m3_s: float
    held: float
    drowned_m3_s: float


@dataclass(frozen=True, slots=True)
class CombFlow:
    """A row of slots, each a contracted weir that becomes an orifice when the level tops it.

    A slot: Q = 1.84 (b - 0.2 h) h^1.5 (Francis, two end contractions), where the contraction stops
    growing at h = b/3, the end of that formula's range; the coefficient is then within 1 % of
    Kindsvater-Carter's for a narrow notch. Above the slot's height the flow over the missing part
    is taken off. A drowned slot passes no more than Cd A sqrt(2 g dh), Cd 0.61.
    """

    crest_m: float
    slots: int
    slot_width_m: float
    slot_height_m: float

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        if up_m < down_m:
            return -condition * self._through(down_m, up_m)
        return condition * self._through(up_m, down_m)

    def _through(self, high_m: float, low_m: float) -> float:
        if high_m <= self.crest_m:
            return 0.0
        slot = self.slot(high_m, low_m)
        return self.slots * min(slot.free_m3_s * slot.held, slot.drowned_m3_s)

    def slot(self, high_m: float, low_m: float) -> Slot:
        """One slot with these levels on its two sides, the higher one above the crest."""
        head, width = high_m - self.crest_m, self.slot_width_m
        over = max(0.0, head - self.slot_height_m)
        clear = width - 0.2 * min(head, width * _SLOT_RATIO_MOST)
        free = _FRANCIS * clear * (head * sqrt(head) - over * sqrt(over))
        lower = low_m - self.crest_m
        if lower <= 0.0:
            return Slot(clear, free, 1.0, inf)
        area = width * min(head, self.slot_height_m)
        drowned = SHARP_EDGE * area * sqrt(2.0 * GRAVITY_M_S2) * root(high_m - low_m)
        return Slot(clear, free, villemonte(head, lower), drowned)

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share: slots this narrow lie outside every tested range."""
        del up_m, down_m
        return EXTRAPOLATED
