"""Whether two runs of the same night decided the same: slow ticking held against every tick."""

from __future__ import annotations

from collections import Counter

from rules.signals import Event, EventKind
from simulator.night.outcome import Outcome

WITHIN_S = 1.0  # the same thing at the same time
WITHIN_M3 = 1e-4
TELLING = frozenset(
    {
        EventKind.ALARM_RAISED,
        EventKind.PUMP_CUT,
        EventKind.PUMP_STARTED,
        EventKind.PUMP_HELD,
        EventKind.TOP_OFF_OPENED,
        EventKind.TOP_OFF_CLOSED,
    }
)


def differences(one: Outcome, other: Outcome) -> list[str]:
    """Sentences on what differs between two runs of a night; none if they decided the same."""
    found = []
    for kind in sorted(TELLING):
        found += _of_kind(kind, _told(one, kind), _told(other, kind))
    spilled = abs(one.spilled_total_m3 - other.spilled_total_m3)
    if spilled > WITHIN_M3:
        found.append(f"{1e3 * spilled:.2f} l more spilled in one of them")
    leaked = abs(one.leaked_m3 - other.leaked_m3)
    if leaked > max(WITHIN_M3, 0.02 * one.leaked_m3):
        found.append(f"{1e3 * leaked:.2f} l more leaked in one of them")
    if abs(one.dry_s - other.dry_s) > WITHIN_S:
        found.append(f"a pump dry for {one.dry_s:.1f} s against {other.dry_s:.1f} s")
    return found


def _told(out: Outcome, kind: EventKind) -> list[tuple[str, float]]:
    return [(_what(event), event.t_s) for event in out.events if event.kind is kind]


def _what(event: Event) -> str:
    if event.alarm is not None:
        return event.alarm.row
    return f"{event.subject} {' '.join(sorted(event.causes))}".strip()


def _of_kind(
    kind: EventKind, one: list[tuple[str, float]], other: list[tuple[str, float]]
) -> list[str]:
    counts, others = Counter(w for w, _ in one), Counter(w for w, _ in other)
    found = [
        f"{kind.value} {what}: {counts[what]} times against {others[what]}"
        for what in sorted(counts.keys() | others.keys())
        if counts[what] != others[what]
    ]
    for what in sorted(counts.keys() & others.keys()):
        times = [[t_s for w, t_s in told if w == what] for told in (one, other)]
        worst_s = max((abs(a - b) for a, b in zip(*times, strict=False)), default=0.0)
        if worst_s > WITHIN_S:
            found.append(f"{kind.value} {what}: {worst_s:.1f} s apart")
    return found
