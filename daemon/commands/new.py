"""weirkeeper new: from what a keeper knows to a site file, and its verdict."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from daemon.wizard.interview import Interview, Known
    from daemon.wizard.question import Given
    from daemon.wizard.sheet import Sheet

DESCRIPTION = """\
Asks for the plumbing one question at a time, offers usual values, writes a commented site file and
checks it. On a file of its own it offers what stands there, and changes what you change. What you
did not measure is marked in the file.

  weirkeeper new reef.toml                           ask, write, check
  weirkeeper new reef.toml --from example classroom  write a demo site instead
  weirkeeper new --list                              the demo sites
  weirkeeper new reef.toml --answers reef-answers.toml

Answers are kept in reef.toml.draft while you go: a run that was stopped goes on from there. The
same form serves --answers; a question that it leaves out gets the answer in brackets.

exit codes: 0 SOUND or SOUND WITH CONDITIONS, 1 NOT SAFE TO LEAVE, 2 what you gave cannot be used or
ended too soon, 130 stopped by Ctrl-C
"""


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    command.add_argument("file", metavar="FILE", nargs="?", help="the site file to write")
    command.add_argument(
        "--from",
        dest="origin",
        nargs=2,
        metavar=("example", "NAME"),
        help="write a demo site, without questions",
    )
    command.add_argument("--list", action="store_true", help="list the demo sites and end")
    command.add_argument(
        "--answers", metavar="FILE.toml", help="take the answers from a file, ask nothing"
    )
    command.add_argument(
        "--force",
        action="store_true",
        help="write over a file without asking, even where that loses something",
    )


def main(options: argparse.Namespace) -> int:
    """Make a site file and check it."""
    from pathlib import Path

    from daemon.errors import InputError
    from daemon.wizard.write import ready
    from simulator import library

    if options.list:
        print("\n".join(library.site_names()))
        return 0
    if options.file is None:
        raise InputError("name the file to write, like reef.toml")
    if options.origin and options.answers:
        raise InputError("--from and --answers: give one of them")
    file = Path(options.file)
    ready(file)
    if options.origin:
        return _example(file, options)
    return _described(file, options)


def _example(file: Path, options: argparse.Namespace) -> int:
    """Write a demo site."""
    from daemon.errors import InputError
    from simulator import library

    word, name = options.origin
    if word != "example":
        raise InputError(f"--from {word}: write --from example NAME")
    try:
        text = library.site_text(name)
    except library.NotThereError as missing:
        raise InputError(str(missing)) from None
    _no_draft(file, options.force)
    _may_write(file, text, options.force)
    return _finish(file, text, 0)


def _described(file: Path, options: argparse.Namespace) -> int:
    """Write what the answers say."""
    from pathlib import Path

    from daemon.wizard.describe import describe
    from daemon.wizard.interview import Interview
    from daemon.wizard.keep import draft_of, keep, load
    from daemon.wizard.terminal import GUIDE, Terminal
    from daemon.wizard.write import current

    text, draft = current(file), draft_of(file)
    known = _known(file, text, options.force)
    if options.answers:
        _no_draft(file, options.force)
        given = load(Path(options.answers))
        sheet = Interview(known, given, options.answers).run(describe)
        _may_write(file, sheet.text(), options.force)
        return _finish(file, sheet.text(), sheet.guesses())
    terminal = Terminal()
    terminal.say(GUIDE)
    given = load(draft) if draft.exists() else {}
    if given:
        terminal.say(f"Going on from {len(given)} answers kept in {draft}.")
    elif text is not None:
        terminal.say(f"{file} is there: what it says is offered.")
    interview = Interview(known, given, str(draft), terminal, lambda so_far: keep(draft, so_far))
    try:
        agreed = _agreed(file, interview, options.force)
    except (EOFError, KeyboardInterrupt) as stop:
        return _stopped(file, interview.given, isinstance(stop, EOFError))
    if agreed is None:
        print(f"{file} stays as it is; your answers are kept in {draft}.")
        return 2
    return _finish(file, agreed.text(), agreed.guesses())


def _agreed(file: Path, interview: Interview, force: bool) -> Sheet | None:
    """Go through the questions until what they make may be written; None where it may not."""
    from daemon.wizard.describe import describe
    from daemon.wizard.interview import Back
    from daemon.wizard.terminal import agrees
    from daemon.wizard.write import current

    while True:
        sheet = interview.run(describe)
        before = current(file)
        if before is None or before == sheet.text() or force:
            return sheet
        try:
            return sheet if agrees(file, before, sheet.text()) else None
        except Back:
            interview.back()


def _stopped(file: Path, given: dict[str, Given], ended: bool) -> int:
    """Say what an interrupted run leaves behind; its exit code."""
    import sys

    from daemon.wizard.keep import draft_of

    kept = (
        f"{len(given)} answers are kept in {draft_of(file)}, the next run goes on from there"
        if given
        else "nothing was answered"
    )
    why = "Standard input ended" if ended else "Stopped"
    print(f"\n{why}: {file} was not written; {kept}.", file=sys.stderr)
    return 2 if ended else 130


def _no_draft(file: Path, force: bool) -> None:
    """Refuse to pass over the answers of an interrupted run."""
    from daemon.errors import InputError
    from daemon.wizard.keep import draft_of

    draft = draft_of(file)
    if draft.exists() and not force:
        raise InputError(
            f"{draft} holds the answers of a run that was stopped: finish it with "
            f"weirkeeper new {file}, delete it, or use --force"
        )


def _known(file: Path, text: str | None, force: bool) -> Known:
    """What the file that is there answers; raises InputError where that is not the whole of it."""
    import sys
    import tomllib

    from daemon.errors import InputError
    from daemon.wizard.describe import describe
    from daemon.wizard.interview import Known, recall
    from daemon.wizard.sheet import marked
    from daemon.wizard.unknown import unknown
    from rules.site.parse import parse_site
    from rules.site.problems import SiteError

    if text is None or not text.strip():
        return Known()
    try:
        site = parse_site(text, file.name)
    except SiteError as error:
        if not force:
            raise InputError(
                f"{error}\n{file} is no site file as it stands: mend it, or begin anew with --force"
            ) from None
        return Known()
    known, sheet = recall(tomllib.loads(text), marked(text), describe)
    lost = unknown(text, site, sheet)
    if lost and not force:
        raise InputError(
            "\n".join(
                [
                    f"{file} holds what these questions cannot say; it would be lost:",
                    *(f"  {thing}" for thing in lost),
                    "Edit the file by hand, or write it anew with --force.",
                ]
            )
        )
    for thing in lost:
        print(f"{file}: lost: {thing}", file=sys.stderr)
    return known


def _may_write(file: Path, text: str, force: bool) -> None:
    """Refuse to write over another text where nobody can be asked."""
    from daemon.errors import InputError
    from daemon.wizard.write import current

    if not force and current(file) not in (None, text):
        raise InputError(f"{file} is there already: --force writes over it")


def _finish(file: Path, text: str, guesses: int) -> int:
    """Write the file where that changes anything, and check it."""
    from daemon import report
    from daemon.checking import check
    from daemon.wizard.keep import draft_of
    from daemon.wizard.write import current, replace
    from rules.site.parse import parse_site

    site = parse_site(text, file.name)
    if current(file) == text:
        print(f"\n{file} stays as it is.\n")
    else:
        replace(file, text)
        marked = f" {guesses} values in it are marked as guesses: measure them." if guesses else ""
        print(f"\n{file} is written.{marked}\n")
    draft_of(file).unlink(missing_ok=True)
    checked = check(site)
    report.print_check(checked)
    return checked.exit_code
