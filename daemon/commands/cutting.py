"""weirkeeper replay --cut: a part of a recording as a drill."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

from daemon.errors import InputError
from daemon.recording.compare import Comparison
from daemon.recording.replay import Replay
from daemon.recording.times import clock
from daemon.wizard import write
from simulator.story.drill_file import DrillError, parse_drill
from simulator.story.recorded import Recorded, Told, drill_text, statements_text


def write_cut(
    file: Path,
    replay: Replay,
    comparison: Comparison,
    *,
    site: str | None,
    from_s: float,
    to_s: float,
) -> None:
    """Write the drill; raises InputError where it cannot be, or where the file is there already.

    `site` is how the site was named, if it was not the recording's own.
    """
    if file.suffix != ".toml":
        raise InputError(f"{file}: a drill's file ends in .toml")
    if file.exists():
        raise InputError(f"{file}: is there already; name another file, or remove it first")
    write.ready(file)
    head = replay.recording.head
    beside = file.resolve().parent
    recorded = Recorded(
        file=os.path.relpath(replay.recording.path.resolve(), beside),
        from_=f"{from_s!r} s",
        site=_from(beside, site),
        assume=replay.assume,
    )
    span = f"{clock(from_s)} to {clock(to_s)}"
    of = head.story if head and head.story else replay.recording.path.name
    starts_at = "00:00"
    if head is not None and head.began is not None:
        starts_at = (head.began + timedelta(seconds=from_s)).strftime("%H:%M")
    story = f"{replay.site.site.name} as it was recorded, from {span}. It is played as it was."
    text = drill_text(f"Recorded: {of}, {span}", story, starts_at, to_s - from_s, recorded)
    told = (
        Told(now.t_s - from_s, now.said.kind, now.said.subject, now.said.row)
        for now in comparison.now
    )
    text += statements_text(told)
    try:
        parse_drill(text, file.name)
    except DrillError as error:
        raise InputError(str(error)) from None
    write.replace(file, text)


def _from(folder: Path, site: str | None) -> str | None:
    """How a site is named from `folder`: a file by its way there, a demo site by its name."""
    if site is None or not Path(site).exists():
        return site
    return os.path.relpath(Path(site).resolve(), folder)
