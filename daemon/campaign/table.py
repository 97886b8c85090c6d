"""What `campaign` prints: water, dry pumps, needless stops, false trips, how soon faults are told.

Figures come from `simulator.campaign.tally`; here they are only put into words and units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table

from rules.site import show
from rules.site.show import Units

WIDTH = 132
MOST_LISTED = 20
LEAST_YEARS = 0.1  # a rate from less is no rate
KEEPERS = {
    "guard": "the guard",
    "none": "no guard",
    "high-float": "high float on the relay",
    "two-floats": "high and low float",
    "low-flow": "low-flow cut at 80 %",
    "oracle": "knows what is coming",
}
LABELS = {
    "healthy": "healthy",
    "one": "one fault",
    "two-drains": "two drains",
    "drain-and-sensor": "a drain and a sensor",
    "many": "many faults",
}


def print_result(result: Mapping[str, Any], units: Units, replay: str) -> None:
    """Print a campaign's result; `replay` is the command for a night, without its number."""
    width = None if Console().is_terminal else WIDTH
    console = Console(width=width, highlight=False, markup=False)
    for title, table in (
        ("By kind of night", _by(result["by_label"], LABELS, result["all"], units)),
        ("The same nights with something else in the guard's place", _beside(result, units)),
        ("How soon faults are named, and how long before harm", _faults(result["faults"])),
    ):
        if table.row_count:
            console.print()
            console.print(title, style="bold")
            console.print(table)
    _print_listed(console, result, replay)
    _print_ends(console, result)


def _table(*columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for i, column in enumerate(columns):
        table.add_column(column, justify="right" if i else "left", no_wrap=not i)
    return table


COLUMNS = (
    "nights", "over a rim", "in all", "worst", "leaked", "pump dry", "stood", "needless",
    "false trips a year",
)  # fmt: skip


def _by(rows: Mapping[str, Any], names: Mapping[str, str], whole: Any, units: Units) -> Table:
    table = _table("", *COLUMNS)
    for key, sums in rows.items():
        table.add_row(names.get(key, key), *_cells(sums, units))
    if whole is not None and len(rows) > 1:
        table.add_section()
        table.add_row("all", *_cells(whole, units))
    return table


def _beside(result: Mapping[str, Any], units: Units) -> Table:
    return _by(result["beside"], KEEPERS, None, units)


def _cells(sums: Mapping[str, Any], units: Units) -> tuple[str, ...]:
    return (
        str(sums["nights"]),
        str(sums["spilled_nights"]),
        show.volume(sums["spilled_l"] / 1e3, units),
        show.volume(sums["spilled_worst_l"] / 1e3, units),
        show.volume(sums["leaked_l"] / 1e3, units),
        show.duration(sums["dry_s"]),
        f"{sums['stood_h']:.1f} h",
        f"{sums['needless_h']:.1f} h",
        rate(sums),
    )


def rate(sums: Mapping[str, Any]) -> str:
    """False trips a year with the interval that the count allows; the count where time is short."""
    if sums["healthy_years"] < LEAST_YEARS:
        return f"{sums['false_trips']} in {sums['healthy_years'] * 8766.0:.0f} h"
    low, high = sums["interval_a_year"]
    return f"{sums['false_trips_a_year']:.2g} ({low:.2g} to {high:.2g})"


def _faults(faults: Mapping[str, Any]) -> Table:
    table = _table(
        "fault", "times", "alarm stood", "never named", "named after", "9 in 10", "worst",
        "before harm", "9 in 10 over", "least",
    )  # fmt: skip
    for kind, sums in faults.items():
        never = sums["never_share"]
        table.add_row(
            kind,
            str(sums["count"]),
            str(sums["alarm_stood"] or ""),
            "" if never is None else f"{never:.0%}",
            *_spread(sums["after_s"]),
            *_spread(sums["lead_s"]),
        )
    return table


def _spread(spread: Mapping[str, float] | None) -> tuple[str, str, str]:
    if spread is None:
        return "", "", ""
    median, nine, worst = (_time(spread[key]) for key in ("median", "nine_in_ten", "worst"))
    return median, nine, worst


def _time(seconds: float) -> str:
    return f"-{show.duration(-seconds)}" if seconds < 0.0 else show.duration(seconds)


def _print_listed(console: Console, result: Mapping[str, Any], replay: str) -> None:
    for key, title in (
        ("failures", "Failed"),
        ("said_before", "Spilled, and the assessment had said so before"),
        ("beyond", "Spilled with many faults at once, which nothing is promised of"),
    ):
        found: Sequence[Mapping[str, Any]] = result[key]
        if not found:
            continue
        console.print()
        console.print(f"{title} ({len(found)})", style="bold red" if key == "failures" else "bold")
        for night in found[:MOST_LISTED]:
            console.print(failure_line(night, replay), soft_wrap=True)
        if len(found) > MOST_LISTED:
            console.print(f"... and {len(found) - MOST_LISTED} more; --report lists them all")


def failure_line(night: Mapping[str, Any], replay: str) -> str:
    """One night that did not go well, with the command that replays it."""
    story = str(night["story"]).strip().splitlines()
    told = story[-1] if story else ""  # of a trouble's trace the last line says what it was
    return f"{'; '.join(night['why'])}: {told}  replay: {replay} --night {night['night']}"


def _print_ends(console: Console, result: Mapping[str, Any]) -> None:
    console.print()
    counts, whole = result["verdicts"], result["all"]
    console.print(
        f"{result['nights']} nights, {result['simulated_years']:.2f} years: "
        + ", ".join(f"{count} {word}" for word, count in counts.items())
    )
    console.print(
        f"False trips a year, with 95 % confidence: {rate(whole)}; healthy time "
        f"{whole['healthy_years']:.2f} years"
    )
    if result["differs"] is not None:
        differs = result["differs"]
        console.print(
            f"Every look against the quick way: {differs['differ']} of {differs['nights']} nights "
            "went otherwise"
        )
        for number, sentences in differs["which"].items():
            console.print(f"  night {number}: {'; '.join(sentences)}", soft_wrap=True)
    if cpu := result["cpu_s"]:
        console.print(
            f"A night took {cpu['median']:.2f} s of a processor as a rule, nine in ten under "
            f"{cpu['nine_in_ten']:.2f} s, the longest {cpu['worst']:.1f} s"
        )
