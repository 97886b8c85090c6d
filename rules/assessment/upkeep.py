"""What a keeper wants to know of the whole: volumes, turnover, evaporation, salt, water changes."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from rules.assessment.band import Band
from rules.figures import Figures
from rules.hydraulics.network import Hydraulics
from rules.site.model import Site

DAY_S = 86400.0
WEEK_DAYS = 7


@dataclass(frozen=True, slots=True)
class ChangeWeek:
    """A week of unequal water changes: what is gained or lost [m3], and what that does.

    `rise_m` is how far the pump's chamber rises if more comes in than goes out, `room_m3` what it
    can take; `salt_g_kg` is how far the salinity falls if more goes out, and fresh water from the
    top-off takes its place.
    """

    unequal_m3: float
    rise_m: float
    room_m3: float
    salt_g_kg: float


@dataclass(frozen=True, slots=True)
class Steadiness:
    """A chamber whose gear needs a steady level: its levels over the pump's range.

    Levels in m above its bottom.
    """

    chamber: str
    level_m: Band
    allowed_m: float

    @property
    def steady(self) -> bool:
        """True while the level moves no further than its gear allows."""
        return self.level_m.high - self.level_m.low <= self.allowed_m


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Figures of the whole site.

    `turnover_per_h` counts the whole volume; `evaporation_m3_day` is the site's share of it, and
    `reservoir_days` how long the reservoir replaces it; `salt_per_litre_g_kg` is the salinity
    lost with each litre of salt water that fresh water replaces.
    """

    volume_m3: float
    turnover_per_h: float
    evaporation_m3_day: float
    reservoir_days: float
    salt_per_litre_g_kg: float
    change_week: ChangeWeek | None
    steadiness: tuple[Steadiness, ...]


def upkeep(site: Site, figures: Figures, flow_doubt: float) -> Upkeep:
    """Compute them; `flow_doubt` is how far the pumps' flow may be off, as a share."""
    volume = figures.volume_m3
    lifted = sum(lift.flow_m3_s for lift in figures.lifts)
    evaporation = volume * site.water.evaporation
    return Upkeep(
        volume,
        lifted * 3600 / volume if volume > 0 else inf,
        evaporation,
        figures.reservoir_m3 / evaporation if evaporation > 0 else inf,
        site.water.salinity * 0.001 / volume if volume > 0 else 0.0,
        _change_week(site, figures),
        _steadiness(site, figures, flow_doubt),
    )


def _change_week(site: Site, figures: Figures) -> ChangeWeek | None:
    change = site.water_change
    if change is None:
        return None
    unequal = change.daily * change.tolerance * WEEK_DAYS
    pump = next(iter(site.pumps.values()))
    chamber, levels = site.chambers[pump.from_], figures.running.levels_m
    level = levels[pump.from_] - chamber.bottom
    risen = chamber.level_m(chamber.volume_m3(level) + unequal) - level
    salt = site.water.salinity * unequal / figures.volume_m3
    room = chamber.between_m3(levels[pump.from_], chamber.rim_m)
    return ChangeWeek(unequal, risen, room, salt)


def with_flow(site: Site, factor: float) -> Site:
    """The same site with every pump's curve scaled in flow by `factor`."""
    pumps = {
        key: pump.model_copy(
            update={
                "curve": tuple(
                    point.model_copy(update={"flow": point.flow * factor}) for point in pump.curve
                )
            }
        )
        for key, pump in site.pumps.items()
    }
    return site.model_copy(update={"pumps": pumps})


def _steadiness(site: Site, figures: Figures, flow_doubt: float) -> tuple[Steadiness, ...]:
    wanted = {key: c.steady for key, c in site.chambers.items() if c.steady is not None}
    if not wanted:
        return ()
    ends = [
        Hydraulics(with_flow(site, factor)).running().levels_m
        for factor in (1.0 - flow_doubt, 1.0 + flow_doubt)
    ]
    found = []
    for key, allowed in wanted.items():
        bottom = site.chambers[key].bottom
        levels = [end[key] - bottom for end in ends]
        value = figures.running.levels_m[key] - bottom
        band = Band(min(value, *levels), value, max(value, *levels))
        found.append(Steadiness(key, band, allowed))
    return tuple(found)
