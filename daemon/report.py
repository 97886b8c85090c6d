"""What `check` prints: the plumbing as read, its figures, the matrix, the findings, the verdict."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table

from rules.matrix import Effect, Row
from rules.memory import RESTS_S
from rules.plan import Plan
from rules.site import show
from rules.site.passages import Branch
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, MainsSensor, Sensor
from rules.verdict import Verdict, Weight

WIDTH = 132
MARKS = {Weight.FACT: "  ", Weight.CONDITION: "? ", Weight.UNSAFE: "! "}
EFFECTS = {
    Effect.ALARM_ONLY: "alarm",
    Effect.INHIBIT_TOP_OFF: "alarm, top-off shut",
    Effect.CUT_PUMP: "alarm, pump cut, top-off shut",
}


def print_check(plan: Plan, judged: Verdict) -> None:
    """Print the whole report to standard output."""
    console = Console(width=None if Console().is_terminal else WIDTH, highlight=False)
    head = plan.site.site
    console.print(f"{head.name} ({head.id})", style="bold")
    for title, table in (
        ("Chambers (heights above each one's bottom; levels while all runs)", _chambers(plan)),
        ("Passages", _passages(plan)),
        ("Pumps", _pumps(plan)),
        ("Drains: what they carry with their chamber at its allowed level", _drains(plan)),
        ("Signals", _signals(plan)),
        ("Outputs", _outputs(plan)),
        ("Cause and effect", _matrix(plan)),
    ):
        console.print()
        console.print(title, style="bold")
        console.print(table)
    _print_findings(console, judged)


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


def _pumps(plan: Plan) -> Table:
    units = plan.site.site.units
    table = _table(
        "id", "lifts", "against", "water over intake", "drain-down", "room below",
        numbers=(1, 2, 3, 4, 5),
    )  # fmt: skip
    for lift in plan.figures.lifts:
        table.add_row(
            lift.pump,
            show.flow(lift.flow_m3_s, units),
            show.length(lift.head_m, units),
            show.volume(lift.dry_m3, units),
            show.volume(lift.drain_down_m3, units),
            show.volume(lift.room_m3, units),
        )
    return table


def _drains(plan: Plan) -> Table:
    units = plan.site.site.units
    table = _table(
        "chamber", "drain", "capacity", "with it blocked", "spills after", numbers=(2, 3, 4)
    )
    for drained in plan.figures.drained:
        for one in drained.blocked:
            table.add_row(
                drained.chamber,
                one.drain,
                show.flow(drained.capacity_m3_s[one.drain], units),
                show.flow(one.left_m3_s, units),
                show.duration(one.spill_s),
            )
        table.add_row(
            drained.chamber,
            "[bold]all but emergency[/bold]",
            show.flow(drained.firm_m3_s, units),
            f"for {show.flow(drained.inflow_m3_s, units)}",
            f"margin {drained.margin:.2f}",
        )
    return table


def _place(plan: Plan, sensor: Sensor) -> str:
    match sensor:
        case FloatSwitch():
            height = show.length(sensor.height, plan.site.site.units)
            return f"{sensor.duty} at {height} in {sensor.chamber}, closed when {sensor.closed}"
        case FlowMeter():
            return f"on {sensor.on}, {sensor.pulses / 1000:g} pulses/l"
        case LeakSensor():
            return f"on {sensor.place}, closed when {sensor.closed_when}"
        case MainsSensor():
            return f"closed when {sensor.closed_when}"


def _signals(plan: Plan) -> Table:
    table = _table("id", "pin", "kind", "what", numbers=(1,))
    for key, sensor in plan.site.sensors.items():
        table.add_row(key, f"GPIO{sensor.pin}", sensor.kind, _place(plan, sensor))
    return table


def _outputs(plan: Plan) -> Table:
    table = _table("id", "pin", "kind", "off when the pin is", numbers=(1,))
    for key, output in plan.site.outputs.items():
        table.add_row(key, f"GPIO{output.pin}", output.kind, output.safe)
    return table


def _clears(row: Row) -> str:
    if row.effect is Effect.CUT_PUMP and row.clear.value == "when clear":
        return f"when clear, {len(RESTS_S)} restarts"
    return row.clear.value


def _matrix(plan: Plan) -> Table:
    table = _table("row", "cause", "after", "priority", "effect", "ends", numbers=(2,))
    for row in plan.rows:
        delay = show.duration(row.delay_s) if row.delay_s else "filter"
        table.add_row(
            row.id, row.cause, delay, row.priority.name.lower(), EFFECTS[row.effect], _clears(row)
        )
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
