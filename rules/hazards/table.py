"""All hazards, in the order in which the matrix is printed and their rows are stepped."""

from __future__ import annotations

from rules.figures import Figures
from rules.hazards import (
    chamber_high,
    cut_unanswered,
    drain_capacity,
    drain_loss,
    dry_run,
    flow_lost,
    leak,
    lease_lost,
    mains,
    pump_off,
    signal,
    spill_edge,
    top_off_long,
)
from rules.hazards.base import Hazard
from rules.matrix import Row
from rules.site.model import Site

HAZARDS: dict[str, Hazard] = {
    page.HAZARD.name: page.HAZARD
    for page in (
        spill_edge,
        drain_capacity,
        chamber_high,
        dry_run,
        leak,
        mains,
        lease_lost,
        cut_unanswered,
        flow_lost,
        pump_off,
        top_off_long,
        drain_loss,
        signal,
    )
}


def rows(site: Site, figures: Figures, without: frozenset[str] = frozenset()) -> tuple[Row, ...]:
    """Every row of the site's matrix; `without` takes hazards out, to prove them needed."""
    unknown = without - set(HAZARDS)
    if unknown:
        raise ValueError(f"no such hazard: {', '.join(sorted(unknown))}")
    return tuple(
        row
        for name, hazard in HAZARDS.items()
        if name not in without
        for row in hazard.rows(site, figures)
    )
