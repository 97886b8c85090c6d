"""weirkeeper replay: a recording through today's rules, beside what was done then."""

from __future__ import annotations

import argparse
import json
import sys
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.commands.finding import SITE_HELP

if TYPE_CHECKING:
    from daemon.recording.compare import Comparison
    from daemon.recording.replay import Replay
    from daemon.recording.source import Progress

DESCRIPTION = """\
Feeds a recording to the rules as they are today, and prints what they would have done, and when,
beside what was done then. Readings are what they were: from the first difference on, the water
would have gone another way, so the first difference is the one to trust.

  weirkeeper drill main-drain-blocked --record night.csv.gz
  weirkeeper replay night.csv.gz
  weirkeeper replay night.csv.gz --without drain-capacity      what would it have missed?
  weirkeeper replay night.csv.gz --site reef.toml              other floats, other settings
  weirkeeper replay night.csv.gz --from "3 min" --to 0:05:00   only what happens between
  weirkeeper replay night.csv.gz --from 180 --to 300 --cut feeding.toml
  weirkeeper drill feeding.toml                                that night is now a drill
  weirkeeper replay readings.csv --site reef.toml --assume good

Readings from elsewhere are a CSV with a column t_s (seconds) or time (ISO 8601) and columns named
SENSOR.UNIT by the site file: display-high.wet (1 or 0), supply.present (1 or 0), return-flow.l_min
(or l_h, l_s, m3_s, gal_min, gal_h), box-level.mm (or m, cm, in); with pump-relay.on (1 or 0) what
was done then is known too. Values hold until the next row. The pumps are taken to run at the first.

exit codes: 0 today's rules do the same, or nothing is known of what was done then; 1 they do
otherwise; 2 what you gave cannot be used. With --cut: 0 when the drill is written.
"""

AT_HELP = 'seconds, text with a unit like "3 min", or h:mm:ss; in the time of the recording'


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("recording", metavar="RECORDING", help="a recording, .csv or .csv.gz")
    command.add_argument(
        "--site", metavar="SITE.toml", help=f"{SITE_HELP} (default: the recording's own)"
    )
    command.add_argument("--json", action="store_true", help="print the comparison as JSON")
    command.add_argument("--from", dest="from_", metavar="T", help=f"from when on: {AT_HELP}")
    command.add_argument("--to", metavar="T", help="until when")
    command.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="HAZARD",
        help="take a hazard's rows out of the rules",
    )
    command.add_argument(
        "--assume",
        choices=("bad", "good"),
        default="bad",
        help="what a sensor that is not in the file is taken for: one that cannot be read, at its "
        "worst, or as on a good day (default: bad)",
    )
    command.add_argument(
        "--cut", metavar="FILE.toml", help="write a drill that plays this part of the recording"
    )


def main(options: argparse.Namespace) -> int:
    """Replay a recording."""
    from daemon.commands.finding import find_site
    from daemon.commands.replayed import print_comparison, to_json
    from daemon.errors import InputError
    from daemon.recording.compare import Comparison
    from daemon.recording.read import Recording
    from daemon.recording.replay import Replay
    from daemon.recording.times import read_time
    from rules.hazards.table import HAZARDS

    without = frozenset(options.without)
    if unknown := without - set(HAZARDS):
        raise InputError(
            f"no such hazard: {', '.join(sorted(unknown))}; there are {', '.join(HAZARDS)}"
        )
    from_s = read_time(options.from_, "--from") if options.from_ else -inf
    to_s = read_time(options.to, "--to") if options.to else inf
    if from_s >= to_s:
        raise InputError(f"--from {options.from_} is not before --to {options.to}")
    recording = Recording(Path(options.recording))
    site = find_site(options.site) if options.site else recording.own_site()
    replay = Replay(recording, site, without=without, assume=options.assume)
    comparison = Comparison(site, ours=recording.ours, from_s=from_s)
    for played in replay.play(_progress(recording.file, options.json)):
        if played.t_s > to_s:
            ends_s = to_s
            break
        comparison.take(played)
    else:
        ends_s = comparison.last_s
    _clear(options.json)
    if not comparison.looks:
        raise InputError(f"{recording.file}: it has no row until {options.to}")
    if options.cut:
        begins_s = max(from_s, comparison.first_s or 0.0)
        return _cut(options, replay, comparison, begins_s, ends_s)
    if options.json:
        print(json.dumps(to_json(replay, comparison), indent=2))
    else:
        print_comparison(replay, comparison)
    return 0 if comparison.same else 1


def _cut(
    options: argparse.Namespace,
    replay: Replay,
    comparison: Comparison,
    begins_s: float,
    ends_s: float,
) -> int:
    from daemon.commands.cutting import write_cut
    from daemon.errors import InputError

    if begins_s >= ends_s:
        raise InputError(f"{options.recording}: it has no rows between --from and --to")
    write_cut(
        Path(options.cut), replay, comparison, site=options.site, from_s=begins_s, to_s=ends_s
    )
    print(f"Written: weirkeeper drill {options.cut} plays it.")
    return 0


def _progress(file: str, quiet: bool) -> Progress | None:
    """A line that says how much of the recording has been played, on a terminal."""
    if quiet or not sys.stderr.isatty():
        return None

    def show(share: float) -> None:
        print(f"\r{file}: {share:4.0%}", end="", file=sys.stderr, flush=True)

    return show


def _clear(quiet: bool) -> None:
    if not quiet and sys.stderr.isatty():
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)
