"""weirkeeper acknowledge: answer an alert at the guard."""

from __future__ import annotations

import argparse
from collections.abc import Mapping

DESCRIPTION = """\
Answers an alert by the code it shows, like 4821. Acknowledging says that somebody knows: it quiets
the sounder and ends the repeats. It starts no pump; what is latched waits for "weirkeeper reset".
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("code", metavar="CODE", help="the four digits in the alert")
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")


def give(request: Mapping[str, object], socket: str | None) -> int:
    """Give one order to the running guard and print its answer; returns 1 where it is refused."""
    from daemon.control import ControlError, ask
    from daemon.errors import InputError
    from daemon.paths import control_socket

    try:
        answer = ask(control_socket(socket), request)
    except ControlError as error:
        raise InputError(str(error)) from None
    print(answer["sentence"])
    return 0 if answer["accepted"] else 1


def main(options: argparse.Namespace) -> int:
    """Acknowledge."""
    return give({"order": "acknowledge", "code": options.code}, options.socket)
