"""weirkeeper run: guard a site, on real pins or on a plant behind simulated ones."""

from __future__ import annotations

import argparse
import asyncio

from daemon.commands.finding import SITE_HELP

DEFAULT_DRILL = "main-drain-blocked"

DESCRIPTION = """\
Guards a site until it is stopped: ten times a second it reads every signal, decides, and drives the
outputs. On a Raspberry Pi it takes the pins of the site file. With --simulate a plant stands behind
gpiozero's mock pins; everything else is the same process and the same code, and it ends with the
drill and a verdict.

  weirkeeper run reef.toml                                on the Pi
  weirkeeper run --simulate --live                        the demo site, drawn in the terminal
  weirkeeper run reef.toml --simulate all-drains-blocked  your plumbing, a bad night
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument(
        "site",
        metavar="SITE.toml",
        nargs="?",
        help=f"{SITE_HELP} (with --simulate: classroom by default)",
    )
    command.add_argument(
        "--simulate",
        metavar="DRILL",
        nargs="?",
        const=DEFAULT_DRILL,
        help=f"put a plant behind mock pins and run this drill (default: {DEFAULT_DRILL})",
    )
    command.add_argument(
        "--live", action="store_true", help="draw it in the terminal (with --simulate)"
    )
    command.add_argument(
        "--speed",
        type=_speed,
        default=None,
        metavar="N",
        help="with --simulate: times real time, 0.1 to 500; by default 1, and with --live fast "
        "while nothing happens and slow while something does",
    )
    command.add_argument("--seed", type=int, default=1, help="with --simulate: seed of the plant")
    command.add_argument(
        "--broker",
        metavar="WHICH",
        default=None,
        help='"site": the [broker] of the site file (default on pins); "embedded": one inside this '
        'process, for the try-out only (default with --simulate); "none"; or HOST[:PORT], '
        "without TLS",
    )
    command.add_argument(
        "--log", choices=("console", "json"), default="console", help="form of the log lines"
    )
    command.add_argument(
        "--log-file", metavar="FILE", help="write the log there instead of to standard error"
    )
    command.add_argument(
        "--state",
        metavar="DIR",
        help="where latched trips, recordings of trips and the record of each day are kept "
        "(with --simulate: by default nowhere)",
    )
    command.add_argument(
        "--recordings",
        type=_megabytes,
        metavar="MB",
        help="what recordings of trips may take in all, then the oldest go (default: 50); "
        "0 records nothing, days neither",
    )
    command.add_argument("--socket", metavar="PATH", help="the control socket")


def _megabytes(text: str) -> int:
    if not text.isdigit() or int(text) > 100_000:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of MB')
    return int(text) * 1_000_000


def _speed(text: str) -> float:
    try:
        speed = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number') from None
    if not 0.1 <= speed <= 500:
        raise argparse.ArgumentTypeError("give 0.1 to 500 times real time")
    return speed


def main(options: argparse.Namespace) -> int:
    """Guard."""
    from daemon.errors import InputError

    if options.simulate is not None:
        from daemon.commands.simulated import run_simulated

        return run_simulated(options)
    if options.site is None:
        raise InputError("name a site file, or add --simulate to try it without hardware")
    for name in ("live", "speed"):
        if getattr(options, name):
            raise InputError(f"--{name} goes with --simulate")
    return _run_on_pins(options)


def _run_on_pins(options: argparse.Namespace) -> int:
    from daemon.assembly import Assembly, new_boot
    from daemon.commands.finding import find_site, find_site_text
    from daemon.commands.wiring_up import log_to, make_link, make_records
    from daemon.errors import InputError
    from daemon.loop import RealTime
    from daemon.paths import control_socket, state_dir
    from daemon.pins import NoPinsError, PinBoard, open_factory

    site = find_site(options.site, lean=True)
    site_text = find_site_text(options.site)
    boot = new_boot()
    try:
        board = PinBoard(site, open_factory())
    except NoPinsError as error:
        raise InputError(str(error)) from None
    with log_to(options.log_file, json=options.log == "json", boot=boot):
        state = state_dir(options.state, site.site.id)
        try:
            assembly = Assembly(
                site,
                board,
                boot,
                RealTime(),
                link=make_link(site, boot, options.broker or "site"),
                latches=state / "latched.json",
                socket=control_socket(options.socket),
                records=make_records(options, state, site_text, board.name),
            )
            return asyncio.run(assembly.run())
        finally:
            board.close()
