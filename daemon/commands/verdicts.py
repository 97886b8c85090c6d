"""What came of a drill, printed for people: statements, water, and the night without a guard."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from rules.site import show
from rules.site.model import Site
from simulator.night.outcome import Outcome
from simulator.night.replayed import RECORDING


def summary(site: Site, outcome: Outcome) -> str:
    """One line: spilled, dry, cut."""
    if outcome.source == RECORDING:
        cut_s = outcome.cut_s
        cut = "no cut" if cut_s is None else f"cut {show.duration(cut_s)} after it began"
        return f"{cut}; where water would have gone, a recording does not tell"
    units = site.site.units
    parts = [f"{show.volume(outcome.spilled_total_m3 + outcome.leaked_m3, units)} on the floor"]
    if outcome.cause_to_cut_s is not None:
        parts.append(f"cut {show.duration(outcome.cause_to_cut_s)} after the cause")
    elif outcome.guarded:
        parts.append("no cut")
    parts.append(f"pump dry for {show.duration(outcome.dry_s)}")
    return ", ".join(parts)


def print_outcome(site: Site, outcome: Outcome, bare: Outcome | None) -> None:
    """Print one drill's verdict."""
    console = Console(highlight=False, soft_wrap=True, markup=False)
    word, style = ("HELD", "bold green") if outcome.passed else ("NOT HELD", "bold red")
    if outcome.not_applicable:
        console.print(f"{outcome.drill}: not on this site: {outcome.not_applicable}")
        return
    said = Text.assemble(f"{outcome.drill}: ", (word, style), f"  (seed {outcome.seed})")
    console.print(said)
    for finding in outcome.findings:
        mark = "held    " if finding.held else "NOT HELD"
        console.print(f"  {mark}  {finding.statement}: {finding.detail}")
    console.print(f"  with the guard:     {summary(site, outcome)}")
    if bare is not None:
        console.print(f"  without the guard:  {summary(site, bare)}")
