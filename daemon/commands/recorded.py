"""weirkeeper drill --record: what the guard saw and did in a drill, as a recording."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path

from daemon.commands.finding import DEMO_SITE, find_site_text
from daemon.recording.format import Head
from daemon.recording.write import RecordingFile
from rules.site.model import Site
from simulator.night.runner import Tap


@contextlib.contextmanager
def taped(options: argparse.Namespace, site: Site, drill: str) -> Iterator[Tap | None]:
    """The tap of a run that is to be recorded, None where it is not; raises InputError."""
    if not options.record:
        yield None
        return
    head = Head(
        site_id=site.site.id,
        site_text=find_site_text(options.site or DEMO_SITE),
        boot="",
        source="sim+plant",
        without=tuple(sorted(options.without)),
        story=f"drill {drill}, seed {options.seed}",
    )
    with RecordingFile(Path(options.record), head, site) as file:
        yield file.take
