"""The command line: one sub-command a module of `daemon.commands`, imported when it is called."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Callable, Sequence

EPILOG = """\
examples:
  weirkeeper new reef.toml             describe your plumbing, question by question
  weirkeeper check reef.toml           is this plumbing safe to leave alone?
  weirkeeper run reef.toml             guard it, on the pins of a Raspberry Pi
  weirkeeper run --simulate --live     watch a bad night on the demo site, no hardware needed
  weirkeeper drill --list              the nights that can be drilled
  weirkeeper drill main-drain-blocked --site reef.toml
  weirkeeper replay night.csv.gz       what today's rules would have done in a recorded night
  weirkeeper status                    what the running guard sees
  weirkeeper reset                     after a trip, when the cause is gone
  weirkeeper pause feeding             the pump stops, and comes back by itself

exit codes: 0 sound or done, 1 unsafe or failed, 2 what you gave cannot be used
"""

COMMANDS = {
    "new": "describe your tanks by answering questions; writes a site file and checks it",
    "check": "read a site file, compute its figures, and judge it",
    "run": "guard a site: on real pins, or with --simulate on a plant",
    "drill": "replay failure drills on a site, with a verdict each",
    "replay": "what today's rules would have done in a recorded night",
    "campaign": "play thousands of drawn nights, and count what came of them",
    "calibrate": "take a flow measured with a bucket and a clock into the site file",
    "schema": "print the JSON Schema of the site file, for editors",
    "status": "what the running guard sees and does",
    "acknowledge": "answer an alert by the code it shows",
    "reset": "release what is latched, when its cause is gone",
    "shelve": "put an alarm aside for a while; it comes back by itself",
    "service": "take a broken sensor out of service, and put it back",
    "pause": "stop the pump for feeding, rinsing, a water change or cleaning; it comes back",
}


def parser() -> argparse.ArgumentParser:
    """The whole command line; sub-commands add their own arguments."""
    top = argparse.ArgumentParser(
        prog="weirkeeper",
        description="Guards water that circulates between tanks: it knows the plumbing, watches "
        "it all night, and cuts the pump before water leaves a tank.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    sub = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, line in COMMANDS.items():
        module = importlib.import_module(f"daemon.commands.{name}")
        command = sub.add_parser(
            name,
            help=line,
            description=module.DESCRIPTION,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(command)
        command.set_defaults(call=module.main)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    from daemon.errors import InputError
    from rules.hydraulics.network import HydraulicsError
    from rules.site.problems import SiteError

    options = parser().parse_args(arguments)
    call: Callable[[argparse.Namespace], int] = options.call
    try:
        return call(options)
    except SiteError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
    except (InputError, HydraulicsError) as error:
        print(error, file=sys.stderr)
    except BrokenPipeError:
        # whoever read our output has stopped; nothing more can be said
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        return 130
    return 2


if __name__ == "__main__":
    sys.exit(main())
