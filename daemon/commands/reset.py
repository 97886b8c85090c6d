"""weirkeeper reset: release what is latched."""

from __future__ import annotations

import argparse

DESCRIPTION = """\
Releases every latched trip whose cause is gone. The pump then starts in the guarded order: signals
settle, it runs while the drains prime, and only then counts as running. Look at the drains and the
floor first: this is the one command that makes a pump start.
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")


def main(options: argparse.Namespace) -> int:
    """Reset."""
    from daemon.commands.acknowledge import give

    return give({"order": "reset"}, options.socket)
