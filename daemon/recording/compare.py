"""What was done then beside what today's rules do: one entry for each thing that happened."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from typing import Literal

from daemon.recording.format import Said
from daemon.recording.read import Row
from daemon.recording.replay import Played
from rules.signals import EventKind
from rules.site.model import Site
from rules.site.outputs import PumpOutput, TopOffOutput

Verdict = Literal["same", "earlier", "later", "only today", "not today", "today"]
"""How a happening of now compares with then; "today" where nobody knows what was done then."""

SAME_S = 1e-6


@dataclass(frozen=True, slots=True)
class Happened:
    """One event and when [s]."""

    t_s: float
    said: Said

    @property
    def key(self) -> tuple[str, str, str]:
        """What kind of thing it is that happened, and to what."""
        return self.said.kind, self.said.subject, self.said.row


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened: then, now, or both."""

    said: Said
    then_s: float | None
    now_s: float | None
    verdict: Verdict

    @property
    def t_s(self) -> float:
        """When it happened first, then or now [s]."""
        return min(t_s for t_s in (self.then_s, self.now_s) if t_s is not None)


@dataclass(slots=True)
class Differing:
    """How long one output was commanded otherwise than then, and since when [s]."""

    output: str
    rows: int = 0
    lasts_s: float = 0.0
    first_s: float | None = None
    first_then: bool = False


class Comparison:
    """Fed with every look of a replay; `from_s` is from when on it counts [s]."""

    def __init__(self, site: Site, *, ours: bool, from_s: float = 0.0) -> None:
        self._site, self._ours, self._from_s = site, ours, from_s
        self.then: list[Happened] = []
        self.now: list[Happened] = []
        self.outputs = {key: Differing(key) for key in site.outputs}
        self.rows = self.looks = 0
        self.first_s: float | None = None
        self.last_s = self.longest_row_s = 0.0
        self._row_s: float | None = None
        self._on: tuple[bool | None, ...] = ()
        self._known: set[str] = set()

    def take(self, played: Played) -> None:
        """Compare one look."""
        t_s, row = played.t_s, played.row
        self.first_s = t_s if self.first_s is None else self.first_s
        self.last_s = t_s
        counts = t_s >= self._from_s - SAME_S
        self.looks += 1
        if counts:
            self.now += [Happened(t_s, Said.of(event)) for event in played.decision.events]
        if row is None:
            return
        self.rows += 1
        step_s = 0.0 if self._row_s is None else t_s - self._row_s
        self.longest_row_s = max(self.longest_row_s, step_s)
        self._row_s = t_s
        happened = row.said if self._ours else tuple(self._turned(row))
        self._on = row.on
        if counts:
            self.then += [Happened(t_s, said) for said in happened]
            self._compare_outputs(row, played, step_s)

    def _compare_outputs(self, row: Row, played: Played, step_s: float) -> None:
        pairs = zip(self.outputs.values(), row.on, played.decision.outputs, strict=True)
        for differing, then, now in pairs:
            if then is not None:
                self._known.add(differing.output)
            if then is None or then == now:
                continue
            differing.rows += 1
            differing.lasts_s += step_s
            if differing.first_s is None:
                differing.first_s, differing.first_then = row.t_s, then

    def _turned(self, row: Row) -> Iterator[Said]:
        """What outputs that turned tell of readings from elsewhere, which hold no events."""
        for (key, output), was, on in zip(
            self._site.outputs.items(), self._on or row.on, row.on, strict=True
        ):
            if was is None or on is None or was == on:
                continue
            name = self._site.label(key)
            match output:
                case PumpOutput():
                    kind = EventKind.PUMP_STARTED if on else EventKind.PUMP_CUT
                    text = f"{self._site.label(output.pump)} {'started' if on else 'cut'}"
                    yield Said(kind.value, output.pump, "", text)
                case TopOffOutput():
                    kind = EventKind.TOP_OFF_OPENED if on else EventKind.TOP_OFF_CLOSED
                    yield Said(kind.value, key, "", f"{name} {'opened' if on else 'closed'}")

    @property
    def known(self) -> frozenset[str]:
        """The outputs of which the recording tells what was commanded then."""
        return frozenset(self._known)

    @property
    def compared(self) -> bool:
        """True if the recording tells anything of what was done then."""
        return self._ours or bool(self._known)

    @property
    def same(self) -> bool:
        """True if nothing is known to have been done otherwise than today's rules do."""
        return not self.differing() and all(
            entry.verdict in ("same", "today") for entry in self.entries()
        )

    @property
    def first_difference_s(self) -> float:
        """When something was first done otherwise [s]; infinite if nothing was."""
        outputs = (o.first_s for o in self.outputs.values() if o.first_s is not None)
        entries = (e.t_s for e in self.entries() if e.verdict not in ("same", "today"))
        return min((*outputs, *entries), default=inf)

    def differing(self) -> tuple[Differing, ...]:
        """The outputs that were commanded otherwise."""
        return tuple(output for output in self.outputs.values() if output.rows)

    def entries(self) -> tuple[Entry, ...]:
        """Everything that happened, in order of time."""
        then_of: dict[tuple[str, str, str], list[Happened]] = defaultdict(list)
        now_of: dict[tuple[str, str, str], list[Happened]] = defaultdict(list)
        for happened in self.then:
            then_of[happened.key].append(happened)
        for happened in self.now:
            now_of[happened.key].append(happened)
        found = [
            self._entry(then, now)
            for key in dict.fromkeys([*then_of, *now_of])
            for then, now in _pairs(then_of[key], now_of[key])
        ]
        return tuple(sorted(found, key=lambda entry: entry.t_s))

    def _entry(self, then: Happened | None, now: Happened | None) -> Entry:
        said = now.said if now is not None else then.said if then is not None else None
        assert said is not None
        then_s = then.t_s if then is not None else None
        now_s = now.t_s if now is not None else None
        if now_s is None:
            return Entry(said, then_s, None, "not today")
        if then_s is None:
            return Entry(said, None, now_s, "only today" if self._would_know(said) else "today")
        if abs(now_s - then_s) < SAME_S:
            return Entry(said, then_s, now_s, "same")
        return Entry(said, then_s, now_s, "earlier" if now_s < then_s else "later")

    def _would_know(self, said: Said) -> bool:
        """True if the recording would tell of this, had it happened then."""
        if self._ours:
            return True
        relay = self._site.pump_output(said.subject) or said.subject
        turns = {EventKind.PUMP_STARTED, EventKind.PUMP_CUT}
        turns |= {EventKind.TOP_OFF_OPENED, EventKind.TOP_OFF_CLOSED}
        return said.kind in turns and relay in self._known


def _pairs(
    then: list[Happened], now: list[Happened]
) -> Iterator[tuple[Happened | None, Happened | None]]:
    """Happenings of one kind, then and now, put together: first those at the same time, then the
    nearest in time."""
    distances = sorted(
        (abs(a.t_s - b.t_s), i, j) for i, a in enumerate(then) for j, b in enumerate(now)
    )
    free_then, free_now = set(range(len(then))), set(range(len(now)))
    for _, i, j in distances:
        if i in free_then and j in free_now:
            free_then.remove(i)
            free_now.remove(j)
            yield then[i], now[j]
    for i in sorted(free_then):
        yield then[i], None
    for j in sorted(free_now):
        yield None, now[j]
