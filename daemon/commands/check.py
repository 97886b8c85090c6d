"""weirkeeper check: the plumbing as read, its figures, and the verdict."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from daemon.commands.finding import SITE_HELP

if TYPE_CHECKING:
    from rules.site.model import Site

DESCRIPTION = """\
Reads a site file, prints the plumbing as read, computes what the pump lifts and each drain can
carry, how long until water leaves a tank when one is blocked, where floats should hang and which
failure nothing would see, and judges the site. Every figure comes with its doubt; the verdict takes
the unfavourable end.

  weirkeeper check reef.toml
  weirkeeper check reef.toml --plot reef.svg               the plumbing to scale, capacity by level
  weirkeeper check reef.toml --explain main-drain.capacity a worked derivation of one figure
  weirkeeper check reef.toml --json                        for programs

exit codes: 0 SOUND or SOUND WITH CONDITIONS, 1 NOT SAFE TO LEAVE, 2 what you gave cannot be used
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("site", metavar="SITE.toml", help=SITE_HELP)
    command.add_argument("--json", action="store_true", help="print all of it as JSON, in SI units")
    command.add_argument(
        "--plot", metavar="FILE", help="draw it into FILE as well: .svg, .png or .pdf"
    )
    command.add_argument(
        "--explain",
        metavar="FIGURE",
        help='derive one figure step by step, like "main-drain.capacity"; "list" names them all',
    )


def main(options: argparse.Namespace) -> int:
    """Check one site."""
    from daemon import checking, report
    from daemon.commands.finding import find_site

    site = find_site(options.site)
    if options.explain:
        return _explain(site, options.explain)
    checked = checking.check(site)
    if options.plot:
        from daemon.plot import sheet

        sheet.draw(checked.plan, options.plot)
    if options.json:
        print(checking.as_json(checked))
    else:
        report.print_check(checked)
    return checked.exit_code


def _explain(site: Site, figure: str) -> int:
    """Print the derivation of one figure, or the names of all."""
    from daemon.errors import InputError
    from rules import engine
    from rules.explain.explain import explain, known

    plan = engine.plan_for(site)
    try:
        lines = known(plan) if figure == "list" else explain(plan, figure)
    except LookupError as error:
        raise InputError(str(error.args[0])) from None
    for line in lines:
        print(line)
    return 0
