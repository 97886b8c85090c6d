"""What a replay found, printed for people and as JSON."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from daemon.recording.compare import Comparison, Entry
from daemon.recording.replay import Replay
from daemon.recording.times import clock
from rules.signals import EventKind
from rules.site import show

STYLES = {
    "same": "",
    "today": "",
    "earlier": "bold green",
    "later": "bold yellow",
    "only today": "bold magenta",
    "not today": "bold red",
}


def print_comparison(replay: Replay, comparison: Comparison) -> None:
    """Print what was done then beside what today's rules do."""
    console = Console(highlight=False, soft_wrap=True, markup=False)
    for line in _about(replay, comparison):
        console.print(line)
    console.print()
    entries = comparison.entries()
    if entries:
        _print_entries(console, entries)
    else:
        console.print("Nothing happened, then or now.")
    console.print()
    for line in _result(replay, comparison):
        console.print(line)


def _print_entries(console: Console, entries: tuple[Entry, ...]) -> None:
    rows = [("when", "then", "today's rules", "what", "bold")]
    for entry in entries:
        then, now = in_words(entry)
        rows.append((clock(entry.t_s), then, now, what(entry), STYLES[entry.verdict]))
    widths = [max(len(row[i]) for row in rows) for i in range(3)]
    for when, then, now, happened, style in rows:
        head = f"{when:>{widths[0]}}   {then:{widths[1]}}   "
        console.print(Text.assemble(head, (f"{now:{widths[2]}}", style), f"   {happened}"))


def in_words(entry: Entry) -> tuple[str, str]:
    """What was done then, and what today's rules do."""
    match entry.verdict:
        case "same":
            return "done", "same"
        case "today":
            return "", "done"
        case "only today":
            return "not done", "done"
        case "not today":
            return "done", "not done"
    assert entry.then_s is not None
    assert entry.now_s is not None
    by = show.duration(abs(entry.now_s - entry.then_s))
    return f"at {clock(entry.then_s)}", f"at {clock(entry.now_s)}, {by} {entry.verdict}"


def what(entry: Entry) -> str:
    """What happened, in one line: an alarm by its row, and the first sentence of its text."""
    said = entry.said
    first = said.text.partition(". ")[0].rstrip(".")
    if said.kind in (EventKind.ALARM_RETURNED, EventKind.ALARM_ENDED):
        return f"{said.row}: {first.partition(':')[0].lower()}"
    if said.kind == EventKind.ALARM_RAISED:
        return f"alarm {said.row}: {first}"
    return f"{said.row}: {first}" if said.row else first


def _about(replay: Replay, comparison: Comparison) -> list[str]:
    recording, head, columns = replay.recording, replay.recording.head, replay.columns
    span = f"{clock(comparison.first_s or 0.0)} to {clock(comparison.last_s)}"
    lines = [f"{recording.file}: {replay.site.site.name}, {span}, {comparison.rows} rows"]
    if head is not None:
        origin = [head.story, f"boot {head.boot}" if head.boot else "", head.source]
        origin += [f"began {head.began.isoformat(' ', 'seconds')}"] if head.began else []
        origin += ["by a clock that followed no time source"] if head.synchronised is False else []
        origin += [f"without {', '.join(head.without)}"] if head.without else []
        lines.append("  " + "; ".join(filter(None, origin)))
        if not recording.whole:
            lines.append("  Its last line is missing or tells of other rows: it was cut short.")
    else:
        longest = show.duration(comparison.longest_row_s)
        lines.append(
            f"  Readings from elsewhere; values hold until the next row, {longest} at most."
        )
    if columns.absent:
        taken = {"bad": "unreadable, at their worst", "good": "as on a good day"}[replay.assume]
        lines.append(f"  Not in the file, taken as {taken}: {', '.join(columns.absent)}.")
    if columns.unused:
        lines.append(f"  Columns that belong to nothing here: {', '.join(columns.unused)}.")
    return lines


def _result(replay: Replay, comparison: Comparison) -> list[str]:
    if not comparison.compared:
        return ["The file does not say what was done then; this is what today's rules do."]
    lines = []
    for differing in comparison.differing():
        then, now = ("on", "off") if differing.first_then else ("off", "on")
        assert differing.first_s is not None
        lines.append(
            f"The {replay.site.label(differing.output)} is commanded otherwise for "
            f"{show.duration(differing.lasts_s)} in {differing.rows} rows, first at "
            f"{clock(differing.first_s)}: {then} then, {now} now."
        )
    if comparison.same:
        lines.append("Today's rules do the same as was done then.")
    else:
        lines.append(
            f"Today's rules do otherwise from {clock(comparison.first_difference_s)} on. The "
            "readings after that are those of then."
        )
    return lines


def to_json(replay: Replay, comparison: Comparison) -> dict[str, Any]:
    """The comparison in plain values; times are in the recording's own time [s]."""
    head = replay.recording.head
    return {
        "recording": replay.recording.file,
        "site": replay.site.site.id,
        "story": head.story if head else "",
        "boot": head.boot if head else None,
        "began": head.began.isoformat() if head and head.began else None,
        "whole": replay.recording.whole,
        "rows": comparison.rows,
        "from_s": comparison.first_s,
        "to_s": comparison.last_s,
        "without": sorted(replay.without),
        "absent": list(replay.columns.absent),
        "assumed": replay.assume,
        "unused": list(replay.columns.unused),
        "compared": comparison.compared,
        "same": comparison.same,
        "first_difference_s": None if comparison.same else comparison.first_difference_s,
        "outputs": {
            differing.output: {
                "rows": differing.rows,
                "lasts_s": round(differing.lasts_s, 3),
                "first_s": differing.first_s,
                "then_on": differing.first_then,
            }
            for differing in comparison.differing()
        },
        "timeline": [
            {
                "kind": entry.said.kind,
                "subject": entry.said.subject,
                "row": entry.said.row or None,
                "then_s": entry.then_s,
                "now_s": entry.now_s,
                "verdict": entry.verdict,
                "text": entry.said.text,
            }
            for entry in comparison.entries()
        ],
    }
