"""The interview at a terminal: a heading for each part, a sentence and a prompt a question."""

from __future__ import annotations

import difflib
import sys
from pathlib import Path
from typing import Any

from rich.console import Console

from daemon.wizard.interview import Back
from daemon.wizard.question import Part, Question

BACK = "back"
MOST_CHANGES = 40
GUIDE = (
    "Press Enter to take the value in [brackets]. Write every quantity with its unit, in any unit: "
    "40 mm, 1.5 in, 900 gal/h. Type back to return to the question before. Ctrl-C stops, and keeps "
    "your answers for the next run."
)


class Terminal:
    """Asks at standard input and output."""

    def __init__(self) -> None:
        self.console = Console(highlight=False, markup=False)
        self.part: Part | None = None
        self.about = ""
        if sys.stdin.isatty():
            import readline  # noqa: F401 - gives input() a line that can be edited

    def say(self, text: str) -> None:
        """A sentence of its own."""
        self.console.print(text)

    def __call__(self, question: Question[Any], offered: str, trouble: str, /) -> str:
        """Ask one question; raises Back when the person wants the one before."""
        if question.part is not self.part:
            self.part = question.part
            self.console.print()
            self.console.print(f"{question.part.place}: {question.part.title}", style="bold")
            self.console.print(question.part.intro)
            self.about = ""
        if question.about != self.about:
            self.about = question.about
            self.console.print(f"\n  {question.about}", style="bold")
        if trouble:
            self.console.print(f"  Not so: {trouble}.", style="yellow")
        else:
            self.console.print()
            self.console.print(f"  {question.why}", style="dim")
        self.console.file.flush()
        return _typed(f"  {question.label} [{offered}]: ")


def _typed(prompt: str) -> str:
    """A line as it was typed; raises Back where it asks for that."""
    while True:
        typed = " ".join(input(prompt).split())
        if typed.lower() == BACK:
            raise Back
        if typed.isprintable():
            return typed
        print("  Not so: this holds signs that are no text.")


def agrees(file: Path, before: str, after: str) -> bool:
    """Show what would change in a file, and ask whether to write it; raises Back."""
    changes = [
        line
        for line in difflib.unified_diff(before.split("\n"), after.split("\n"), n=0, lineterm="")
        if not line.startswith(("---", "+++", "@@"))
    ]
    print(f"\nIn {file} this would change (- before, + after):")
    for line in changes[:MOST_CHANGES]:
        print(f"  {line}")
    if len(changes) > MOST_CHANGES:
        print(f"  and {len(changes) - MOST_CHANGES} more lines")
    while True:
        typed = _typed("  Write it, yes or no [no]: ").lower() or "no"
        if typed in ("y", "yes", "n", "no"):
            return typed.startswith("y")
        print("  Not so: answer yes or no.")
