"""weirkeeper status: what the running guard sees and does."""

from __future__ import annotations

import argparse
import json
from typing import Any

DESCRIPTION = """\
Asks the running guard for its state: pumps, drains, alarms with their codes, broker link.
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")
    command.add_argument("--json", action="store_true", help="print it as JSON")


def main(options: argparse.Namespace) -> int:
    """Ask, and print the answer."""
    from daemon.control import ControlError, ask
    from daemon.errors import InputError
    from daemon.paths import control_socket

    try:
        answer = ask(control_socket(options.socket), {"order": "status"})
    except ControlError as error:
        raise InputError(str(error)) from None
    status: dict[str, Any] = answer["status"]
    if options.json:
        print(json.dumps(status, indent=2))
        return 0
    for line in status["lines"]:
        print(line)
    return 0
