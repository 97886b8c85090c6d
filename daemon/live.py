"""The live view in the terminal: levels against rims, flow against capacity, what happens."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import isinf
from typing import Any, Self

from rich import box
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from daemon.status import paused
from rules.signals import Condition, Decision, Event, Phase
from rules.site import show
from rules.site.model import Site

BAR = 19
SHOWN_EVENTS = 7
SHOWN_MESSAGES = 3
PANEL: dict[str, Any] = {"box": box.ROUNDED, "title_align": "left", "expand": True}
LOUD = {"alarm-raised", "pump-cut", "pump-held"}
PAUSED = "bold yellow"
PHASE_STYLE = {
    Phase.STARTING: "cyan",
    Phase.PROVING: "cyan",
    Phase.RUNNING: "green",
    Phase.PAUSED: PAUSED,
    Phase.WAITING: "bold red",
    Phase.LATCHED: "bold red",
}


@dataclass(frozen=True, slots=True)
class Moment:
    """What the view shows at one time.

    `events` are those since the last moment; `levels_m` are the plant's own, above each bottom.
    """

    t_s: float
    decision: Decision
    events: tuple[Event, ...]
    levels_m: Mapping[str, float]
    spilled_m3: float
    speed: float


def _left(condition: Condition) -> str:
    """What is left of a main drain, with its band."""
    band = f"{condition.least * 100:.0f} to {show.share(condition.most)}"
    return f"{show.share(condition.share or 0.0)} ({band})"


class LiveView:
    """Redraws from a thread of its own; `show` only leaves the newest moment for it."""

    def __init__(
        self, site: Site, title: str, starts_at: str, console: Console | None = None
    ) -> None:
        self._site = site
        self._title = title
        # a story's clock: any day will do, none is shown
        self._starts = datetime.strptime(starts_at, "%H:%M").replace(tzinfo=UTC)
        self._moment: Moment | None = None
        self._events: deque[tuple[float, Event]] = deque(maxlen=SHOWN_EVENTS)
        self._messages: deque[str] = deque(maxlen=SHOWN_MESSAGES)
        self.note = ""
        self._live = Live(
            # names of the site are shown as they are written, brackets and all
            console=console or Console(markup=False),
            get_renderable=self.render,
            refresh_per_second=8,
            transient=False,
            vertical_overflow="crop",
        )

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(self, *_exc: object) -> None:
        self._live.stop()

    def show(self, moment: Moment) -> None:
        """Leave a moment to be drawn."""
        for event in moment.events:
            self._events.append((moment.t_s, event))
        self._moment = moment

    def message(self, text: str) -> None:
        """Leave a message as it came to the phone."""
        self._messages.append(text)

    def render(self) -> RenderableType:
        """The picture of the newest moment."""
        moment = self._moment
        if moment is None:
            return Text("The plant settles and the guard looks round ...")
        top = Table.grid(expand=True)
        top.add_column(ratio=65)
        top.add_column(ratio=63)
        right = [self._pumps(moment), self._drains(moment)]
        if moment.decision.levels:
            right.append(self._sensed(moment))
        top.add_row(self._levels(moment), Group(*right))
        return Group(self._head(moment), top, self._happened(), self._phone())

    def _clock(self, t_s: float) -> str:
        return (self._starts + timedelta(seconds=t_s)).strftime("%H:%M:%S")

    def _head(self, moment: Moment) -> Text:
        spilled = moment.spilled_m3
        floor = f"{show.volume(spilled, self._site.site.units)} on the floor"
        return Text.assemble(
            (f" {self._site.site.name} ", "bold reverse"),
            f"  {self._title}  ",
            (self._clock(moment.t_s), "bold"),
            f"  x{moment.speed:g}  ",
            (floor, "bold red" if spilled > 1e-6 else "green"),
            f"  {self.note}",
        )

    def _bar(self, level_m: float, key: str) -> Text:
        rim = self._site.chambers[key].rim
        filled = min(BAR, max(0, round(level_m / rim * BAR)))
        floats = {min(BAR - 1, int(f.height / rim * BAR)) for f in self._site.floats(key).values()}
        left = rim - level_m
        style = "red" if left < 0.006 else "yellow" if left < 0.015 else "blue"
        bar = Text()
        for i in range(BAR):
            mark = "┆" if i in floats else "━" if i < filled else "·"
            bar.append(mark, style if i < filled else "dim")
        bar.append("▏", "bold")
        return bar

    def _levels(self, moment: Moment) -> Panel:
        units = self._site.site.units
        table = Table(box=None, padding=(0, 1), header_style="dim")
        table.add_column("chamber", no_wrap=True, max_width=17)
        table.add_column("┆ = float", no_wrap=True, min_width=BAR + 1)
        table.add_column("level", no_wrap=True, justify="right")
        table.add_column("to rim", no_wrap=True, justify="right")
        for key, level in moment.levels_m.items():
            left = max(0.0, self._site.chambers[key].rim - level)
            table.add_row(
                self._site.label(key),
                self._bar(level, key),
                show.length(level, units),
                Text(show.length(left, units), "bold red" if left < 0.006 else ""),
            )
        return Panel(table, title="levels, as the plant has them", **PANEL)

    def _pumps(self, moment: Moment) -> Panel:
        units = self._site.site.units
        lines = Table.grid(padding=(0, 2))
        for pump in moment.decision.pumps:
            style = PHASE_STYLE[pump.phase]
            dry = "" if isinf(pump.dry_s) else f"dry in {show.duration(pump.dry_s)}"
            lines.add_row(
                self._site.label(pump.pump),
                Text(pump.phase.value, style),
                show.flow(pump.flow_m3_s, units),
                Text(dry, "bold red"),
            )
        shown: list[RenderableType] = [lines]
        if moment.decision.pause is not None:
            shown.append(Text(paused(moment.decision.pause, self._site), PAUSED))
        return Panel(Group(*shown), title="pump", **PANEL)

    def _drains(self, moment: Moment) -> Panel:
        units = self._site.site.units
        table = Table(box=None, padding=(0, 1), header_style="dim")
        table.add_column("drains of", no_wrap=True, max_width=15)
        for column in ("return flow", "carry", "margin", "spills in"):
            table.add_column(column, justify="right", no_wrap=True)
        for drain in moment.decision.drains:
            short = drain.margin < 1.1
            table.add_row(
                self._site.label(drain.chamber),
                show.flow(drain.return_m3_s, units),
                show.flow(drain.capacity_m3_s, units),
                "-" if isinf(drain.margin) else Text(f"{drain.margin:.2f}", "red" if short else ""),
                "-" if isinf(drain.spill_s) else Text(show.duration(drain.spill_s), "bold red"),
            )
        left = [
            Text(f"main drain of the {self._site.label(drain.chamber)}: {_left(drain.condition)}")
            for drain in moment.decision.drains
            if drain.condition.share is not None
        ]
        return Panel(Group(table, *left), title="return flow against drain capacity", **PANEL)

    def _sensed(self, moment: Moment) -> Panel:
        units = self._site.site.units
        lines = Table.grid(padding=(0, 2))
        for level in moment.decision.levels:
            known = level.level_m is not None
            lines.add_row(
                self._site.label(level.sensor),
                show.length(level.level_m, units) if level.level_m is not None else "not known",
                Text(level.why, "" if known else "bold red"),
            )
        return Panel(lines, title="levels, as the sensors read them", **PANEL)

    def _happened(self) -> Panel:
        table = Table(box=None, show_header=False, padding=(0, 1))
        table.add_column(no_wrap=True, min_width=8)
        table.add_column(no_wrap=True, overflow="ellipsis")
        for t_s, event in self._events:
            loud = event.kind.value in LOUD
            table.add_row(self._clock(t_s), Text(event.text, "bold red" if loud else ""))
        if not self._events:
            table.add_row(Text("nothing yet", "dim"))
        return Panel(table, title="what happens", **PANEL)

    def _phone(self) -> Panel:
        lines: list[RenderableType] = [Text(text) for text in self._messages]
        shown = Group(*lines) if lines else Text("nothing yet", "dim")
        return Panel(shown, title="on the phone", **PANEL)
