"""A drill whose happening is a recording: a night that really was, as a test of the rules.

The readings are played as they were, with no plant behind them. So such a drill states what the
guard does, and nothing about where the water goes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from rules.signals import EventKind
from rules.site.base import Table
from rules.site.quantities import Duration
from simulator.story.statements import (
    MustArrive,
    MustRun,
    MustStayUnder,
    NoAlertTwice,
    NoDryRun,
    NoLoss,
    NoSpill,
    Statement,
)

OF_WATER = (MustRun, MustStayUnder, NoDryRun, NoLoss, NoSpill)
OF_ALERTS = (MustArrive, NoAlertTwice)

SPARE_S = 1.0
"""A drill that is cut out of a recording allows so much more than the rules of its day took [s]."""

_File = Annotated[str, StringConstraints(min_length=1, max_length=1000)]


class Recorded(Table):
    """The recording that a drill plays."""

    file: _File = Field(description="the recording, or a CSV of readings, from this file's folder")
    from_: Duration = Field(
        0.0, alias="from", description="where in the recording the drill begins: its t_s [s]"
    )
    site: _File | None = Field(
        None, description="the site file it is played on; without one, the recording's own"
    )
    assume: Literal["bad", "good"] = Field(
        "bad",
        description="what a sensor that is not in it is taken for: bad, as one that cannot be "
        "read, or good, as on a good day",
    )

    def beside(self, folder: Path) -> Recorded:
        """The same with its files found from `folder`; a demo site keeps its name."""
        site = self.site
        if site is not None and site.endswith(".toml"):
            site = str(folder / site)
        return self.model_copy(update={"file": str(folder / self.file), "site": site})


def unfit(happens: int, must: Iterable[Statement], must_not: Iterable[Statement]) -> str | None:
    """Why these cannot stand in a drill that plays a recording, as a sentence; None if they can."""
    if happens:
        return "what happens in a recorded night stands in its recording: take out [[happens]]"
    for name, statements in (("must", must), ("must_not", must_not)):
        for number, statement in enumerate(statements, 1):
            where = f'{name} {number}, "{statement.what}"'
            if isinstance(statement, OF_WATER):
                return f"{where}, is about water: a recording has readings, and no plant to look at"
            if isinstance(statement, OF_ALERTS):
                return f"{where}, is about alerts: a recording holds none that were sent"
    return None


@dataclass(frozen=True, slots=True)
class Told:
    """What the rules of today say at a moment of a recording, as a cut asks for it.

    `t_s` is from the start of the cut [s]; `row` is the row of the matrix that an alarm is of.
    """

    t_s: float
    kind: str
    subject: str
    row: str


def drill_text(title: str, story: str, starts_at: str, lasts_s: float, recorded: Recorded) -> str:
    """The head of a drill's file: all but its statements."""
    lines = [
        f"title = {_quoted(title[:80])}",
        f"story = {_quoted(story)}",
        f"starts_at = {_quoted(starts_at)}",
        f"lasts = {_quoted(_seconds(lasts_s))}",
        "",
        "[recording]",
        f"file = {_quoted(recorded.file)}",
        f"from = {_quoted(_seconds(recorded.from_))}",
    ]
    if recorded.site is not None:
        lines.append(f"site = {_quoted(recorded.site)}")
    if recorded.assume != "bad":
        lines.append(f"assume = {_quoted(recorded.assume)}")
    return "\n".join([*lines, ""])


def statements_text(told: Iterable[Told]) -> str:
    """What today's rules do, as statements: each alarm and each cut, the first of its kind.

    Where there was no alarm, or no cut, there must be none.
    """
    parts = list(_statements(tuple(told)))
    return "".join(
        f"\n[[{name}]]\n" + "".join(f"{line}\n" for line in part) for name, part in parts
    )


def _statements(told: tuple[Told, ...]) -> Iterator[tuple[str, list[str]]]:
    alarms: dict[str, float] = {}
    cuts: dict[str, float] = {}
    for one in told:
        if one.kind == EventKind.ALARM_RAISED:
            alarms.setdefault(one.row.partition(".")[0], one.t_s)
        elif one.kind == EventKind.PUMP_CUT:
            cuts.setdefault(one.subject, one.t_s)
    for hazard, t_s in alarms.items():
        yield "must", ['what = "alarm"', f"hazard = {_quoted(hazard)}", _within(t_s)]
    for pump, t_s in cuts.items():
        yield "must", ['what = "pump cut"', f"where = {_quoted(pump)}", _within(t_s)]
    if not alarms:
        yield "must_not", ['what = "alarm"']
    if not cuts:
        yield "must_not", ['what = "pump cut"']


def _within(t_s: float) -> str:
    return f'within = "{ceil(t_s + SPARE_S)} s"'


def _seconds(time_s: float) -> str:
    return f"{round(time_s, 3)!r} s"


def _quoted(text: str) -> str:
    """Text as TOML writes it; JSON's way to quote is TOML's, but for one control character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
