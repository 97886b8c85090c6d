"""One night of a campaign, played with the guard and beside it with what else could stand there.

What comes of it is a record of plain values, one line of the campaign's book.
"""

from __future__ import annotations

import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import inf, isfinite
from typing import Any

from rules.signals import EventKind, Phase
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.campaign.alike import differences
from simulator.campaign.draw import DRY_MOST_S, LABELS, NIGHT_S, DrawnNight, draw
from simulator.campaign.kinds.base import Fault
from simulator.campaign.promises import Asked, Promises, asked
from simulator.campaign.sites import SITE_NIGHTS, random_site_text
from simulator.night.night import Moment
from simulator.night.outcome import Outcome
from simulator.night.runner import GUARD, NONE, run
from simulator.night.standins import STANDINS, harmed_s, harmful, moves_water
from simulator.story.drill import Drill
from simulator.story.happenings import Happening

SPILL_M3 = 1e-4
"""A tenth of a litre over a rim is a spill; less is rounding, in the assessment as here."""

RESTART_S = 300.0
"""A pump may stand for so long after the mains, or the guard, have come back."""

BESIDE = (NONE, *STANDINS)
"""What each night of the sample is played with beside the guard."""

Record = dict[str, Any]
Judge = Callable[[Site], Promises | None]
"""Tells what a site's assessment promises; None for a site that is not safe to leave."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What all nights of a campaign have in common.

    The first `beside` nights are also played with each of BESIDE. With `random_sites` the site is
    only what sites are drawn around. `every_tick` plays each night a second time, leaving out no
    look of the guard.
    """

    site_text: str
    judge: Judge
    seed: int
    labels: tuple[str, ...] = tuple(LABELS)
    lasts_s: float = NIGHT_S
    beside: int = 0
    without: frozenset[str] = frozenset()
    random_sites: bool = False
    every_tick: bool = False


@dataclass(slots=True)
class Kept:
    """One night as kept by one keeper, with what only a look at each second tells.

    `stood` are the stretches in which a keeper kept a pump off that had mains, planned pauses
    apart; `harm_s` is when harm was first done; see `simulator.night.standins.harmful`.
    """

    outcome: Outcome
    stood: list[tuple[float, float]]
    harm_s: float

    @property
    def cuts(self) -> list[tuple[float, tuple[str, ...]]]:
        """When pumps were cut, and by what."""
        return [(e.t_s, e.causes) for e in self.outcome.events if e.kind is EventKind.PUMP_CUT]


class _Look:
    """Looks at the plant once a second of the night."""

    def __init__(self, site: Site) -> None:
        self._relays = {p: relay for p in site.pumps if (relay := site.pump_output(p))}
        self._paused: set[str] = set()  # wanted off, until they are on again
        self._t_s = 0.0
        self._standing = False
        self.stood: list[tuple[float, float]] = []
        self.harm_s = inf

    def __call__(self, moment: Moment) -> None:
        plant, t_s = moment.plant, moment.t_s
        if self._standing:
            self.stood.append((self._t_s, t_s))
        self._t_s = t_s
        off = {pump for pump, relay in self._relays.items() if not plant.on[relay]}
        paused = {p.pump for p in moment.decision.pumps if p.phase is Phase.PAUSED}
        self._paused = (self._paused | paused) & off
        self._standing = plant.mains and bool(off - self._paused)
        if t_s < self.harm_s and harmful(plant):
            self.harm_s = t_s


def keep(
    site: Site, drawn: DrawnNight, keeper: str, terms: Terms, *, every_tick: bool = False
) -> Kept:
    """Play one night with one keeper."""
    look = _Look(site)
    outcome = run(
        site,
        drawn.drill,
        drawn.seed,
        keeper=keeper,
        without=terms.without if keeper == GUARD else frozenset(),
        progress=look,
        trace=False,
        every_tick=every_tick,
    )
    if outcome.not_applicable:
        raise LookupError(outcome.not_applicable)
    return Kept(outcome, look.stood, look.harm_s)


@lru_cache(maxsize=4)
def site_of(terms: Terms, block: int) -> tuple[str, Site, Promises]:
    """The site of a block of nights, its text and what is promised of it."""
    if terms.random_sites:
        return random_site_text(terms.site_text, terms.seed, block, terms.judge)
    site = parse_site(terms.site_text, "site")
    promises = terms.judge(site)
    if promises is None:
        raise ValueError("the site is not safe to leave")
    return terms.site_text, site, promises


def drawn_night(terms: Terms, number: int) -> tuple[str, Site, Promises, DrawnNight]:
    """A night of the campaign, with its site."""
    block = number // SITE_NIGHTS if terms.random_sites else 0
    text, site, promises = site_of(terms, block)
    drawn = draw(site, terms.seed, number, labels=terms.labels, lasts_s=terms.lasts_s)
    return text, site, promises, drawn


def play(terms: Terms, number: int) -> Record:
    """Play night `number` of a campaign; what came of it, in plain values."""
    began_s = time.process_time()
    try:
        record, _ = played(terms, number)
    except Exception:  # a night that cannot be played is a failure of its own, told with the rest
        record = {"night": number, "verdict": "failed", "failed": ["it could not be played"]}
        record["trouble"] = traceback.format_exc()
    record["cpu_s"] = round(time.process_time() - began_s, 3)
    return record


def played(terms: Terms, number: int) -> tuple[Record, Kept]:
    """A night's record, and the night itself as the guard kept it; raises whatever went wrong."""
    text, site, promises, drawn = drawn_night(terms, number)
    guard = keep(site, drawn, GUARD, terms)
    beside: dict[str, Kept] = {}
    if number <= terms.beside:
        beside = {keeper: keep(site, drawn, keeper, terms) for keeper in BESIDE}
        harm_s = beside[NONE].harm_s
    elif guard.stood or guard.outcome.alarms:
        harm_s = harmed_s(site, drawn.drill, drawn.seed)
    else:
        harm_s = guard.harm_s  # it kept its hands off: with no guard the night is the same
    may = asked(site, promises, drawn.label, drawn.faults)
    failed, verdict = judge_night(drawn, guard, may)
    record: Record = {
        "night": number,
        "label": drawn.label,
        "plant": drawn.seed,
        "story": drawn.drill.story,
        "faults": [_fault(f, guard.outcome, harm_s, drawn.drill.lasts) for f in drawn.faults],
        "verdict": verdict,
        "failed": failed,
        "why_not_asked": may.why,
        "harm_s": harm_s if isfinite(harm_s) else None,
        "alarms": len(guard.outcome.alarms),
        **_came_of(guard, drawn, harm_s),
    }
    if number <= terms.beside:
        record["beside"] = {key: _came_of(kept, drawn, harm_s) for key, kept in beside.items()}
    if terms.random_sites and (failed or verdict != "held"):
        record["site"] = text
    if terms.every_tick:
        slow = keep(site, drawn, GUARD, terms, every_tick=True)
        record["differs"] = differences(guard.outcome, slow.outcome)
    return record, guard


def judge_night(drawn: DrawnNight, guard: Kept, may: Asked) -> tuple[list[str], str]:
    """What the guard failed at in a night, and the verdict in a word."""
    out, failed = guard.outcome, []
    spilled = out.spilled_total_m3
    if spilled > SPILL_M3 and may.dry_floor:
        failed.append(f"{1e3 * spilled:.2f} l over a rim")
    if out.dry_s > DRY_MOST_S and may.never_dry:
        failed.append(f"a pump dry for {out.dry_s:.0f} s")
    if early := false_trips(drawn, guard):
        causes = ", ".join(sorted({cause for _, why in early for cause in why}))
        failed.append(f"a cut with nothing wrong ({causes})")
    if failed:
        return failed, "failed"
    if spilled > SPILL_M3:
        return [], "beyond" if drawn.label == "many" else "said before"
    return [], "held"


def false_trips(drawn: DrawnNight, kept: Kept) -> list[tuple[float, tuple[str, ...]]]:
    """Cuts on a healthy night, or before anything had gone wrong in another."""
    first_s = min((fault.at_s for fault in drawn.faults), default=inf)
    return [cut for cut in kept.cuts if cut[0] < first_s]


def called_for_s(drill: Drill, harm_s: float) -> float:
    """From when a stop was called for [s]: the last thing to befall the water before harm is done.

    Infinite if the same night with no guard does no harm at all.
    """
    before = [h.at for h in drill.happens if moves_water(h.what) and h.at <= harm_s]
    return max(before, default=0.0) if isfinite(harm_s) else inf


def needless_s(drill: Drill, stood: Sequence[tuple[float, float]], harm_s: float) -> float:
    """For how long a pump was kept off although nothing called for it [s].

    Not counted: while the mains, or the guard itself, were away, and RESTART_S after.
    """
    from_s = called_for_s(drill, harm_s)
    away = [
        (h.at, h.at + _away_s(h) + RESTART_S)
        for h in drill.happens
        if h.what == "power cut" or h.what.startswith("guard ")
    ]
    return sum(
        end - start
        for start, end in stood
        if start < from_s and not any(begin <= start <= until for begin, until in away)
    )


def _away_s(happens: Happening) -> float:
    lasts: float | None = getattr(happens, "lasts", getattr(happens, "back_after", None))
    return inf if lasts is None else lasts


def _came_of(kept: Kept, drawn: DrawnNight, harm_s: float) -> Record:
    out = kept.outcome
    return {
        "spilled_l": round(1e3 * out.spilled_total_m3, 3),
        "leaked_l": round(1e3 * out.leaked_m3, 3),
        "dry_s": round(out.dry_s, 1),
        "stood_s": round(sum(end - start for start, end in kept.stood), 1),
        "needless_s": round(needless_s(drawn.drill, kept.stood, harm_s), 1),
        "cuts": [[round(t_s, 1), list(causes)] for t_s, causes in kept.cuts[:20]],
        "cut_times": len(kept.cuts),
        "false_trips": len(false_trips(drawn, kept)),
    }


def _fault(fault: Fault, out: Outcome, harm_s: float, lasts_s: float) -> Record:
    """A fault, and when the guard first named it.

    `after_s` is from its onset, `lead_s` until harm would have been done with no guard; `standing`
    tells that an alarm that names it stood already.
    """
    record: Record = {
        "kind": fault.kind,
        "where": list(fault.where),
        "at_s": fault.at_s,
        "ends_s": fault.ends_s if fault.ends_s < lasts_s else None,
        "has_a_name": bool(fault.named_by or fault.sensors),
        "standing": False,
        "after_s": None,
        "lead_s": None,
    }
    standing: set[str] = set()
    for event in out.events:
        if event.alarm is None or not _names(event.alarm.row, fault):
            continue
        raised = event.kind is EventKind.ALARM_RAISED
        if event.t_s < fault.at_s:
            if raised:
                standing.add(event.alarm.row)
            elif event.kind in (EventKind.ALARM_RETURNED, EventKind.ALARM_ENDED):
                standing.discard(event.alarm.row)
        elif raised:
            record["after_s"] = round(event.t_s - fault.at_s, 1)
            if fault.at_s <= harm_s < inf:
                record["lead_s"] = round(harm_s - event.t_s, 1)
            break
    record["standing"] = bool(standing)
    return record


def _names(row: str, fault: Fault) -> bool:
    hazard, _, subject = row.partition(".")
    if subject in fault.sensors:
        return True
    return hazard in fault.named_by and (
        not fault.felt_in or subject in fault.felt_in or hazard == "spill-edge"
    )
