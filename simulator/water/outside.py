"""Water that comes into the tanks or leaves them other than over a rim: top-off, air, people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.site.model import Site
from simulator.water.draw import Draws

DAY_S = 86400.0
EVAPORATION_SPREAD = 0.3
TOP_OFF_SPREAD = 0.05


@dataclass(slots=True)
class WaterChange:
    """Two pumps that run evenly all day: one takes water out, the other brings as much in, nearly.

    `differs` is by how much more comes in than goes out, as a share of what is exchanged; less
    comes in when it is below zero.
    """

    out_of: int
    into: int
    flow_m3_s: float
    differs: float

    @property
    def coming_m3_s(self) -> float:
        """What the one pump brings in [m3/s]."""
        return self.flow_m3_s * (1.0 + 0.5 * self.differs)

    @property
    def going_m3_s(self) -> float:
        """What the other takes out [m3/s]."""
        return self.flow_m3_s * (1.0 - 0.5 * self.differs)


@dataclass(frozen=True, slots=True)
class TopOff:
    """Which chamber the fresh water comes from, where it goes, and how fast [m3/s]."""

    reservoir: int
    to: int
    rate_m3_s: float


def water_change(site: Site, index: dict[str, int], draws: Draws) -> WaterChange | None:
    """The site's water change, with the difference of its pumps drawn."""
    change = site.water_change
    if change is None:
        return None
    return WaterChange(
        index[change.out_of],
        index[change.into],
        change.daily / DAY_S,
        draws.between("water-change/differs", -change.tolerance, change.tolerance),
    )


def top_off(site: Site, index: dict[str, int], draws: Draws) -> TopOff | None:
    """The site's top-off, with its rate drawn."""
    if site.top_off is None:
        return None
    return TopOff(
        index[site.top_off.reservoir],
        index[site.top_off.to],
        site.top_off.rate * draws.factor("top-off/rate", TOP_OFF_SPREAD),
    )


class Air:
    """What evaporates: from every chamber but the reservoir, by the area of its plan at the rim."""

    def __init__(self, site: Site, plans_m2: Sequence[float], reservoir: int, draws: Draws) -> None:
        self.usual_a_day = site.water.evaporation * draws.factor("evaporation", EVAPORATION_SPREAD)
        whole = sum(plan for i, plan in enumerate(plans_m2) if i != reservoir)
        self._shares = [(i, plan / whole) for i, plan in enumerate(plans_m2) if i != reservoir]

    def open_m3(self, volumes_m3: Sequence[float]) -> float:
        """All the water that stands open to the air [m3]."""
        return sum(volumes_m3[i] for i, _ in self._shares)

    def take(self, volumes_m3: list[float], amount_m3: float) -> float:
        """Let an amount evaporate, as far as there is water [m3]; what did."""
        taken = 0.0
        for i, share in self._shares:
            lost = min(amount_m3 * share, volumes_m3[i])
            volumes_m3[i] -= lost
            taken += lost
        return taken
