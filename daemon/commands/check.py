"""weirkeeper check: the plumbing as read, its figures, and the verdict."""

from __future__ import annotations

import argparse

from daemon.commands.finding import SITE_HELP

DESCRIPTION = """\
Reads a site file, prints the plumbing as read, computes what the pump lifts and each drain can
carry, how long until water leaves a tank when one is blocked, and judges the site.

exit codes: 0 SOUND or SOUND WITH CONDITIONS, 1 NOT SAFE TO LEAVE, 2 the site file cannot be used
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("site", metavar="SITE.toml", help=SITE_HELP)


def main(options: argparse.Namespace) -> int:
    """Check one site."""
    from daemon import report
    from daemon.commands.finding import find_site
    from rules import engine, verdict

    site = find_site(options.site)
    plan = engine.plan_for(site)
    judged = verdict.judge(plan)
    report.print_check(plan, judged)
    return 1 if judged.weight is verdict.Weight.UNSAFE else 0
