"""What shows that water over a watch is still carried: floats and level sensors higher up.

With its largest drain lost, a chamber fills until the emergency drain carries the rest, or until
its tanks spill. A watch float that is wet tells neither; one that hangs higher and is dry does, and
so does a level sensor: water that stays under them is carried, by whatever carries it. Animals need
the flow, so the pump runs on for so long, and is cut where it would be too late a little later.

Two things must each be in time by itself, with everything blocked at once, at the unfavourable end
of the doubt: such a witness, and a spill-edge float in every tank. Either may hang: the other one
still cuts. A site with nothing but one watch and the spill-edge float has no witness, and there the
watch cuts, as it must: were every drain blocked and the spill-edge float stuck dry, nothing else
would be left. That the emergency drain has carried once proves nothing for later, for what grows in
one drain grows in all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rules.assessment.doubt import Doubt
from rules.assessment.heights import edge_most_m, watch_most_m
from rules.figures import LEVEL_TOLERANCE_M, Drained, Figures
from rules.response import RESERVE, response_s
from rules.site.model import Site


@dataclass(frozen=True, slots=True)
class Witnesses:
    """Those of a drained chamber; none at all where they would not be in time.

    `edges` are spill-edge floats, by their places among the sensors; `floats` drain-watch floats,
    by place, with their heights, lowest first; `levels` level sensors, by their places among the
    plan's level sensors, with the level up to which each is believed in time [m over the bottom].
    """

    edges: tuple[int, ...] = ()
    floats: tuple[tuple[int, float], ...] = ()
    levels: tuple[tuple[int, float], ...] = ()

    def above(self, height_m: float) -> bool:
        """True if any of them tells of water over this height."""
        return any(at_m > height_m for _, at_m in (*self.floats, *self.levels))


def witnesses_of(
    site: Site, figures: Figures, drained: Drained, doubt: Doubt, level_places: dict[str, int]
) -> Witnesses:
    """The witnesses of a drained chamber; `level_places` are those of the site's level sensors."""
    places = {key: place for place, key in enumerate(site.sensors)}
    most_m3_s = doubt.of_chamber(drained.chamber).inflow.high
    run_on_s = max(pump.run_on for pump in site.pumps.values())

    def needs_m3(filter_s: float) -> float:
        return most_m3_s * RESERVE * response_s(filter_s, run_on_s)

    edges = []
    for tank in drained.feeders or (drained.chamber,):
        if site.chambers[drained.chamber].rim_m < site.chambers[tank].rim_m - LEVEL_TOLERANCE_M:
            return Witnesses()  # it would spill here while the tank has room
        found = [
            places[key]
            for key, sensor in site.floats(tank, "spill-edge").items()
            if sensor.height <= edge_most_m(site, tank, needs_m3(sensor.filter))
        ]
        if not found:
            return Witnesses()
        edges += found
    floats = sorted(
        (sensor.height, places[key])
        for key, sensor in site.floats(drained.chamber, "drain-watch").items()
        if sensor.height <= watch_most_m(site, figures, drained, needs_m3(sensor.filter))
    )
    levels = _levels(site, figures, drained, most_m3_s, run_on_s)
    return Witnesses(
        tuple(edges),
        tuple((place, height_m) for height_m, place in floats),
        tuple((level_places[key], limit_m) for key, limit_m in levels),
    )


def _levels(
    site: Site, figures: Figures, drained: Drained, most_m3_s: float, run_on_s: float
) -> Iterator[tuple[str, float]]:
    """Every level sensor with the level up to which it is in time; no higher than it can read, nor
    than where the chamber begins to hold back its tanks."""
    chamber = site.chambers[drained.chamber]
    free_m = drained.allowed_m - chamber.bottom - LEVEL_TOLERANCE_M
    for key, sensor in site.levels(drained.chamber).items():
        needs_m3 = most_m3_s * RESERVE * response_s(sensor.filter, run_on_s)
        limit_m = watch_most_m(site, figures, drained, needs_m3)
        yield key, min(limit_m, free_m, sensor.high.level)
