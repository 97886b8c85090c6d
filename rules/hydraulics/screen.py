"""A sponge or screen that water passes through."""

from __future__ import annotations

from dataclasses import dataclass

from rules.hydraulics.opening import root_head

_DOUBT = 0.25


@dataclass(frozen=True, slots=True)
class ScreenFlow:
    """A resistance spread over a height: each strip passes k sqrt(its own difference of head).

    Q = k * integral over the wet height of sqrt(up - max(z, down)) dz. The square root is the law
    of coarse screens; fine sponge is closer to a straight line, which passes more at large
    differences, so this is the unfavourable side. Flows back when the lower side stands higher.
    """

    bottom_m: float
    top_m: float
    strength: float  # m3/s per m^1.5

    @classmethod
    def seen(
        cls, bottom_m: float, top_m: float, clean_loss_m: float, at_flow_m3_s: float
    ) -> ScreenFlow:
        """A screen known by one clean loss at one flow, seen with its whole height wet."""
        one = cls(bottom_m, top_m, 1.0)
        return cls(bottom_m, top_m, at_flow_m3_s / one.flow(top_m, top_m - clean_loss_m))

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        scale = condition * self.strength
        if up_m < down_m:
            return -scale * root_head(self.bottom_m, self.top_m, down_m, up_m)
        return scale * root_head(self.bottom_m, self.top_m, up_m, down_m)

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share: one observed loss says little about other flows."""
        del up_m, down_m
        return _DOUBT
