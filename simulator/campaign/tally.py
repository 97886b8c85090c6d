"""A campaign's nights counted up, into plain values: for the table, the picture and JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import ceil
from typing import Any

from simulator.campaign import poisson
from simulator.campaign.play import BESIDE, SPILL_M3, Record

YEAR_S = 365.25 * 86400.0
Sums = dict[str, Any]


def tally(records: Iterable[Record], lasts_s: float) -> Sums:
    """All that a campaign comes to. Records may be in any order; `lasts_s` is a night's length."""
    nights = sorted(records, key=lambda record: int(record["night"]))
    played = [night for night in nights if "label" in night]
    labels = list(dict.fromkeys(night["label"] for night in played))
    sample = [night for night in played if "beside" in night]
    return {
        "nights": len(nights),
        "simulated_years": len(played) * lasts_s / YEAR_S,
        "verdicts": _counted(night["verdict"] for night in nights),
        "all": _came_to(played, played, lasts_s),
        "by_label": {
            label: _came_to(some, some, lasts_s)
            for label in sorted(labels)
            if (some := [night for night in played if night["label"] == label])
        },
        "faults": _faults(played),
        "beside": _beside(sample, lasts_s),
        "alarms_a_healthy_night": _mean(
            [night["alarms"] for night in played if night["label"] == "healthy"]
        ),
        "failures": [_told(night) for night in nights if night["verdict"] == "failed"],
        "said_before": [_told(night) for night in nights if night["verdict"] == "said before"],
        "beyond": [_told(night) for night in nights if night["verdict"] == "beyond"],
        "differs": _differs(played),
        "cpu_s": _spread([night["cpu_s"] for night in nights]),
    }


def _came_to(nights: Sequence[Record], kept: Sequence[Record], lasts_s: float) -> Sums:
    """Water, dry pumps, stops and false trips: of the `nights`, as `kept` by one keeper."""
    trips = sum(one["false_trips"] for one in kept)
    # while nothing had gone wrong, whatever kept watch could trip falsely
    healthy_s = sum(
        min((fault["at_s"] for fault in night["faults"]), default=lasts_s) for night in nights
    )
    years = healthy_s / YEAR_S
    low, high = poisson.interval(trips)
    spilled = [one["spilled_l"] for one in kept]
    leaked = [one["leaked_l"] for one in kept]
    return {
        "nights": len(kept),
        "spilled_nights": sum(litres > 1e3 * SPILL_M3 for litres in spilled),
        "spilled_l": sum(spilled),
        "spilled_worst_l": max(spilled, default=0.0),
        "leaked_nights": sum(litres > 1e3 * SPILL_M3 for litres in leaked),
        "leaked_l": sum(leaked),
        "leaked_worst_l": max(leaked, default=0.0),
        "dry_nights": sum(one["dry_s"] >= 1.0 for one in kept),
        "dry_s": sum(one["dry_s"] for one in kept),
        "dry_worst_s": max((one["dry_s"] for one in kept), default=0.0),
        "stood_h": sum(one["stood_s"] for one in kept) / 3600.0,
        "needless_nights": sum(one["needless_s"] > 0.0 for one in kept),
        "needless_h": sum(one["needless_s"] for one in kept) / 3600.0,
        "false_trips": trips,
        "healthy_years": years,
        "false_trips_a_year": trips / years if years > 0.0 else None,
        "interval_a_year": [low / years, high / years] if years > 0.0 else None,
    }


def _beside(sample: Sequence[Record], lasts_s: float) -> dict[str, Sums]:
    """The same nights under each keeper, the guard first."""
    if not sample:
        return {}
    kept = {"guard": sample} | {key: [n["beside"][key] for n in sample] for key in BESIDE}
    return {key: _came_to(sample, nights, lasts_s) for key, nights in kept.items()}


def _faults(nights: Sequence[Record]) -> dict[str, Sums]:
    found: dict[str, list[Record]] = {}
    for night in nights:
        for fault in night["faults"]:
            found.setdefault(fault["kind"], []).append(fault)
    return {kind: _of_kind(found[kind]) for kind in sorted(found)}


def _of_kind(faults: Sequence[Record]) -> Sums:
    """How soon a kind of fault is named, and how long before harm.

    Apart from those of which an alarm stood already, and those that no alarm has a name for.
    """
    fresh = [fault for fault in faults if not fault["standing"] and fault["has_a_name"]]
    after = [fault["after_s"] for fault in fresh if fault["after_s"] is not None]
    lead = [fault["lead_s"] for fault in fresh if fault["lead_s"] is not None]
    return {
        "count": len(faults),
        "alarm_stood": sum(fault["standing"] for fault in faults),
        "named": len(after),
        "never_share": 1.0 - len(after) / len(fresh) if fresh else None,
        "after_s": _spread(after),
        "lead_s": _spread(lead, worst=min),
        "after": sorted(after),
        "lead": sorted(lead),
    }


def percentile(values: Sequence[float], share: float) -> float:
    """The value that a share of all do not exceed: the nearest rank of a list that is not empty."""
    return sorted(values)[max(0, ceil(share * len(values)) - 1)]


def _spread(
    values: Sequence[float], worst: Callable[[Sequence[float]], float] = max
) -> dict[str, float] | None:
    """Median, nine in ten, and worst; for what should be long, the one in ten that is shortest."""
    if not values:
        return None
    nine = percentile(values, 0.9) if worst is max else percentile(values, 0.1)
    return {"median": percentile(values, 0.5), "nine_in_ten": nine, "worst": worst(values)}


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _counted(words: Iterable[str]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for word in words:
        counts[word] = counts.get(word, 0) + 1
    return dict(sorted(counts.items()))


def _differs(nights: Sequence[Record]) -> Sums | None:
    """How many nights went otherwise when no look was left out; None if that was not tried."""
    tried = [night for night in nights if "differs" in night]
    if not tried:
        return None
    other = {night["night"]: night["differs"] for night in tried if night["differs"]}
    return {"nights": len(tried), "differ": len(other), "which": other}


def _told(night: Record) -> Sums:
    return {
        "night": night["night"],
        "story": night.get("story", night.get("trouble", "")),
        "why": night.get("failed") or [night.get("why_not_asked", "")],
        "spilled_l": night.get("spilled_l", 0.0),
        "dry_s": night.get("dry_s", 0.0),
        **({"site": night["site"]} if "site" in night else {}),
    }
