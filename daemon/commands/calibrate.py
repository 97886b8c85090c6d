"""weirkeeper calibrate: from a bucket and a clock to a measured flow in the site file."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from daemon.commands.finding import SITE_HELP

if TYPE_CHECKING:
    from daemon.calibration import Given

DESCRIPTION = """\
Works out a flow from runs with a bucket and a clock, or a flow meter's pulses, and how far it may
be off; sets it beside what the plumbing computes; says what it changes; and prints the table for
the site file. With --write it puts it there, in place of an older one of the same thing.

  weirkeeper calibrate reef.toml flow --of riser --run "20 l" "18.2 s" --run "20 l" "18.6 s"
  weirkeeper calibrate reef.toml drain --of main-drain --level "165 mm" --run "5 gal" "17.9 s"
  weirkeeper calibrate reef.toml meter --of return-flow --run "20 l" 8950 --write

Measure with all clean and running as on any night. What is in the bucket is missing in the sump:
keep an eye on the pump's intake, and pour it back before the next run. Three runs are better than
one, and a bucket that takes half a minute to fill is better than one that takes five seconds.

exit codes: 0 done, 2 what you gave cannot be used, or does not fit the plumbing as described
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("site", metavar="SITE.toml", help=SITE_HELP)
    kinds = command.add_subparsers(dest="what", metavar="WHAT", required=True)
    flow = kinds.add_parser("flow", help="the flow of a pump or a branch")
    drain = kinds.add_parser("drain", help="the flow of a drain, or of another way down")
    meter = kinds.add_parser("meter", help="the pulses a volume of a flow meter")
    for kind, of, counted in (
        (flow, "the pump or the branch", ("VOLUME", "TIME")),
        (drain, "the drain or the other way down", ("VOLUME", "TIME")),
        (meter, "the flow meter", ("VOLUME", "PULSES")),
    ):
        kind.add_argument("--of", required=True, metavar="ID", help=f"{of} that was measured")
        kind.add_argument(
            "--run",
            dest="runs",
            action="append",
            nargs=2,
            required=True,
            metavar=counted,
            help='one run, like "20 l" "18.2 s"; again for each further run'
            if kind is not meter
            else 'one run, like "20 l" 8950; again for each further run',
        )
        kind.add_argument("--write", action="store_true", help="put it into the site file")
    drain.add_argument(
        "--level",
        required=True,
        metavar="HEIGHT",
        help="level in the chamber that it leaves, above the bottom of that chamber",
    )


def main(options: argparse.Namespace) -> int:
    """Work it out, print it, and write it if asked."""
    from datetime import datetime

    from daemon import calibration, sitetext
    from daemon.errors import InputError
    from daemon.sitefile import load

    given = _given(options.site)
    if options.write and given.path is None:
        raise InputError(
            f"{options.site} is a demo site and stays as it is; make one of your own with "
            f"weirkeeper new FILE --from example {options.site}"
        )
    today = datetime.now().astimezone().date()
    if options.what == "meter":
        outcome = calibration.meter(given, options.of, options.runs, today)
    else:
        level = options.level if options.what == "drain" else None
        outcome = calibration.flow(given, options.of, options.runs, level, today)
    print("\n".join(outcome.lines))
    if given.path is None or not options.write:
        print("\nPut this into the site file, in place of an older one, or say --write.")
        return 0
    sitetext.replace(given.path, outcome.text)
    load(options.site)  # what is on the disk now must read as a site
    print(f"\nWritten to {given.path}. A running guard goes by it once it is started again.")
    return 0


def _given(name: str) -> Given:
    """The site file at the path `name`, else the demo site of that name; raises SiteError."""
    from pathlib import Path

    from daemon import sitetext
    from daemon.calibration import Given
    from daemon.commands.finding import find_site
    from simulator import library

    site, path = find_site(name), Path(name)
    if path.exists():
        return Given(path.name, path, sitetext.read(path), site)
    return Given(name, None, library.site_text(name), site)
