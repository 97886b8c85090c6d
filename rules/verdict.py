"""Is the site safe to leave alone? Findings with figure, reason and remedy, and one verdict.

Every check takes the unfavourable end of the doubt. What would go wrong there, and not as expected,
is a condition: measure, and the doubt shrinks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from math import inf, isinf

from rules.assessment.assess import Assessment, Stop
from rules.assessment.failures import SPILL_M3, Result, Seen, Sort
from rules.assessment.heights import Place
from rules.plan import Plan
from rules.site import show
from rules.site.outputs import HeartbeatOutput
from rules.site.passages import EmergencyDrain
from rules.site.sensors import LeakSensor


class Weight(IntEnum):
    """How a finding bears on the verdict; the heaviest decides."""

    FACT = 0
    CONDITION = 1
    UNSAFE = 2


VERDICTS = {
    Weight.FACT: "SOUND",
    Weight.CONDITION: "SOUND WITH CONDITIONS",
    Weight.UNSAFE: "NOT SAFE TO LEAVE",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: what it is about, the sentence with its figure, and the cheapest remedy."""

    weight: Weight
    subject: str
    sentence: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """All findings, the heaviest first."""

    findings: tuple[Finding, ...]

    @property
    def weight(self) -> Weight:
        """The heaviest finding's weight."""
        return max((finding.weight for finding in self.findings), default=Weight.FACT)

    @property
    def words(self) -> str:
        """The verdict in words."""
        return VERDICTS[self.weight]


def judge(plan: Plan, assessment: Assessment) -> Verdict:
    """Judge a site by its plan and its assessment."""
    found = [finding for check in CHECKS for finding in check(plan, assessment)]
    return Verdict(tuple(sorted(found, key=lambda finding: -finding.weight)))


def _drains(plan: Plan, assessment: Assessment) -> Iterator[Finding]:
    site, units = plan.site, plan.site.site.units
    for drained in plan.figures.drained:
        if drained.inflow_m3_s <= 0:
            continue
        place = site.label(drained.chamber)
        margin = assessment.doubt.of_chamber(drained.chamber).margin
        firm, comes = show.flow(drained.firm_m3_s, units), show.flow(drained.inflow_m3_s, units)
        text = (
            f"clean drains carry {firm} for {comes}: margin {margin.value:.2f} "
            f"({margin.low:.2f} to {margin.high:.2f})"
        )
        if margin.value < 1.0 or drained.chamber in plan.figures.running.overfull:
            remedy = "throttle the pump, or fit a larger drain"
            yield Finding(Weight.UNSAFE, place, text, remedy)
        elif margin.low < 1.0:
            remedy = (
                "measure the flow with a bucket and a clock (weirkeeper calibrate), or throttle"
            )
            yield Finding(Weight.CONDITION, place, text, remedy)
        else:
            yield Finding(Weight.FACT, place, text)
        drains = site.drains_from(drained.chamber).values()
        if not any(isinstance(drain, EmergencyDrain) for drain in drains):
            yield Finding(
                Weight.CONDITION,
                place,
                "it has no emergency drain: nothing carries on while the guard acts",
                "add a dry standpipe a little above the working level",
            )


def _failures(plan: Plan, assessment: Assessment) -> Iterator[Finding]:
    for result in assessment.results:
        if result.failure.sort is Sort.TOP_OFF:
            yield _stuck_top_off(plan, assessment, result)
        else:
            yield _failure(plan, assessment, result)


def _failure(plan: Plan, assessment: Assessment, result: Result) -> Finding:
    site, failure = plan.site, result.failure
    never = isinf(result.worst.first_spill_s)
    cutting = next((seen for seen in result.seen_at_worst if seen.cuts), None)
    cut_in_vain = cutting is not None and (never or cutting.spare_s >= 0.0)
    if cutting is not None and cut_in_vain and not (result.held or result.carried):
        return _spilled_after(plan, assessment, result, cutting)
    place = site.label(failure.chamber)
    if result.carried or never:
        dry_s = min(result.worst.dry_s.values(), default=inf)
        if isinf(dry_s):
            return Finding(Weight.FACT, place, f"{failure.title}: no water leaves a tank")
        sentence = (
            f"{failure.title}: no water leaves a tank; the pump would draw air after "
            f"{show.duration(dry_s)}"
        )
        if result.held or any(seen.cuts for seen in result.seen_at_worst):
            return Finding(Weight.FACT, place, f"{sentence}, and is cut before")
        return Finding(Weight.CONDITION, place, sentence, "hang a dry-run float in its chamber")
    first = result.worst.spills[0][0]
    spill = (
        f"{failure.title}: without the guard water leaves the {site.label(first)} after "
        f"{_times(result)}"
    )
    if result.held:
        best = next(seen for seen in result.seen_at_worst if seen.in_time)
        name = site.label(best.sensor)
        sentence = f"{spill}; the {name} sees it after {show.duration(best.after_s)}, in time"
        return Finding(Weight.FACT, place, sentence)
    weight = _weight(result, result.expected.first_spill_s < inf)
    late = max(
        (seen for seen in result.seen_at_worst if seen.cuts), key=lambda s: s.spare_s, default=None
    )
    if late is not None:
        sentence = (
            f"{spill}; the {site.label(late.sensor)} speaks {show.duration(-late.spare_s)} too late"
        )
        remedy = _remedy(plan, assessment, result) or "hang the float lower, or slow the pump"
        return Finding(weight, place, sentence, remedy)
    return Finding(
        weight,
        place,
        f"{spill}; nothing the guard has would stop it",
        _remedy(plan, assessment, result)
        or f"hang a float in the {place} or in what feeds it, and power the pump through a relay",
    )


def _weight(result: Result, expected: bool) -> Weight:
    """Unsafe if water on the floor is to be expected, a condition if it is only at worst.

    A pane or a stone that shuts a way below the drains altogether is rarer than a snail in a drain
    or slime on a sponge: by itself it forbids no night, it has to be known before one.
    """
    rare = result.failure.sort is Sort.WAY_ON
    return Weight.UNSAFE if expected and not rare else Weight.CONDITION


def _spilled_after(plan: Plan, assessment: Assessment, result: Result, seen: Seen) -> Finding:
    """A float cuts before water leaves a tank, and what then still runs down does not fit."""
    site, failure, units = plan.site, result.failure, plan.site.site.units
    expected = max((s.spilled_m3 for s in result.seen if s.sensor == seen.sensor), default=0.0)
    over, usual = (show.volume(v, units) for v in (seen.spilled_m3, expected))
    comes = show.volume(result.comes_m3, units)
    sentence = (
        f"{failure.title}: the {site.label(seen.sensor)} sees it after "
        f"{show.duration(seen.after_s)} and the pump is cut, but {comes} still come to the "
        f"{' and the '.join(site.label(key) for key in result.behind)}: {over} leave a tank at "
        f"worst ({usual} as expected)"
    )
    remedy = _remedy(plan, assessment, result) or "hang the float lower, or slow the pump"
    weight = _weight(result, expected > SPILL_M3)
    return Finding(weight, site.label(failure.chamber), sentence, remedy)


def _remedy(plan: Plan, assessment: Assessment, result: Result) -> str:
    """Where a float would hold a blocked way, if that is a question here."""
    place = next((p for p in assessment.places if p.way is result), None)
    if place is None:
        return ""
    site, units = plan.site, plan.site.site.units
    name = site.label(place.chamber)
    if place.least_m > place.most_m:
        room = show.volume(result.comes_m3, units)
        return (
            f"no float in the {name} would hold it: give it room for {room} over its running level "
            "(longer, wider, or a lower edge), or slow the pump"
        )
    least, most = show.length(place.least_m, units), show.length(place.most_m, units)
    if place.fitted is None:
        return f"hang a spill-edge float in the {name}, at or below {most} (not under {least})"
    return f"hang the {site.label(place.fitted)} at or below {most} (not under {least})"


def _times(result: Result) -> str:
    worst, expected = result.worst.first_spill_s, result.expected.first_spill_s
    if isinf(expected):
        return f"{show.duration(worst)} at worst (as expected, never)"
    return f"{show.duration(worst)} at worst ({show.duration(expected)} as expected)"


def _stuck_top_off(plan: Plan, assessment: Assessment, result: Result) -> Finding:
    units, name = plan.site.site.units, plan.site.label(result.failure.chamber)
    stock = show.volume(plan.figures.reservoir_m3, units)
    highest = result.worst.highest_m[result.failure.chamber]
    left = show.length(plan.site.chambers[result.failure.chamber].rim_m - highest, units)
    if sum(result.worst.spilled_m3.values()) > SPILL_M3:
        sentence = f"top-off stuck open: the reservoir's {stock} do not fit, water leaves a tank"
        return Finding(
            Weight.CONDITION, name, sentence, "use a smaller reservoir, or lower the working level"
        )
    sentence = f"top-off stuck open: the reservoir's {stock} fit, to {left} under the rim"
    stop = assessment.doubt.of_pump(result.failure.pump)
    if plan.figures.reservoir_m3 > stop.room.low - stop.drain_down.high:
        room, down = (show.volume(v, units) for v in (stop.room.low, stop.drain_down.high))
        return Finding(
            Weight.CONDITION,
            name,
            f"{sentence}, but a stop after it would spill: {down} more run down, and {room} in all "
            "fit below",
            "use a smaller reservoir, or lower the working level",
        )
    return Finding(Weight.FACT, name, sentence)


def _passive(plan: Plan, assessment: Assessment) -> Iterator[Finding]:
    """Does the pump run dry before a tank reaches its rim, with every drain of it blocked?"""
    for result in assessment.results:
        if result.failure.sort is not Sort.ALL_DRAINS:
            continue
        place = plan.site.label(result.failure.chamber)
        dry_s = result.expected.dry_s.get(result.failure.pump, inf)
        if dry_s < result.expected.first_spill_s:
            sentence = (
                f"with every drain blocked and no guard the pump runs dry after "
                f"{show.duration(dry_s)}, before a rim is reached (the top-off shut)"
            )
            yield Finding(Weight.FACT, place, sentence)


def _stops(plan: Plan, assessment: Assessment) -> Iterator[Finding]:
    for stop in assessment.stops:
        yield _stop(plan, assessment, stop)


def _stop(plan: Plan, assessment: Assessment, stop: Stop) -> Finding:
    units, name = plan.site.site.units, plan.site.label(stop.pump)
    room = show.volume(assessment.doubt.of_pump(stop.pump).room.low, units)
    down, plugged = show.volume(stop.down_m3, units), show.volume(stop.plugged_m3, units)
    if sum(stop.open_breaks.spilled_m3.values()) > SPILL_M3:
        return Finding(
            Weight.UNSAFE,
            name,
            f"a stop sends {down} down, and the chambers below take {room}: every power cut spills",
            "lower the working level of the sump, or raise the outlets",
        )
    if sum(stop.plugged_breaks.spilled_m3.values()) > SPILL_M3:
        return Finding(
            Weight.CONDITION,
            name,
            f"a stop sends {down} down and {room} fit, but {plugged} with plugged siphon breaks",
            "raise the outlets, or clean the siphon breaks at every rinse",
        )
    return Finding(
        Weight.FACT,
        name,
        f"a stop sends {down} down ({plugged} with plugged siphon breaks); {room} fit below",
    )


def _sight(plan: Plan, assessment: Assessment) -> Iterator[Finding]:
    site = plan.site
    for key in site.pumps:
        if site.pump_output(key) is None:
            yield Finding(
                Weight.UNSAFE,
                site.label(key),
                "the guard cannot cut it: no output powers it",
                f'add an output of kind = "pump" with pump = "{key}"',
            )
    for place in assessment.places:
        if place.way is None or place.way.held:  # else its failure says where it should hang
            yield from _place(plan, place)
    if not any(isinstance(sensor, LeakSensor) for sensor in site.sensors.values()):
        yield Finding(Weight.CONDITION, "the floor", "no leak pad", "lay one under the lowest rim")


def _place(plan: Plan, place: Place) -> Iterator[Finding]:
    units, name = plan.site.site.units, plan.site.label(place.chamber)
    least, most = show.length(place.least_m, units), show.length(place.most_m, units)
    if place.least_m > place.most_m:
        yield Finding(
            Weight.CONDITION,
            name,
            f"no height suits a {place.duty} float: it would have to hang over {least} "
            f"({place.why_least}) and under {most} ({place.why_most})",
            "lower the working level, raise the rim, or slow the pump",
        )
    elif place.fitted is None:
        yield Finding(
            Weight.CONDITION,
            name,
            f"no {place.duty} float hangs there",
            f"hang one between {least} and {most} above its bottom",
        )
    elif not place.suits:
        assert place.height_m is not None
        too_low = place.height_m < place.least_m
        why = place.why_least if too_low else place.why_most
        yield Finding(
            Weight.CONDITION,
            plan.site.label(place.fitted),
            f"it hangs at {show.length(place.height_m, units)}, too "
            f"{'low' if too_low else 'high'}: the limit is {why}",
            f"hang it between {least} and {most}",
        )


def _wiring(plan: Plan, _assessment: Assessment) -> Iterator[Finding]:
    site = plan.site
    for key, sensor in site.floats().items():
        safe = "wet" if sensor.duty == "dry-run" else "dry"
        if sensor.closed != safe and sensor.duty != "top-off":
            yield Finding(
                Weight.CONDITION,
                site.label(key),
                "a cut cable reads as all well",
                f'turn the float over and say closed_when = "{safe}"',
            )
    for key, output in site.outputs.items():
        if not output.pulled_safe_at_power_on:
            yield Finding(
                Weight.CONDITION,
                site.label(key),
                f"GPIO {output.pin} is pulled to the on side from power-on until software speaks",
                'use a pin of GPIO 9 to 27 for safe = "low", of 0 to 8 for safe = "high", and fit '
                "an external resistor",
            )
    if not any(isinstance(output, HeartbeatOutput) for output in site.outputs.values()):
        yield Finding(
            Weight.CONDITION,
            site.site.name,
            "no heartbeat output: nothing outside the guard's own machine notices that it hangs",
            'add an output of kind = "heartbeat" and an external timer relay in series',
        )


def _telling(plan: Plan, _assessment: Assessment) -> Iterator[Finding]:
    broker, name = plan.site.broker, plan.site.site.name
    if broker is None:
        yield Finding(Weight.CONDITION, name, "nobody is told: no broker", "add a [broker] table")
    elif not broker.tls:
        yield Finding(
            Weight.CONDITION,
            name,
            "the broker is spoken to without encryption",
            "set tls = true and name the CA of the site",
        )


def _upkeep(plan: Plan, assessment: Assessment) -> Iterator[Finding]:
    units, upkeep = plan.site.site.units, assessment.upkeep
    week = upkeep.change_week
    if week is not None:
        text = (
            f"unequal pumps shift {show.volume(week.unequal_m3, units)} in a week: the pump's "
            f"chamber rises {show.length(week.rise_m, units)}, or the salinity falls by "
            f"{week.salt_g_kg:.2f} g/kg"
        )
        fits = week.unequal_m3 < week.room_m3
        weight = Weight.FACT if fits else Weight.CONDITION
        remedy = "" if fits else "measure both pumps, or change less at a time"
        yield Finding(weight, "water change", text, remedy)
    for steady in upkeep.steadiness:
        name = plan.site.label(steady.chamber)
        low, high = (show.length(v, units) for v in (steady.level_m.low, steady.level_m.high))
        allowed = show.length(steady.allowed_m, units)
        text = f"its level runs from {low} to {high} over the doubt of the pump's flow"
        if steady.steady:
            yield Finding(Weight.FACT, name, f"{text}; its gear allows {allowed}")
        else:
            remedy = "widen the edge it overflows at, or measure the flow"
            yield Finding(
                Weight.CONDITION, name, f"{text}, more than the {allowed} its gear allows", remedy
            )


CHECKS = (_drains, _failures, _passive, _stops, _sight, _wiring, _telling, _upkeep)
