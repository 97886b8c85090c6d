"""Questions about any run of pipe: its size, its length, its elbows."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.wizard.form import Form
from daemon.wizard.question import Found, Raw, at
from daemon.wizard.reading import count, fittings, length_within, pipe, quantity
from rules.site.quantities import Size

PIPE = (
    "Its size and schedule, its outside diameter and wall, or its bore: 1.5 in sch40, "
    "50x2.4 mm, 40.9 mm bore."
)
MOST_ELBOWS = 20


@dataclass(frozen=True, slots=True)
class Run:
    """What is usual for a run: pipe, length [m], elbows, and the fittings before and after them."""

    pipe: str
    length_m: float
    elbows: int
    before: tuple[str, ...] = ("entrance-projecting",)
    after: tuple[str, ...] = ("exit",)


def run(form: Form, table: str, words: str, usual: Run) -> None:
    """Ask for the run of pipe that `table` describes."""
    desk = form.desk
    form.plain((table, "pipe"), "pipe", (f"Pipe of the {words}", PIPE), usual.pipe, pipe)
    form.measure(
        (table, "length"), "length", (f"Length of the {words}", "Length of pipe from end to end."),
        desk.run(usual.length_m), quantity(Size, length_within(0.01, 100.0, desk.units)),
    )  # fmt: skip
    elbows = form.ask(
        "elbows", (f"Elbows of the {words}", "How many elbows of 90 degrees are on the way."),
        str(usual.elbows), count(0, MOST_ELBOWS), _elbows_of(table),
    ).value  # fmt: skip
    all_of_them = (*usual.before, *["elbow-90"] * elbows, *usual.after)
    form.plain(
        (table, "fittings"), "fittings",
        (f"Fittings of the {words}",
         "Every fitting on the way, in order, with commas between them."),
        ", ".join(all_of_them),
        fittings(elbows), quiet=True, absent="",
    )  # fmt: skip


def _elbows_of(table: str) -> Found:
    listed_in = at(table, "fittings", "")

    def found(raw: Raw) -> str | None:
        text = listed_in(raw)
        return None if text is None else str(text.split(", ").count("elbow-90"))

    return found
