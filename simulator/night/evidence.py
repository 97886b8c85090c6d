"""What a drill left behind to judge it by: taken from the plant itself, not from the guard's word.

Only alarms and the reasons for a cut are the guard's own; when a relay dropped, where the water
stood and what was spilled is read off the plant.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import nan

from rules.signals import AlarmState, Decision, Event, EventKind, Phase
from rules.site.model import Site
from simulator.water.plant import Plant

UNWANTED = (Phase.WAITING, Phase.LATCHED)
"""Phases of a pump that is off although nobody wants it so."""


@dataclass(frozen=True, slots=True)
class Trace:
    """One row a second, fewer while nothing moves: what stood where, in SI units.

    The columns say what and in which unit.
    """

    columns: tuple[str, ...]
    rows: list[tuple[float, ...]]

    def column(self, name: str) -> list[float]:
        """One column by its name."""
        at = self.columns.index(name)
        return [row[at] for row in self.rows]


@dataclass(frozen=True, slots=True)
class Arrived:
    """One alert as somebody read it: when [s], of which hazard, and what tells it from others."""

    t_s: float
    hazard: str
    key: str


class Evidence:
    """Filled tick by tick; every time in it is from the start of the drill [s]."""

    def __init__(self, site: Site, plant: Plant, cause_s: float | None, began_s: float) -> None:
        self.site = site
        self.plant = plant
        self.cause_s = cause_s
        self._began_s = began_s  # by the guard's clock, in which its events are told
        self.events: list[Event] = []
        self.cuts: list[tuple[float, str]] = []
        self.pauses: list[tuple[float, str]] = []
        self._paused: set[str] = set()  # wanted off, until they are started again
        self.starts: list[tuple[float, str]] = []
        self.arrived: list[Arrived] | None = None  # filled where the whole daemon runs
        self.opened_s: list[float] = []
        self.opened_while_cut_s: list[float] = []
        self.off_s = 0.0
        self.off_before_cause_s = 0.0
        self.trace = Trace((), [])
        self._highest_m = plant.surface_m
        self.first_flow_m3_s = {key: lift.flow_m3_s for key, lift in plant.lifts.items()}
        self._was = dict(plant.on)
        self._valves = tuple(k for k, out in site.outputs.items() if out.kind == "top-off")
        self._relays = {
            pump: relay for pump in site.pumps if (relay := site.pump_output(pump)) is not None
        }

    def take(self, t_s: float, dt_s: float, decision: Decision) -> None:
        """Look at the plant and at the decision after one tick."""
        for event in decision.events:
            self.events.append(replace(event, t_s=event.t_s - self._began_s))
        self._highest_m = list(map(max, self._highest_m, self.plant.surface_m))
        on, was = self.plant.on, self._was
        self._paused |= {p.pump for p in decision.pumps if p.phase is Phase.PAUSED}
        self._paused -= {p.pump for p in decision.pumps if p.phase in UNWANTED}
        off = {pump for pump, relay in self._relays.items() if not on[relay]}
        if off - self._paused:
            self.off_s += dt_s
            if self.cause_s is None or t_s < self.cause_s:
                self.off_before_cause_s += dt_s
        if on == was:
            return
        self._was = dict(on)
        for pump, relay in self._relays.items():
            if on[relay] > was[relay]:
                self.starts.append((t_s, pump))
                self._paused.discard(pump)
            elif was[relay] > on[relay]:
                (self.pauses if pump in self._paused else self.cuts).append((t_s, pump))
        for valve in self._valves:
            if on[valve] and not was[valve]:
                self.opened_s.append(t_s)
                if off:
                    self.opened_while_cut_s.append(t_s)

    @property
    def highest_m(self) -> dict[str, float]:
        """The highest level of every chamber so far [m above its bottom]."""
        bottoms_m = self.plant.shapes.bottom_m
        highest = zip(self.plant.index, self._highest_m, bottoms_m, strict=True)
        return {key: surface - bottom for key, surface, bottom in highest}

    def sample(self, t_s: float, decision: Decision) -> None:
        """Add one row to the trace."""
        row: dict[str, float] = {"t_s": t_s}
        for key, level in self.plant.levels_m().items():
            row[f"{key}.level_m"] = level
        for key, flow in self.plant.flows_m3_s.items():
            row[f"{key}.flow_m3_s"] = flow
        for drain in decision.drains:
            row[f"{drain.chamber}.return_m3_s"] = drain.return_m3_s
            row[f"{drain.chamber}.capacity_m3_s"] = drain.capacity_m3_s
            row[f"{drain.chamber}.spill_s"] = drain.spill_s
        for output in self.site.outputs:
            row[f"{output}.on"] = float(self.plant.on[output])
        row["spilled_m3"] = self.plant.spilled_total_m3
        row["leaked_m3"] = self.plant.leaked_m3
        row["dry_s"] = self.plant.dry_s
        if not self.trace.rows:
            self.trace = Trace(tuple(row), [])
        self.trace.rows.append(tuple(row.get(name, nan) for name in self.trace.columns))

    def first_cut_s(self, pump: str | None = None) -> float | None:
        """When a pump was first cut after the cause, from the start of the drill."""
        since = self.cause_s or 0.0
        return next((t for t, which in self.cuts if t >= since and pump in (None, which)), None)

    def paused_s(self, pump: str) -> float | None:
        """When a pump was first stopped by a planned pause after the cause."""
        since = self.cause_s or 0.0
        return next((t for t, which in self.pauses if t >= since and which == pump), None)

    def restarted_s(self, pump: str) -> float | None:
        """When a pump was first started again after its first cut or pause after the cause."""
        stops = (self.first_cut_s(pump), self.paused_s(pump))
        stopped_s = min((t_s for t_s in stops if t_s is not None), default=None)
        if stopped_s is None:
            return None
        return next((t for t, which in self.starts if which == pump and t > stopped_s), None)

    def standing_causes(self, pump: str, t_s: float) -> set[str]:
        """Rows that a pump was last cut for before `t_s` and whose alarm then still stood."""
        causes: set[str] = set()
        standing: set[str] = set()
        for event in self.events:
            if event.t_s > t_s + 1e-6:
                break
            if event.kind is EventKind.PUMP_CUT and event.subject == pump:
                causes = set(event.causes)
            elif event.alarm is not None:
                stands = event.alarm.state in (AlarmState.UNACK_ALARM, AlarmState.ACK_ALARM)
                (standing.add if stands else standing.discard)(event.alarm.row)
        return causes & standing

    def first_alarm_s(self, hazard: str, subject: str | None = None) -> float | None:
        """When an alarm of this hazard, at this subject where one is given, was first told after
        the cause: raised, or told in the alarm that it follows from."""
        since = self.cause_s or 0.0
        wanted = hazard if subject is None else f"{hazard}.{subject}"
        kinds = (EventKind.ALARM_RAISED, EventKind.ALARM_FOLDED)
        return next(
            (
                event.t_s
                for event in self.events
                if event.kind in kinds
                and event.t_s >= since
                and event.alarm is not None
                and wanted in (event.alarm.hazard, event.alarm.row)
            ),
            None,
        )

    def alarms(self) -> list[tuple[float, str, str]]:
        """Every alarm raised: when, its hazard, its row."""
        return [
            (event.t_s, event.alarm.hazard, event.alarm.row)
            for event in self.events
            if event.kind is EventKind.ALARM_RAISED and event.alarm is not None
        ]

    def reasons(self, t_s: float) -> str:
        """The rows of the matrix behind a cut, in words for a detail; empty if none were given."""
        causes = {
            cause
            for event in self.events
            if event.kind is EventKind.PUMP_CUT and abs(event.t_s - t_s) < 0.5
            for cause in event.causes
        }
        return ", ".join(sorted(causes))
