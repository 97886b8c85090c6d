"""weirkeeper drill: replay failure drills on a site, in the fast way, with a verdict each."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from daemon.commands.finding import SITE_HELP

if TYPE_CHECKING:
    from daemon.commands.reporting import Reporting
    from rules.site.model import Site
    from simulator.night.night import Moment, Progress
    from simulator.story.drill import Drill

DESCRIPTION = """\
Replays bad nights in the simulator, as fast as it goes, with the very rules that guard the tanks.
Each drill states what must happen and by when, and what must not; the same night is then run
without a guard. Without a name, all of them.

  weirkeeper drill --list                                         the drills, by groups
  weirkeeper drill --group "sump and screens"
  weirkeeper drill main-drain-blocked all-drains-blocked
  weirkeeper drill --site reef.toml --seed 7
  weirkeeper drill main-drain-blocked --without drain-capacity    is that row needed?
  weirkeeper drill --all --report nights                          a page a drill, with pictures

exit codes: 0 every drill held, 1 one did not, 2 what you gave cannot be used
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("names", metavar="NAME", nargs="*", help="drills, or drill files (.toml)")
    command.add_argument(
        "--site",
        metavar="SITE.toml",
        help=f"{SITE_HELP} (default: classroom; the recording's own for a recorded night)",
    )
    which = command.add_mutually_exclusive_group()
    which.add_argument("--list", action="store_true", help="list the drills, by groups, and end")
    which.add_argument("--group", metavar="GROUP", help="the drills of one group")
    which.add_argument("--all", action="store_true", help="every drill, as without a name")
    command.add_argument(
        "--seed", type=int, default=1, metavar="N", help="draws the plant's errors (default: 1)"
    )
    command.add_argument("--json", action="store_true", help="print the outcomes as JSON")
    command.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="HAZARD",
        help="take a hazard's rows out of the guard, to see whether the drill needs them",
    )
    command.add_argument(
        "--report",
        metavar="DIR",
        help="write a page for each drill into this folder, and an index; each night is then also "
        "run under a high float alone",
    )
    command.add_argument(
        "--picture",
        metavar="FILE.svg",
        help="draw the live view at the moment after the first cut (one drill)",
    )
    command.add_argument(
        "--record",
        metavar="FILE.csv.gz",
        help="save what the guard saw and did, for weirkeeper replay (one drill)",
    )
    command.add_argument(
        "--whole-daemon",
        action="store_true",
        help="run every drill with all of the daemon, its broker link and its disk, under virtual "
        "time; without it, only those in which a broker, a disk or a clock fails",
    )


def main(options: argparse.Namespace) -> int:
    """Run the drills."""
    from daemon.commands.finding import DEMO_SITE, find_site, site_for
    from daemon.commands.recorded import taped
    from daemon.commands.verdicts import print_outcome
    from daemon.errors import InputError
    from rules.hazards.table import HAZARDS
    from simulator.night.runner import run
    from simulator.virtual.play import run_daemon

    if options.list:
        _list()
        return 0
    without = frozenset(options.without)
    if unknown := without - set(HAZARDS):
        raise InputError(
            f"no such hazard: {', '.join(sorted(unknown))}; there are {', '.join(HAZARDS)}"
        )
    if (options.picture or options.record) and len(options.names) != 1:
        raise InputError("--picture and --record are for one drill: name it")
    shared = find_site(options.site or DEMO_SITE)
    drills = _chosen(options)
    report = _report(options, shared, len(drills))
    outcomes = []
    for number, (name, drill) in enumerate(drills.items(), 1):
        site = shared if drill.recording is None else site_for(drill.recording, options.site)
        progress = _progress(f"{number}/{len(drills)} {name}", options.json)
        drawn = _picture(options.picture, site, drill, progress) if options.picture else progress
        with taped(options, site, name) as tap:
            whole = options.whole_daemon and drill.recording is None
            play = run_daemon if whole else run
            outcome = play(site, drill, options.seed, without=without, progress=drawn, tap=tap)
        _clear(options.json)
        bare = run(site, drill, options.seed, keeper="none")
        outcomes.append((outcome, bare))
        if not options.json:
            print_outcome(site, outcome, None if bare.not_applicable else bare)
        if report is not None:
            report.add(name, site, drill, {"guard": outcome, "none": bare}, progress)
            _clear(options.json)
    if report is not None:
        print(f"report: {report.start}", file=sys.stderr)
    if options.json:
        plain = [
            {**outcome.to_json(trace=False), "without_guard": bare.to_json(trace=False)}
            for outcome, bare in outcomes
        ]
        print(json.dumps(plain, indent=2))
    held = [outcome.passed or outcome.not_applicable for outcome, _ in outcomes]
    return 0 if all(held) else 1


def _report(options: argparse.Namespace, site: Site, count: int) -> Reporting | None:
    """The report to be written, if one is asked for; raises InputError where it cannot be."""
    if options.report is None:
        return None
    from daemon.commands.reporting import Reporting

    return Reporting(options, site, count)


def _list() -> None:
    """Print every group with its drills: name, how long it lasts, title."""
    from rules.site import show
    from simulator import library

    for group, drills in library.drills_by_group().items():
        print(group)
        for name, drill in drills.items():
            print(f"  {name:36} {show.duration(drill.lasts):>11}  {drill.title}")


def _chosen(options: argparse.Namespace) -> dict[str, Drill]:
    """The drills asked for, by their names; raises InputError."""
    from daemon.commands.finding import find_drill
    from daemon.errors import InputError
    from simulator import library

    if options.names and (options.group or options.all):
        raise InputError("name drills, or give --group or --all: not both")
    if options.group:
        try:
            return library.drills_in(options.group)
        except library.NotThereError as missing:
            raise InputError(str(missing)) from None
    return {name: find_drill(name) for name in options.names or library.drill_names()}


def _progress(title: str, quiet: bool) -> Progress:
    """A line that says how far a drill has come, on a terminal."""
    if quiet or not sys.stderr.isatty():
        return lambda _moment: None

    def show(moment: Moment) -> None:
        if round(moment.t_s) % 30 == 0:
            share = moment.t_s / moment.lasts_s
            print(f"\r{title}: {share:4.0%}", end="", file=sys.stderr, flush=True)

    return show


def _clear(quiet: bool) -> None:
    if not quiet and sys.stderr.isatty():
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def _picture(file: str, site: Site, drill: Drill, then: Progress) -> Progress:
    """Draws the first moment after a cut into `file`, and goes on with `then`."""
    from daemon import picture
    from daemon.live import LiveView
    from daemon.live import Moment as Shown
    from daemon.messages import event_text
    from rules.signals import EventKind

    view = LiveView(site, drill.title, drill.starts_at)
    drawn = False

    def show(moment: Moment) -> None:
        nonlocal drawn
        plant = moment.plant
        view.show(
            Shown(
                moment.t_s,
                moment.decision,
                moment.events,
                plant.levels_m(),
                plant.spilled_total_m3,
                1.0,
            )
        )
        for event in moment.events:
            if event.kind is EventKind.ALARM_RAISED:
                view.message(event_text(event))
        if not drawn and any(event.kind is EventKind.PUMP_CUT for event in moment.events):
            drawn = True
            picture.draw(view.render(), file)
        then(moment)

    return show
