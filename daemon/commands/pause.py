"""weirkeeper pause: have the pump stop for a while, at the guard."""

from __future__ import annotations

import argparse

DESCRIPTION = """\
Stops the pump for a while and brings it back by itself, in the guarded order: for feeding, rinsing
a sponge, a water change, or cleaning a pump. The guard goes on watching; it answers with what it
suppresses meanwhile. The top-off stays shut until levels have settled again.

  weirkeeper pause feeding                      as long as this site usually takes for it
  weirkeeper pause rinsing --for "5 min"
  weirkeeper pause feeding --pump left-pump     where a site has several circuits
  weirkeeper pause --end                        the pump comes back now
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument(
        "kind", metavar="KIND", nargs="?", help="feeding, rinsing, water-change or cleaning"
    )
    command.add_argument(
        "--for", dest="lasts", metavar="TIME", help='how long, like "10 min"; each kind has a limit'
    )
    command.add_argument("--pump", metavar="PUMP", help="a pump of the circuit that is to stop")
    command.add_argument("--end", action="store_true", help="end the pause that goes on")
    command.add_argument("--socket", metavar="PATH", help="the guard's control socket")


def main(options: argparse.Namespace) -> int:
    """Pause, or end a pause."""
    from daemon.commands.acknowledge import give

    return give(_request(options), options.socket)


def _request(options: argparse.Namespace) -> dict[str, object]:
    """What is asked of the guard; raises InputError with a sentence."""
    from daemon.errors import InputError
    from rules.site.quantities import read

    if options.end:
        if options.kind or options.lasts or options.pump:
            raise InputError("--end goes alone: it ends whatever pause goes on")
        return {"order": "end-pause"}
    if options.kind is None:
        raise InputError("say what the pause is for, like feeding, or --end to end one")
    request: dict[str, object] = {"order": "pause", "kind": options.kind}
    if options.lasts is not None:
        try:
            request["for_s"] = read(options.lasts, "s", '"10 min"')
        except ValueError as error:
            raise InputError(f"--for: {error}") from None
    if options.pump is not None:
        request["pump"] = options.pump
    return request
