"""What came of a drill, to print, to compare and to keep as JSON."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import isfinite
from typing import Any

from rules.signals import Event
from simulator.night.evidence import Trace
from simulator.story.judge import Finding


@dataclass(frozen=True, slots=True)
class Outcome:
    """One drill on one site. Times are from the start of the drill [s], water in m3.

    `keeper` is what kept watch: "guard", "none", or the name of a stand-in.
    `not_applicable` is a sentence when the site lacks what the drill is about; everything else is
    then empty and `passed` means nothing.
    """

    drill: str
    site: str
    seed: int
    keeper: str
    without: tuple[str, ...]
    source: str
    passed: bool = False
    findings: tuple[Finding, ...] = ()
    lasted_s: float = 0.0
    cause_s: float | None = None
    cut_s: float | None = None
    spilled_m3: dict[str, float] = field(default_factory=dict)
    leaked_m3: float = 0.0
    dry_s: float = 0.0
    needless_stop_s: float = 0.0
    events: tuple[Event, ...] = ()
    alarms: tuple[tuple[float, str, str], ...] = ()
    trace: Trace = field(default_factory=lambda: Trace((), []))
    not_applicable: str | None = None

    @property
    def guarded(self) -> bool:
        """True when it was the guard that kept watch."""
        return self.keeper == "guard"

    @property
    def spilled_total_m3(self) -> float:
        """All that went over a rim [m3]."""
        return sum(self.spilled_m3.values())

    @property
    def cause_to_cut_s(self) -> float | None:
        """From the cause to the first cut after it [s]; None if there was none."""
        if self.cut_s is None or self.cause_s is None:
            return None
        return self.cut_s - self.cause_s

    def to_json(self, *, trace: bool = True) -> dict[str, Any]:
        """The outcome in plain values; `trace` adds its one row a second."""
        plain: dict[str, Any] = {
            "drill": self.drill,
            "site": self.site,
            "seed": self.seed,
            "keeper": self.keeper,
            "without": list(self.without),
            "source": self.source,
            "not_applicable": self.not_applicable,
            "passed": self.passed,
            "findings": [
                {"statement": f.statement, "held": f.held, "detail": f.detail}
                for f in self.findings
            ],
            "lasted_s": self.lasted_s,
            "cause_s": self.cause_s,
            "cut_s": self.cut_s,
            "cause_to_cut_s": self.cause_to_cut_s,
            "spilled_m3": {key: v for key, v in self.spilled_m3.items() if v > 0.0},
            "spilled_total_m3": self.spilled_total_m3,
            "leaked_m3": self.leaked_m3,
            "dry_s": self.dry_s,
            "needless_stop_s": self.needless_stop_s,
            "alarms": [
                {"t_s": round(t_s, 3), "hazard": hazard, "row": row}
                for t_s, hazard, row in self.alarms
            ],
            "events": [_event(event) for event in self.events],
        }
        if trace:
            plain["trace"] = {
                "columns": list(self.trace.columns),
                "rows": [[_number(value) for value in row] for row in self.trace.rows],
            }
        return plain


def _event(event: Event) -> dict[str, Any]:
    return {
        "t_s": round(event.t_s, 3),
        "kind": event.kind.value,
        "subject": event.subject,
        "text": event.text,
        "causes": list(event.causes),
        "alarm": None if event.alarm is None else event.alarm.row,
    }


def _number(value: float) -> float | None:
    """Seven digits are more than any sensor has; JSON knows no infinity."""
    return float(f"{value:.7g}") if isfinite(value) else None


@dataclass(frozen=True, slots=True)
class Comparison:
    """The same night with the guard and without it."""

    guarded: Outcome
    unguarded: Outcome

    @property
    def kept_m3(self) -> float:
        """Water that the guard kept off the floor [m3]."""
        return (
            self.unguarded.spilled_total_m3
            + self.unguarded.leaked_m3
            - self.guarded.spilled_total_m3
            - self.guarded.leaked_m3
        )
