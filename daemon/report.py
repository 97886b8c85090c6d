"""What `check` prints: the plumbing as read, its figures, the matrix, the findings, the verdict."""

from __future__ import annotations

from collections.abc import Callable
from math import isinf

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from daemon.checking import Checked
from rules import pausing
from rules.assessment.assess import Assessment
from rules.assessment.band import Band
from rules.assessment.failures import Result, Sort
from rules.matrix import Clear, Effect, Row
from rules.plan import Plan
from rules.pumping import NOT_WATER
from rules.resting import RESTS_S
from rules.site import show
from rules.site.passages import Branch
from rules.site.pauses import PAUSE_KINDS
from rules.site.sensors import (
    FloatSwitch,
    FlowMeter,
    LeakSensor,
    LevelSensor,
    MainsSensor,
    PinSensor,
    Sensor,
)
from rules.verdict import Verdict, Weight
from rules.voting import Vote

WIDTH = 132
MARKS = {Weight.FACT: "  ", Weight.CONDITION: "? ", Weight.UNSAFE: "! "}
VOTING = ("spill-edge", "chamber-high", "dry-run")
"""Hazards with a row for each float, which acts as the float's vote does."""

EFFECTS = {
    Effect.ALARM_ONLY: "alarm",
    Effect.INHIBIT_TOP_OFF: "alarm, top-off shut",
    Effect.CUT_PUMP: "alarm, pump cut, top-off shut",
}


def print_check(checked: Checked) -> None:
    """Print the whole report to standard output: the verdict last, where the eye rests."""
    # names and remedies hold brackets of their own: nothing in them is markup
    width = None if Console().is_terminal else WIDTH
    console = Console(width=width, highlight=False, markup=False)
    plan, found = checked.plan, checked.assessment
    head = plan.site.site
    console.print(f"{head.name} ({head.id})", style="bold")
    for title, table in (
        ("Chambers (heights above each one's bottom; levels while all runs)", _chambers(plan)),
        ("Passages", _passages(plan)),
        ("Pumps", _pumps(plan, found)),
        ("Drains: what they carry with their chamber at its allowed level", _drains(plan, found)),
        ("Signals", _signals(plan)),
        ("Outputs", _outputs(plan)),
        ("Where floats should hang (above each chamber's bottom)", _floats(plan, found)),
        ("Who would see what", _coverage(found)),
        (
            "Cause and effect (on reset: at once, unless its signal only cannot be read; that is "
            f"tried again {len(RESTS_S)} times)",
            _matrix(plan),
        ),
        ("Planned pauses (weirkeeper pause)", _pauses(plan)),
        ("The whole", _whole(plan, found)),
    ):
        console.print()
        console.print(title, style="bold")
        console.print(table)
    _print_findings(console, checked.verdict)


def _table(*columns: str, numbers: tuple[int, ...] = ()) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for i, column in enumerate(columns):
        table.add_column(column, justify="right" if i in numbers else "left", overflow="fold")
    return table


def _chambers(plan: Plan) -> Table:
    units, levels = plan.site.site.units, plan.figures.running.levels_m
    table = _table("id", "bottom", "rim", "level", "freeboard", "holds", numbers=(1, 2, 3, 4, 5))
    for key, chamber in plan.site.chambers.items():
        level = levels[key] - chamber.bottom
        table.add_row(
            key,
            show.length(chamber.bottom, units),
            show.length(chamber.rim, units),
            show.length(level, units),
            show.length(chamber.rim - level, units),
            show.volume(chamber.volume_m3(level), units),
        )
    return table


def _passages(plan: Plan) -> Table:
    units, flows = plan.site.site.units, plan.figures.running.flows_m3_s
    table = _table("id", "kind", "from", "to", "flow now", numbers=(4,))
    for key, passage in plan.site.passages.items():
        origin = passage.pump if isinstance(passage, Branch) else passage.from_
        table.add_row(key, passage.kind, origin, passage.to, show.flow(flows[key], units))
    return table


def _banded(band: Band, shown: Callable[[float], str]) -> str:
    """A figure and its band: "65.8 l/min (56.2 to 75.4)"."""
    low, high = shown(band.low).split(" ")[0], shown(band.high).split(" ")[0]
    return f"{shown(band.value)} ({low} to {high})"


def _pumps(plan: Plan, found: Assessment) -> Table:
    units = plan.site.site.units
    table = _table(
        "id", "lifts", "against", "water over intake", "drain-down", "room below",
        numbers=(1, 2, 3, 4, 5),
    )  # fmt: skip
    for lift in plan.figures.lifts:
        doubt = found.doubt.of_pump(lift.pump)
        table.add_row(
            lift.pump,
            _banded(doubt.flow, lambda flow: show.flow(flow, units)),
            show.length(lift.head_m, units),
            show.volume(lift.dry_m3, units),
            _banded(doubt.drain_down, lambda water: show.volume(water, units)),
            show.volume(lift.room_m3, units),
        )
    return table


def _drains(plan: Plan, found: Assessment) -> Table:
    units = plan.site.site.units
    table = _table("chamber", "drain", "capacity", "with it blocked", "spills", numbers=(2, 3, 4))
    spills = {
        (r.failure.chamber, key): r
        for r in found.results
        if r.failure.sort is Sort.ONE_DRAIN
        for key in r.failure.what.condition
    }
    for drained in plan.figures.drained:
        doubt = found.doubt.of_chamber(drained.chamber)
        for one in drained.blocked:
            result = spills.get((drained.chamber, one.drain))
            after = "" if result is None else _after(result)
            table.add_row(
                drained.chamber,
                one.drain,
                _banded(doubt.capacity[one.drain], lambda flow: show.flow(flow, units)),
                show.flow(one.left_m3_s, units),
                after,
            )
        margin = doubt.margin
        table.add_row(
            drained.chamber,
            Text("all but emergency", "bold"),
            show.flow(drained.firm_m3_s, units),
            f"for {show.flow(drained.inflow_m3_s, units)}",
            f"margin {margin.value:.2f} ({margin.low:.2f} to {margin.high:.2f})",
        )
    return table


def _after(result: Result) -> str:
    expected, worst = result.expected.first_spill_s, result.worst.first_spill_s
    if isinf(worst):
        return "never"
    if isinf(expected):
        return f"never, at worst after {show.duration(worst)}"
    return f"after {show.duration(expected)}, at worst {show.duration(worst)}"


def _floats(plan: Plan, found: Assessment) -> Table:
    units = plan.site.site.units
    table = _table("chamber", "duty", "from", "to", "fitted", "at", numbers=(2, 3, 5))
    for place in found.places:
        height = "" if place.height_m is None else show.length(place.height_m, units)
        table.add_row(
            place.chamber,
            place.duty,
            show.length(place.least_m, units),
            show.length(place.most_m, units),
            place.fitted or "none",
            Text(height, "" if place.suits or place.height_m is None else "yellow"),
        )
    return table


def _coverage(found: Assessment) -> Table:
    table = _table("failure", "seen by", "how")
    for row in found.coverage:
        seen = Text(", ".join(row.sensors)) if row.sensors else Text("nothing", "yellow")
        table.add_row(row.failure, seen, row.note)
    return table


def _whole(plan: Plan, found: Assessment) -> Table:
    units, upkeep = plan.site.site.units, found.upkeep
    table = _table("", "", numbers=(1,))
    table.show_header = False
    table.add_row("water in all, reservoir apart", show.volume(upkeep.volume_m3, units))
    table.add_row("turned over in an hour", f"{upkeep.turnover_per_h:.1f} times")
    table.add_row("evaporates in a day", show.volume(upkeep.evaporation_m3_day, units))
    if plan.site.top_off is not None:
        table.add_row("the reservoir lasts", f"{upkeep.reservoir_days:.1f} days")
    salt = f"{upkeep.salt_per_litre_g_kg:.3f} g/kg"
    table.add_row("salinity lost with each litre replaced by fresh water", salt)
    return table


def _place(plan: Plan, key: str, sensor: Sensor) -> str:
    match sensor:
        case FloatSwitch():
            height = show.length(sensor.height, plan.site.site.units)
            place = f"{sensor.duty} at {height} in {sensor.chamber}, closed when {sensor.closed}"
            return place if key not in plan.votes else f"{place}, {_voting(plan.votes[key], key)}"
        case FlowMeter():
            return f"on {sensor.on}, {sensor.pulses / 1000:g} pulses/l"
        case LeakSensor():
            return f"on {sensor.place}, closed when {sensor.closed_when}"
        case MainsSensor():
            return f"closed when {sensor.closed_when}"
        case LevelSensor():
            units = plan.site.site.units
            low, high = (
                f"{show.length(point.level, units)} at {show.share(point.share)}"
                for point in (sensor.low, sensor.high)
            )
            off = show.length(sensor.tolerance, units)
            return f"level in {sensor.chamber}: {low}, {high}, good to {off}"


def _voting(vote: Vote, key: str) -> str:
    others = " and ".join(other for other in vote.ids if other != key)
    return f"votes {vote.pattern} with {others}"


def _wire(sensor: Sensor) -> str:
    """Where a sensor is wired: its pin, or select and channel of its converter."""
    if isinstance(sensor, PinSensor):
        return f"GPIO{sensor.pin}"
    return f"{sensor.converter} {sensor.select}, channel {sensor.channel}"


def _signals(plan: Plan) -> Table:
    table = _table("id", "pin", "kind", "what", numbers=(1,))
    for key, sensor in plan.site.sensors.items():
        table.add_row(key, _wire(sensor), sensor.kind, _place(plan, key, sensor))
    return table


def _outputs(plan: Plan) -> Table:
    table = _table("id", "pin", "kind", "off when the pin is", numbers=(1,))
    for key, output in plan.site.outputs.items():
        table.add_row(key, f"GPIO{output.pin}", output.kind, output.safe)
    return table


def _clears(row: Row) -> str:
    if (
        row.effect is Effect.CUT_PUMP
        and row.clear is Clear.WHEN_CLEAR
        and row.hazard not in NOT_WATER
    ):
        return f"when clear, {len(RESTS_S)} restarts"
    return row.clear.value


def _stricter(row: Row) -> str:
    return f"; stricter here: {', '.join(row.stricter)}" if row.stricter else ""


def _voted(plan: Plan, row: Row) -> str:
    vote = plan.votes.get(row.subject)
    if vote is None or vote.needed == 1 or row.hazard not in VOTING:
        return ""
    return f"; {_voting(vote, row.subject)}"


def _matrix(plan: Plan) -> Table:
    table = _table("row", "cause", "after", "priority", "effect", "ends", numbers=(2,))
    for row in plan.rows:
        if row.hazard == "signal" and not row.stricter:
            continue  # one for every sensor, all alike: said once below
        delay = show.duration(row.delay_s) if row.delay_s else "filter"
        table.add_row(
            row.id,
            f"{row.cause}{_voted(plan, row)}{_stricter(row)}",
            delay,
            row.priority.name.lower(),
            EFFECTS[row.effect],
            _clears(row),
        )
    signals = [row for row in plan.rows if row.hazard == "signal" and not row.stricter]
    if signals:
        first = signals[0]
        table.add_row(
            f"signal. + each of {len(signals)} sensors",
            "it cannot be read, or contradicts another",
            show.duration(first.delay_s),
            first.priority.name.lower(),
            EFFECTS[first.effect],
            _clears(first),
        )
    return table


def _pauses(plan: Plan) -> Table:
    table = _table("kind", "usually", "longest", "stops", "suppresses", numbers=(1, 2))
    for kind in PAUSE_KINDS:
        usual_s, longest_s = pausing.times_s(plan.site, kind)
        stops = ", ".join(pausing.pumps_of(plan.site, kind)) or "the circuit of the pump named"
        silent = ", ".join(pausing.KINDS[kind].suppressed)
        table.add_row(kind, show.duration(usual_s), show.duration(longest_s), stops, silent)
    return table


def _print_findings(console: Console, judged: Verdict) -> None:
    console.print()
    console.print("Findings", style="bold")
    styles = {Weight.FACT: "", Weight.CONDITION: "yellow", Weight.UNSAFE: "bold red"}
    for finding in judged.findings:
        line = f"{MARKS[finding.weight]}{finding.subject}: {finding.sentence}"
        console.print(line, style=styles[finding.weight], soft_wrap=True)
        if finding.remedy:
            console.print(f"    remedy: {finding.remedy}", soft_wrap=True)
    console.print()
    console.print(f"Verdict: {judged.words}", style="bold")
