"""weirkeeper campaign: thousands of nights drawn at random, and what came of them."""

from __future__ import annotations

import argparse
import importlib
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daemon.commands.finding import SITE_HELP

if TYPE_CHECKING:
    from rules.site.model import Site
    from simulator.campaign.book import Book
    from simulator.campaign.play import Record, Terms

DESCRIPTION = """\
Plays thousands of nights on a site: healthy ones, and nights in which anything fails, drawn at
random from a seed. Counts the water on the floor, the pumps run dry, the stops that nothing called
for and the false trips, and tells how soon each fault is named. A sample of the nights is played
again with no guard, with plain relays, and with one that knows every fault at its onset.

Where the assessment says that the site cannot hold a fault, what it then spills is listed apart.
Ended by Ctrl-C or worse, the same command goes on where it ended.

  weirkeeper campaign --nights 10000 --seed 7 --site reef.toml
  weirkeeper campaign --nights 10000 --seed 7 --kinds healthy      false trips only
  weirkeeper campaign --seed 7 --site reef.toml --night 4711       replay one night
  weirkeeper campaign --seed 7 --night 4711 --as-drill bad.toml    keep it as a drill

exit codes: 0 nothing failed, 1 some night failed, 2 what you gave cannot be used
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    add = command.add_argument
    add("--site", default="classroom", metavar="SITE.toml", help=f"{SITE_HELP} (classroom)")
    add("--nights", type=int, default=1000, metavar="N", help="how many nights (default: 1000)")
    add("--seed", type=int, default=1, metavar="N", help="draws every night (default: 1)")
    add("--jobs", type=int, metavar="N", help="processes side by side (default: one a processor)")
    add("--kinds", metavar="KINDS", help="kinds of nights, with commas between (default: all)")
    add(
        "--beside",
        type=int,
        default=1000,
        metavar="N",
        help="so many nights, the first ones, are played with something else in the guard's place "
        "too (default: 1000)",
    )
    add("--out", metavar="DIR", help="folder for the nights played (default: named by the above)")
    add("--report", metavar="FILE.json", help="write the result as JSON")
    add("--plot", metavar="FILE", help="draw the result into FILE: .svg, .png or .pdf")
    add("--night", type=int, metavar="K", help="play night K alone and tell all of it")
    add("--as-drill", metavar="FILE.toml", help="with --night: write it as a drill")
    add("--as-site", metavar="FILE.toml", help="with --night: write the site it is played on")
    add(
        "--random-sites",
        action="store_true",
        help="draw sites around the given one: other tanks, pumps, pipes and heights",
    )
    add(
        "--without",
        default="",
        metavar="HAZARDS",
        help="take hazards out of the guard, with commas between: nights must then fail",
    )
    add("--hours", type=float, default=8.0, metavar="H", help="length of a night (default: 8)")
    add(
        "--every-tick",
        action="store_true",
        help="play each night a second time without leaving out any look, and compare",
    )


def main(options: argparse.Namespace) -> int:
    """Play a campaign, or one night of it."""
    from daemon.errors import InputError
    from simulator.campaign.crew import CrewError

    text, site = _site_text(options.site)
    terms = _terms(options, text)
    _check_promises(terms, site)
    if options.night is not None:
        return _one_night(options, terms)
    if options.nights < 1:
        raise InputError("--nights: give at least one")
    if options.plot:
        _check_picture(options.plot)
    try:
        return _campaign(options, terms, site)
    except CrewError as error:
        print(error, file=sys.stderr)
        return 1


def _site_text(name: str) -> tuple[str, Site]:
    """The text of a site file or a demo site, and the site read from it."""
    from daemon.commands.finding import find_site
    from simulator import library

    site = find_site(name)  # with a sentence for whatever is wrong
    path = Path(name)
    text = path.read_text(encoding="utf-8") if path.exists() else library.site_text(name)
    return text, site


def _terms(options: argparse.Namespace, text: str) -> Terms:
    from daemon.campaign.promises import promises, promises_if_safe
    from daemon.errors import InputError
    from rules.hazards.table import HAZARDS
    from simulator.campaign.draw import LABELS
    from simulator.campaign.play import Terms

    labels = tuple(_listed(options.kinds)) or tuple(LABELS)
    without = frozenset(_listed(options.without))
    for given, known, what in ((labels, LABELS, "kind of night"), (without, HAZARDS, "hazard")):
        if unknown := sorted(set(given) - set(known)):
            raise InputError(f"no such {what}: {', '.join(unknown)}; there are {', '.join(known)}")
    if not 0.05 <= options.hours <= 168.0:
        raise InputError("--hours: give 0.05 to 168")
    return Terms(
        site_text=text,
        judge=promises_if_safe if options.random_sites else promises,
        seed=options.seed,
        labels=labels,
        lasts_s=round(3600.0 * options.hours, 1),
        beside=max(0, options.beside),
        without=without,
        random_sites=options.random_sites,
        every_tick=options.every_tick,
    )


def _check_picture(file: str) -> None:
    """Have a sentence now, and not after thousands of nights, for what cannot be drawn."""
    from daemon.errors import InputError
    from daemon.plot.sheet import FORMATS

    if Path(file).suffix.lower() not in FORMATS:
        raise InputError(f"{file}: the name of a picture must end in {', '.join(FORMATS)}")
    try:
        importlib.import_module("daemon.campaign.chart")
    except ImportError as error:
        raise InputError(
            f"a picture needs a drawing library that cannot be loaded ({error}); install the extra "
            'with pip install "weirkeeper[plot]", or leave the picture out'
        ) from None


def _listed(text: str | None) -> list[str]:
    return [part.strip() for part in (text or "").split(",") if part.strip()]


def _check_promises(terms: Terms, site: Site) -> None:
    """Have a sentence now for what no night could be judged without; raises HydraulicsError."""
    if not terms.random_sites:
        terms.judge(site)


def replay_command(options: argparse.Namespace) -> str:
    """The command that replays a night of this campaign, but for the night's number."""
    parts = ["weirkeeper campaign", f"--site {options.site}", f"--seed {options.seed}"]
    if options.kinds:
        parts.append(f"--kinds {','.join(_listed(options.kinds))}")
    if options.hours != 8.0:
        parts.append(f"--hours {options.hours:g}")
    if options.without:
        parts.append(f"--without {','.join(_listed(options.without))}")
    if options.random_sites:
        parts.append("--random-sites")
    return " ".join(parts)


def _folder(options: argparse.Namespace, site: Site) -> Path:
    if options.out:
        return Path(options.out)
    return Path(f"campaign-{site.site.id}-{options.seed}-{options.nights}")


def _campaign(options: argparse.Namespace, terms: Terms, site: Site) -> int:
    from daemon.campaign.table import print_result
    from daemon.errors import InputError
    from simulator.campaign.book import Book, OtherCampaignError
    from simulator.campaign.tally import tally

    numbers = range(1, options.nights + 1)
    try:
        with Book(_folder(options, site), terms) as book:
            _play_all(options, terms, book, [n for n in numbers if n not in book.records])
            records = [book.records[number] for number in numbers]
    except OtherCampaignError as error:
        raise InputError(str(error)) from None
    except OSError as error:
        raise InputError(f"{_folder(options, site)}: {error.strerror or error}") from None
    result = tally(records, terms.lasts_s)
    print_result(result, site.site.units, replay_command(options))
    head = {"site": site.site.id, "seed": options.seed, "replay": replay_command(options)}
    if options.report:
        _write(options.report, json.dumps(head | result, indent=2, ensure_ascii=False) + "\n")
    if options.plot:
        from daemon.campaign import chart

        title = f"{site.site.name}: {len(records)} nights of seed {options.seed}"
        _write(options.plot, chart.draw(result, title, Path(options.plot).suffix.lower()[1:]))
    differ = result["differs"] is not None and result["differs"]["differ"] > 0
    return 1 if result["failures"] or differ else 0


def _play_all(options: argparse.Namespace, terms: Terms, book: Book, numbers: list[int]) -> None:
    """Play what has not been played, with a bar, and a line at once for each failure."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    from daemon.campaign.table import failure_line
    from simulator.campaign.crew import work

    jobs = max(1, min(options.jobs or os.cpu_count() or 1, len(numbers)))
    console = Console(stderr=True, highlight=False, markup=False, soft_wrap=True)
    failed = sum(record["verdict"] == "failed" for record in book.records.values())
    columns = (
        TextColumn("nights"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[pace]}"),
        TimeRemainingColumn(),
        TextColumn("left, {task.fields[failed]} failed"),
    )
    with Progress(*columns, console=console, disable=not console.is_terminal) as bar:
        task = bar.add_task(
            "",
            total=options.nights,
            completed=options.nights - len(numbers),
            pace="",
            failed=failed,
        )
        for record in work(terms, numbers, jobs):
            book.add(record)
            if record["verdict"] == "failed":
                failed += 1
                told = {**record, "why": record["failed"]}
                told.setdefault("story", record.get("trouble", ""))
                console.print(failure_line(told, replay_command(options)))
            speed = bar.tasks[0].speed
            pace = "" if speed is None else f"{speed:.1f} a second"
            bar.update(task, advance=1, pace=pace, failed=failed)


def _write(file: str, content: str | bytes) -> None:
    from daemon.errors import InputError

    try:
        Path(file).write_bytes(content if isinstance(content, bytes) else content.encode())
    except OSError as error:
        raise InputError(f"{file}: cannot be written: {error.strerror or error}") from None


def _one_night(options: argparse.Namespace, terms: Terms) -> int:
    """Play one night and tell all of it."""
    from daemon.messages import event_text
    from rules.site import show
    from simulator.campaign.play import drawn_night, played

    text, site, _, drawn = drawn_night(terms, options.night)
    print(f"{drawn.drill.title} on {site.site.name}: {drawn.drill.story}")
    if options.as_site:
        _write(options.as_site, text)
    if options.as_drill:
        _write(options.as_drill, drawn.text)
    record, kept = played(terms, options.night)
    for event in kept.outcome.events:
        print(f"  {show.duration(event.t_s):>16}  {event_text(event)}")
    _print_record(record, site)
    return 1 if record["verdict"] == "failed" else 0


def _print_record(record: Record, site: Site) -> None:
    from rules.site import show

    units = site.site.units

    def line(name: str, sums: dict[str, Any]) -> None:
        print(
            f"  {name:12} {show.volume(sums['spilled_l'] / 1e3, units)} over a rim, "
            f"{show.volume(sums['leaked_l'] / 1e3, units)} leaked, "
            f"pump dry for {show.duration(sums['dry_s'])}, "
            f"stood for {show.duration(sums['stood_s'])} "
            f"({show.duration(sums['needless_s'])} for nothing)"
        )

    line("guard", record)
    for keeper, sums in record.get("beside", {}).items():
        line(keeper, sums)
    for sentence in record.get("differs", ()):
        print(f"  every look against the quick way: {sentence}")
    if record["why_not_asked"]:
        print(f"  said before: {record['why_not_asked']}")
    print(
        f"Verdict: {record['verdict']}"
        + (f": {'; '.join(record['failed'])}" * bool(record["failed"]))
    )
