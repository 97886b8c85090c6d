"""All hazards, in the order in which the matrix is printed and their rows are stepped."""

from __future__ import annotations

from rules.figures import Figures
from rules.hazards import (
    chamber_high,
    cut_unanswered,
    drain_capacity,
    drain_fouling,
    drain_growth,
    drain_loss,
    draws_air,
    dry_run,
    flow_lost,
    flow_weak,
    leak,
    lease_lost,
    mains,
    out_of_service,
    own,
    pump_off,
    reservoir_low,
    screen_clogging,
    signal,
    siphon_break,
    spill_edge,
    splashed,
    top_off_long,
    top_off_unused,
    water_lost,
)
from rules.hazards.base import Hazard
from rules.matrix import Row
from rules.site.model import Site
from rules.tightening import tightened

HAZARDS: dict[str, Hazard] = {
    page.HAZARD.name: page.HAZARD
    for page in (
        spill_edge,
        drain_capacity,
        chamber_high,
        dry_run,
        draws_air,
        leak,
        mains,
        lease_lost,
        cut_unanswered,
        siphon_break,
        flow_lost,
        pump_off,
        top_off_long,
        water_lost,
        top_off_unused,
        reservoir_low,
        flow_weak,
        screen_clogging,
        drain_loss,
        drain_fouling,
        drain_growth,
        own,
        out_of_service,
        splashed,
        signal,
    )
}


def rows(
    site: Site,
    figures: Figures,
    without: frozenset[str] = frozenset(),
    *,
    file: str = "the site file",
) -> tuple[Row, ...]:
    """Every row of the site's matrix; `without` takes hazards out, to prove them needed.

    Raises SiteError where the site file would make one looser.
    """
    unknown = without - set(HAZARDS)
    if unknown:
        raise ValueError(f"no such hazard: {', '.join(sorted(unknown))}")
    derived = tuple(row for hazard in HAZARDS.values() for row in hazard.rows(site, figures))
    return tuple(row for row in tightened(site, derived, file) if row.hazard not in without)
