"""weirkeeper shelve: put an alarm aside for a while, at the guard."""

from __future__ import annotations

import argparse

DESCRIPTION = """\
Puts an alarm aside by the code it shows: it raises nothing for a while and then comes back by
itself, at once if its cause grows worse. What its row does goes on. What cuts a pump is never
shelved, and an alarm of high priority for no longer than a quarter of an hour.

  weirkeeper shelve 4821 --for "2 h"
  weirkeeper shelve 4821 --end          it comes back now
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("code", metavar="CODE", help="the four digits in the alert")
    command.add_argument(
        "--for", dest="lasts", metavar="TIME", help='how long, like "2 h" (default: 1 h)'
    )
    command.add_argument("--end", action="store_true", help="take it back before its time")
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")


def main(options: argparse.Namespace) -> int:
    """Shelve, or take back."""
    from daemon.commands.acknowledge import give

    return give(_request(options), options.socket)


def _request(options: argparse.Namespace) -> dict[str, object]:
    """What is asked of the guard; raises InputError with a sentence."""
    from daemon.errors import InputError
    from rules.site.quantities import read

    if options.end:
        if options.lasts:
            raise InputError("--end takes no time: the alarm comes back now")
        return {"order": "unshelve", "code": options.code}
    request: dict[str, object] = {"order": "shelve", "code": options.code}
    if options.lasts is not None:
        try:
            request["for_s"] = read(options.lasts, "s", '"2 h"')
        except ValueError as error:
            raise InputError(f"--for: {error}") from None
    return request
