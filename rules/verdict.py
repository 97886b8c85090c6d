"""Is the site safe to leave alone? Findings with figure, reason and remedy, and one verdict."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from math import inf, isinf

from rules.estimate import carried_at_most_m3_s
from rules.figures import Blocked, Drained, Lift
from rules.hazards.base import below_the_drains
from rules.hazards.drain_capacity import DOUBT
from rules.plan import Plan
from rules.response import RESERVE, response_s
from rules.site import show
from rules.site.outputs import HeartbeatOutput
from rules.site.passages import EmergencyDrain
from rules.site.sensors import FloatSwitch, LeakSensor


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


def judge(plan: Plan) -> Verdict:
    """Judge a site by its plan."""
    found = [finding for check in CHECKS for finding in check(plan)]
    return Verdict(tuple(sorted(found, key=lambda finding: -finding.weight)))


def warning_s(plan: Plan, drained: Drained, left_m3_s: float) -> tuple[float, str]:
    """The longest warning a float gives before a spill, and that float.

    Time from the float to the rim at `left_m3_s` of drain capacity, less the guard's response;
    minus infinity where no float sees it, or the guard cannot cut the pump.
    """
    site, best = plan.site, (-inf, "")
    if site.pump_output(drained.pump) is None:
        return best
    net = drained.inflow_m3_s - left_m3_s
    run_on_s = site.pumps[drained.pump].run_on
    for key, sensor in site.floats().items():
        room = _room_above_m3(plan, drained, key)
        if room is None:
            continue
        time_s = room / net if net > 0 else inf
        spare = time_s - RESERVE * response_s(sensor.filter, run_on_s)
        best = max(best, (spare, key))
    return best


def _watch_cuts(plan: Plan, chamber: str, key: str) -> bool:
    """True when a drain-watch float, wet at the computed inflow, is enough to cut the pump.

    One that hangs near the working level is not: clean drains may stand there too.
    """
    drain = next(drain for drain in plan.drains if drain.chamber == chamber)
    watch = next(watch for watch in drain.watches if watch.contact.id == key)
    carried = carried_at_most_m3_s(drain, watch, drain.inflow_m3_s)
    return carried < DOUBT * drain.inflow_m3_s


def _room_above_m3(plan: Plan, drained: Drained, key: str) -> float | None:
    """What fits between a float that cuts the pump and the rims [m3]; None for any other float."""
    sensor = plan.site.sensors[key]
    assert isinstance(sensor, FloatSwitch)
    site, levels = plan.site, plan.figures.running.levels_m
    cuts = sensor.duty == "spill-edge" or (
        sensor.duty == "drain-watch" and _watch_cuts(plan, sensor.chamber, key)
    )
    if sensor.chamber == drained.chamber and cuts:
        height = site.chambers[drained.chamber].above_datum_m(sensor.height)
        # what feeds it stands no lower than it does: over the crest the two rise together
        heights = {key: max(levels[key], height) for key in drained.feeders}
        heights[drained.chamber] = height
    elif sensor.chamber in drained.feeders and sensor.duty == "spill-edge":
        heights = {sensor.chamber: site.chambers[sensor.chamber].above_datum_m(sensor.height)}
    else:
        return None
    return sum(
        site.chambers[key].between_m3(level, site.chambers[key].rim_m)
        for key, level in heights.items()
    )


def _drains(plan: Plan) -> Iterator[Finding]:
    site, units = plan.site, plan.site.site.units
    for drained in plan.figures.drained:
        place = site.label(drained.chamber)
        firm, comes = show.flow(drained.firm_m3_s, units), show.flow(drained.inflow_m3_s, units)
        if drained.inflow_m3_s <= 0:
            continue
        text = f"clean drains carry {firm} for {comes}: margin {drained.margin:.2f}"
        if drained.margin < 1.0 or drained.chamber in plan.figures.running.overfull:
            remedy = "throttle the pump, or fit a larger drain"
            yield Finding(Weight.UNSAFE, place, text, remedy)
        elif drained.margin < DOUBT:
            remedy = f"a margin under {DOUBT:.2f} is inside the doubt of the formulas: throttle"
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


def _blocked(plan: Plan, drained: Drained, what: str, left: float, spill_s: float) -> Finding:
    site, units = plan.site, plan.site.site.units
    place = site.label(drained.chamber)
    if isinf(spill_s):
        return Finding(
            Weight.FACT,
            place,
            f"{what}: the others carry {show.flow(left, units)}, all that comes",
        )
    spare_s, key = warning_s(plan, drained, left)
    spill = f"{what}: water leaves a tank after {show.duration(spill_s)}"
    if spare_s >= 0:
        return Finding(
            Weight.FACT,
            place,
            f"{spill} without the guard, which sees it at the {site.label(key)} and cuts in time",
        )
    if key:
        return Finding(
            Weight.UNSAFE,
            place,
            f"{spill}; the {site.label(key)} speaks {show.duration(-spare_s)} too late",
            "hang the float lower, raise the rim, or slow the pump",
        )
    return Finding(
        Weight.UNSAFE,
        place,
        f"{spill}; nothing the guard has would stop it",
        f"hang a float in the {place} or in what feeds it, and power the pump through a relay",
    )


def _blockages(plan: Plan) -> Iterator[Finding]:
    for drained in plan.figures.drained:
        if drained.inflow_m3_s <= 0:
            continue
        one: Blocked
        for one in drained.blocked:
            what = f"{plan.site.label(one.drain)} blocked"
            yield _blocked(plan, drained, what, one.left_m3_s, one.spill_s)
        if len(drained.blocked) > 1:
            spill_s = drained.freeboard_m3 / drained.inflow_m3_s
            yield _blocked(plan, drained, "all its drains blocked", 0.0, spill_s)


def _stops(plan: Plan) -> Iterator[Finding]:
    units = plan.site.site.units
    for lift in plan.figures.lifts:
        yield from _drain_down(plan, lift)
        stock = plan.figures.reservoir_m3
        if stock > lift.room_m3 - lift.drain_down_m3 and stock > 0:
            yield Finding(
                Weight.CONDITION,
                plan.site.label(lift.pump),
                f"the reservoir's {show.volume(stock, units)} and a drain-down of "
                f"{show.volume(lift.drain_down_m3, units)} do not both fit below "
                f"({show.volume(lift.room_m3, units)})",
                "use a smaller reservoir, or lower the working level",
            )


def _passive(plan: Plan) -> Iterator[Finding]:
    """Does the pump run dry before a tank reaches its rim, with every drain of it blocked?"""
    units = plan.site.site.units
    for drained in plan.figures.drained:
        lift = plan.figures.lift(drained.pump)
        if drained.inflow_m3_s <= 0:
            continue
        over = lift.dry_m3 - drained.freeboard_m3
        place = plan.site.label(drained.chamber)
        if over <= 0:
            yield Finding(
                Weight.FACT,
                place,
                "with no guard and every drain blocked the pump would run dry before a rim is "
                "reached (the top-off shut)",
            )
        else:
            yield Finding(
                Weight.FACT,
                place,
                "with no guard and every drain blocked at least "
                f"{show.volume(over, units)} would leave a tank before the pump runs dry",
            )


def _drain_down(plan: Plan, lift: Lift) -> Iterator[Finding]:
    units, name = plan.site.site.units, plan.site.label(lift.pump)
    room = show.volume(lift.room_m3, units)
    down, plugged = (show.volume(v, units) for v in (lift.drain_down_m3, lift.plugged_m3))
    if lift.drain_down_m3 > lift.room_m3:
        yield Finding(
            Weight.UNSAFE,
            name,
            f"a stop sends {down} down, and the chambers below take {room}: every power cut spills",
            "lower the working level of the sump, or raise the outlets",
        )
    elif lift.plugged_m3 > lift.room_m3:
        yield Finding(
            Weight.CONDITION,
            name,
            f"a stop sends {down} down and {room} fit, but {plugged} with plugged siphon breaks",
            "raise the outlets, or clean the siphon breaks at every rinse",
        )
    else:
        yield Finding(
            Weight.FACT, name, f"a stop sends {down} down ({plugged} at worst); {room} fit below"
        )


def _sight(plan: Plan) -> Iterator[Finding]:
    site = plan.site
    for key, pump in site.pumps.items():
        name = site.label(key)
        if site.pump_output(key) is None:
            yield Finding(
                Weight.UNSAFE,
                name,
                "the guard cannot cut it: no output powers it",
                f'add an output of kind = "pump" with pump = "{key}"',
            )
        if not site.floats(pump.from_, "dry-run"):
            yield Finding(
                Weight.CONDITION,
                name,
                "nothing sees it about to run dry",
                f"hang a dry-run float in the {site.label(pump.from_)}",
            )
        if not site.floats(pump.from_, "spill-edge"):
            yield Finding(
                Weight.CONDITION,
                site.label(pump.from_),
                "nothing sees it about to spill",
                "hang a spill-edge float a little under its rim",
            )
    if not any(isinstance(sensor, LeakSensor) for sensor in site.sensors.values()):
        yield Finding(Weight.CONDITION, "the floor", "no leak pad", "lay one under the lowest rim")


def _wiring(plan: Plan) -> Iterator[Finding]:
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


def _telling(plan: Plan) -> Iterator[Finding]:
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


def _edges(plan: Plan) -> Iterator[Finding]:
    """Chambers that a pump fills and no float would catch."""
    site = plan.site
    for branch in {b.to: b for p in site.pumps for b in site.branches(p).values()}.values():
        if below_the_drains(site, branch.to):
            continue
        caught = any(
            site.floats(key, "spill-edge")
            for key in (
                branch.to,
                *(d.chamber for d in plan.figures.drained if branch.to in d.feeders),
            )
        )
        if not caught:
            yield Finding(
                Weight.CONDITION,
                site.label(branch.to),
                "it has no spill-edge float: what blocks its way out is seen by nothing",
                "hang one a little under its rim",
            )


CHECKS = (_drains, _blockages, _passive, _stops, _sight, _edges, _wiring, _telling)
