"""weirkeeper reset: release what is latched."""

from __future__ import annotations

import argparse

DESCRIPTION = """\
Releases every latched trip whose cause is gone. The pump then starts in the guarded order: signals
settle, it runs while the drains prime, and only then counts as running. Look at the drains and the
floor first: this is the one command that makes a pump start.

With --baseline it releases nothing: what was learned of the drains in the first days is forgotten,
and learned anew. That is due once the drains are clean and a level sensor, a valve or a pump has
been changed.
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument(
        "--baseline", action="store_true", help="learn anew how the drains carry while clean"
    )
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")


def main(options: argparse.Namespace) -> int:
    """Reset."""
    from daemon.commands.acknowledge import give
    from rules.orders import BASELINE

    request = {"order": "reset"} | ({"code": BASELINE} if options.baseline else {})
    return give(request, options.socket)
