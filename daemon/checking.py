"""One check of one site: plan, assessment and verdict together, as text or as JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass
from math import isfinite
from typing import Any

from rules import engine, verdict
from rules.alarming import priority
from rules.assessment.assess import Assessment, assess
from rules.assessment.band import Band
from rules.assessment.failures import Result
from rules.plan import Plan
from rules.site.model import Site
from rules.verdict import Verdict, Weight


@dataclass(frozen=True, slots=True)
class Checked:
    """A site with all that was found."""

    plan: Plan
    assessment: Assessment
    verdict: Verdict

    @property
    def exit_code(self) -> int:
        """0 where the site may be left alone, 1 where not."""
        return 1 if self.verdict.weight is Weight.UNSAFE else 0


def check(site: Site) -> Checked:
    """Check a site; raises HydraulicsError with a sentence where it cannot be computed."""
    plan = engine.plan_for(site)
    assessment = assess(plan)
    return Checked(plan, assessment, verdict.judge(plan, assessment))


def as_json(checked: Checked) -> str:
    """All of it as JSON: SI units, named in each key; no infinity, null instead."""
    plan, found = checked.plan, checked.assessment
    figures = plan.figures
    content = {
        "site": plan.site.site.id,
        "verdict": checked.verdict.words,
        "findings": [
            {
                "weight": finding.weight.name.lower(),
                "subject": finding.subject,
                "sentence": finding.sentence,
                "remedy": finding.remedy,
            }
            for finding in checked.verdict.findings
        ],
        "levels_m_above_datum": figures.running.levels_m,
        "flows_m3_s": figures.running.flows_m3_s,
        "drained": [
            {
                "chamber": doubt.chamber,
                "inflow_m3_s": _band(doubt.inflow),
                "capacity_m3_s": {key: _band(band) for key, band in doubt.capacity.items()},
                "firm_m3_s": _band(doubt.firm),
                "margin": _band(doubt.margin),
                "freeboard_m3": _band(doubt.freeboard),
            }
            for doubt in found.doubt.drained
        ],
        "pumps": [
            {
                "pump": doubt.pump,
                "flow_m3_s": _band(doubt.flow),
                "head_m": figures.lift(doubt.pump).head_m,
                "drain_down_m3": _band(doubt.drain_down),
                "drain_down_with_plugged_siphon_breaks_m3": _band(doubt.plugged),
                "room_below_m3": _band(doubt.room),
            }
            for doubt in found.doubt.lifts
        ],
        "failures": [_failure(result) for result in found.results],
        "floats": [
            {
                "chamber": place.chamber,
                "duty": place.duty,
                "from_m": place.least_m,
                "to_m": place.most_m,
                "fitted": place.fitted,
                "height_m": place.height_m,
                "suits": place.suits,
            }
            for place in found.places
        ],
        "coverage": [
            {"failure": row.failure, "sensors": list(row.sensors), "note": row.note}
            for row in found.coverage
        ],
        "main_drains": [
            {
                "chamber": its.chamber,
                "drain": its.drain,
                "floats": list(its.floats),
                "least_loss_by_floats": its.by_floats,
                "levels": list(its.levels),
                "level_tolerance_m": its.tolerance_m,
                "least_loss_however_slow": its.slowly,
                "least_loss_before_the_first_day": its.at_first,
            }
            for its in found.fouling
        ],
        "upkeep": {
            "volume_m3": found.upkeep.volume_m3,
            "turnover_per_h": found.upkeep.turnover_per_h,
            "evaporation_m3_day": found.upkeep.evaporation_m3_day,
            "reservoir_days": found.upkeep.reservoir_days,
            "salt_per_litre_g_kg": found.upkeep.salt_per_litre_g_kg,
        },
        "matrix": [
            {
                "row": row.id,
                "cause": row.cause,
                "after_s": row.delay_s,
                "ends": row.clear.value,
                "effect": row.effect.name.lower().replace("_", " "),
                "priority": row.priority.name.lower(),
                "priority_because": priority.because(row.hazard),
                "pumps": list(row.pumps),
                "stricter": list(row.stricter),
            }
            for row in plan.rows
        ],
    }
    return json.dumps(_plain(content), indent=2, allow_nan=False)


def _band(band: Band) -> dict[str, float]:
    return {"low": band.low, "expected": band.value, "high": band.high}


def _failure(result: Result) -> dict[str, Any]:
    return {
        "failure": result.failure.title,
        "chamber": result.failure.chamber,
        "spills_after_s": result.expected.first_spill_s,
        "spills_after_at_worst_s": result.worst.first_spill_s,
        "pump_dry_after_s": min(result.expected.dry_s.values(), default=None),
        "held_by_the_guard": result.held,
        "before_the_blocked_way": list(result.behind),
        "comes_after_cut_m3": result.comes_m3 if result.behind else None,
        "seen_at_worst": [
            {
                "sensor": seen.sensor,
                "after_s": seen.after_s,
                "cuts": seen.cuts,
                "spare_s": seen.spare_s,
                "spilled_after_cut_m3": None if seen.after is None else seen.after.spilled_m3,
            }
            for seen in result.seen_at_worst
        ],
    }


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return value
