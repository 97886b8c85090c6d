"""weirkeeper service: take a sensor or a row out of service, and put it back."""

from __future__ import annotations

import argparse

DESCRIPTION = """\
Takes a broken sensor, or a row of the matrix, out of service until it is put back. The guard
answers with the protection that is lost, refuses where nothing else would cut the pump in its
place, and asks after it every day.

  weirkeeper service out box-watch
  weirkeeper service in box-watch
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("way", metavar="out|in", choices=("out", "in"), help="out of it, or back")
    command.add_argument("thing", metavar="THING", help="a sensor, or a row as check prints it")
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")


def main(options: argparse.Namespace) -> int:
    """Take out, or put back."""
    from daemon.commands.acknowledge import give

    order = "out-of-service" if options.way == "out" else "in-service"
    return give({"order": order, "thing": options.thing}, options.socket)
