"""`weirkeeper new` as a person meets it: a real process at a terminal, and its files on disk."""

from __future__ import annotations

import codecs
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from daemon.cli import main
from daemon.wizard.sheet import GUESS
from daemon.wizard.write import replace
from rules.site.parse import parse_site
from simulator.library import site_text

ROOT = Path(__file__).parents[2]
WIDTH = 80
PROMPT = re.compile(r"\n  ([^\n]+) \[([^\n]*)\]: $")
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
CTRL_C, CTRL_D, KILL = "\x03", "\x04", "kill"


class Person:
    """Sits at a terminal: answers prompts by their label, presses Enter at all others."""

    def __init__(self, folder: Path, replies: dict[str, Sequence[str]] | None = None) -> None:
        self.folder = folder
        self.replies = {label: list(texts) for label, texts in (replies or {}).items()}
        self.screen = ""
        self.asked: list[tuple[str, str]] = []

    def sit(self, *arguments: str, within_s: float = 60.0) -> int:
        """Run the command to its end; its exit code, negative for a signal."""
        pid, terminal = pty.fork()
        if pid == 0:
            os.chdir(self.folder)
            environment = {**os.environ, "TERM": "xterm", "COLUMNS": str(WIDTH)}
            environment["PYTHONPATH"] = str(ROOT)
            command = [sys.executable, "-m", "daemon.cli", "new", *arguments]
            os.execve(sys.executable, command, environment)
        answered, until = 0, time.monotonic() + within_s
        decoder = codecs.getincrementaldecoder("utf-8")()
        while time.monotonic() < until:
            if not select.select([terminal], [], [], 0.2)[0]:
                continue
            try:
                seen = os.read(terminal, 65536)
            except OSError:  # the other end of the terminal is closed
                break
            self.screen += ESCAPES.sub("", decoder.decode(seen)).replace("\r", "")
            if found := PROMPT.search(self.screen, answered):
                answered = len(self.screen)
                self._reply(pid, terminal, found[1], found[2])
        else:
            os.kill(pid, signal.SIGKILL)
        os.close(terminal)
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])

    def _reply(self, pid: int, terminal: int, label: str, offered: str) -> None:
        self.asked.append((label, offered))
        waiting = self.replies.get(label)
        reply = waiting.pop(0) if waiting else ""
        if reply == KILL:
            os.kill(pid, signal.SIGKILL)
        elif reply == CTRL_C:
            time.sleep(0.3)  # one that comes before the line editor listens is only seen later
            os.write(terminal, reply.encode())
        elif reply == CTRL_D:
            os.write(terminal, reply.encode())
        else:
            os.write(terminal, f"{reply}\n".encode())


def read(file: Path) -> str:
    return file.read_text(encoding="utf-8")


def names(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def test_a_metric_run_from_the_first_question_to_the_verdict_and_again(tmp_path: Path) -> None:
    person = Person(
        tmp_path,
        {"Name of the site": ["Class 4b: le récif"], "Inside length": ["1.5", "1500 mm"],
         "Height of the crest": ["610 mm", "550 mm"], "Slots": ["back", "45"]},
    )  # fmt: skip
    assert person.sit("reef.toml") == 0
    screen = person.screen
    for part in range(1, 11):
        assert f"Part {part} of 10: " in screen
    assert "Press Enter to take the value in [brackets]" in screen
    assert "Not so: 1.5 has no unit" in screen
    assert "Not so: it must lie under the rim" in screen
    assert "values in it are marked as guesses: measure them." in screen
    assert "Verdict: SOUND" in screen
    assert "Traceback" not in screen
    interview = screen[: screen.index("reef.toml is written")]
    assert max(map(len, interview.split("\n"))) <= WIDTH
    site = parse_site(read(tmp_path / "reef.toml"), "reef.toml")
    assert (site.site.id, site.site.name) == ("class-4b-le-recif", "Class 4b: le récif")
    assert site.chambers["display"].length == 1.5
    before = (tmp_path / "reef.toml").read_bytes()
    again = Person(tmp_path)
    assert again.sit("reef.toml") == 0
    assert ("Inside length", "1500 mm") in again.asked
    assert "reef.toml stays as it is." in again.screen
    assert (tmp_path / "reef.toml").read_bytes() == before
    assert names(tmp_path) == ["reef.toml"]


def test_a_run_in_us_units_with_two_displays_and_a_refugium(tmp_path: Path) -> None:
    person = Person(
        tmp_path,
        {"Units, metric or us": ["us"], "Displays": ["2"], "Comb or weir": ["weir"],
         "Refugium, yes or no": ["yes"], "What you know of the pump, curve or rating": ["curve"],
         "Points of the curve": ["0 gal/h at 20 ft, 1400 gal/h at 12 ft, 2600 gal/h at 1 ft"]},
    )  # fmt: skip
    assert person.sit("frags.toml") == 0
    assert "Display 2" in person.screen
    assert "Verdict: SOUND" in person.screen
    offered = dict(person.asked)
    assert offered["Inside length"].endswith(" in")
    assert offered["Length of the main drain"].endswith(" ft")
    assert offered["Flow of the top-off"].endswith(" gal/min")
    metric = [value for _, value in person.asked if re.search(r"\d (mm|m|l/h|l/min)$", value)]
    assert metric == [], "a keeper with a tape in inches is offered inches"
    text = read(tmp_path / "frags.toml")
    assert parse_site(text, "frags.toml").site.units == "us"
    assert '{ flow = "1400 gal/h", head = "12 ft" },' in text


def test_stopped_by_ctrl_c_or_ctrl_d_it_writes_nothing_and_the_next_run_goes_on(
    tmp_path: Path,
) -> None:
    person = Person(tmp_path, {"Inside length": ["2 m"], "Slots": [CTRL_C]})
    assert person.sit("reef.toml") == 130
    assert "Stopped: reef.toml was not written" in person.screen
    assert "kept in reef.toml.draft" in person.screen
    assert "Traceback" not in person.screen
    assert names(tmp_path) == ["reef.toml.draft"]
    tired = Person(tmp_path, {"Slots": [CTRL_D]})
    assert tired.sit("reef.toml") == 2
    assert "Standard input ended: reef.toml was not written" in tired.screen
    again = Person(tmp_path)
    assert again.sit("reef.toml") == 0
    assert "Going on from" in again.screen
    assert again.asked[0][0] == "Slots"
    assert parse_site(read(tmp_path / "reef.toml"), "x").chambers["display"].length == 2.0
    assert names(tmp_path) == ["reef.toml"]


def test_killed_outright_it_leaves_the_answers_and_no_half_of_a_file(tmp_path: Path) -> None:
    person = Person(tmp_path, {"Inside width": [KILL]})
    assert person.sit("reef.toml") == -signal.SIGKILL
    assert names(tmp_path) == ["reef.toml.draft"]
    assert f'length = "1200 mm"  # {GUESS}' in read(tmp_path / "reef.toml.draft")


def test_a_changed_answer_is_shown_and_written_only_when_it_is_agreed_to(tmp_path: Path) -> None:
    file = tmp_path / "reef.toml"
    assert main(["new", str(file), "--answers", "/dev/null"]) == 0
    before = read(file)
    person = Person(tmp_path, {"Height of the crest": ["550 mm"]})
    assert person.sit("reef.toml") == 2
    assert '-crest = "555 mm"' in person.screen
    assert '+crest = "550 mm"' in person.screen
    assert person.asked[-1] == ("Write it, yes or no", "no")
    assert read(file) == before
    again = Person(tmp_path, {"Write it, yes or no": ["maybe", "back", "yes"], "People": ["Ann"]})
    assert again.sit("reef.toml") == 0
    assert [label for label, _ in again.asked] == [*["Write it, yes or no"] * 2, "People",
                                                   "Write it, yes or no"]  # fmt: skip
    assert 'crest = "550 mm"' in read(file)
    assert "[people.ann]" in read(file)
    assert names(tmp_path) == ["reef.toml"]


def test_input_that_ends_too_soon_is_a_sentence_and_keeps_the_answers(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "daemon.cli", "new", str(tmp_path / "reef.toml")],
        cwd=ROOT, input="Reef\n\n", capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 2
    assert "Standard input ended: " in done.stderr
    assert "2 answers are kept in" in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert names(tmp_path) == ["reef.toml.draft"]


# --- without a terminal ---------------------------------------------------------------------


def test_answers_from_a_file_ask_nothing_and_exit_by_the_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, answers = tmp_path / "reef.toml", tmp_path / "answers.toml"
    answers.write_text('[display]\nlength = "5 ft"\n[outputs]\npump-relay = "none"\n')
    assert main(["new", str(file), "--answers", str(answers)]) == 1
    assert "Verdict: NOT SAFE TO LEAVE" in capsys.readouterr().out
    assert parse_site(read(file), "x").chambers["display"].length == pytest.approx(1.524)
    assert main(["new", str(file), "--answers", str(answers)]) == 1, "the same again is no change"
    answers.write_text("[site]\ndisplays = 2\n")
    assert main(["new", str(file), "--answers", str(answers)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert "[chambers.display-2]" not in read(file)
    assert main(["new", str(file), "--answers", str(answers), "--force"]) == 1
    assert "[chambers.display-2]" in read(file)
    assert 'length = "5 ft"' in read(file), "what was not answered anew stays"


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_an_example_is_written_as_it_is(name: str, tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    assert main(["new", str(file), "--from", "example", name]) == 0
    assert read(file) == site_text(name)


def test_what_the_questions_cannot_say_stops_it_before_the_first_question(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "site.toml"
    assert main(["new", str(file), "--from", "example", "classroom"]) == 0
    assert main(["new", str(file)]) == 2
    told = capsys.readouterr().err
    assert "[passages.first-baffle]" in told
    assert "--force" in told
    assert read(file) == site_text("classroom")
    assert main(["new", str(file), "--answers", "/dev/null", "--force"]) == 0
    assert f"{file}: lost: [passages.first-baffle]" in capsys.readouterr().err
    assert read(file) != site_text("classroom")


def test_the_examples_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "--list"]) == 0
    assert capsys.readouterr().out == "classroom\nrack\n"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "name the file to write"),
        (["{folder}"], "Is a directory"),
        (["{folder}/gone/reef.toml"], "there is no folder"),
        (["{folder}/reef.toml", "--from", "sample", "rack"], "--from example NAME"),
        (["{folder}/reef.toml", "--from", "example", "zoo"], "the sites are classroom, rack"),
        (["{folder}/reef.toml", "--answers", "{folder}/gone.toml"], "cannot be read"),
        (["{folder}/reef.toml", "--answers", "{folder}/bad.toml"], "bad.toml: not TOML"),
        (["{folder}/reef.toml", "--answers", "{folder}/odd.toml"], "site.displays: an answer is"),
        (["{folder}/broken.toml"], "is no site file as it stands"),
        (["{folder}/late.toml", "--answers", "/dev/null"], "holds the answers of a run"),
        (["{folder}/late.toml", "--from", "example", "rack"], "holds the answers of a run"),
        (["{folder}/reef.toml", "--from", "example", "rack", "--answers", "x"], "give one of them"),
    ],
)
def test_what_cannot_be_used_is_a_sentence_and_exit_code_2(
    arguments: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text in (
        ("bad.toml", "[site"),
        ("odd.toml", "[site]\ndisplays = 1.5\n"),
        ("broken.toml", "[site]\nid = 3\n"),
        ("late.toml.draft", '[site]\nname = "Reef"\n'),
    ):
        (tmp_path / name).write_text(text)
    before = names(tmp_path)
    assert main(["new", *(word.format(folder=tmp_path) for word in arguments)]) == 2
    assert sentence in capsys.readouterr().err
    assert names(tmp_path) == before


def test_a_file_is_replaced_whole_keeps_its_mode_and_the_link_to_it(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "reef.toml"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    replace(link, "new")
    assert link.is_symlink()
    assert read(real) == "new"
    assert real.stat().st_mode & 0o777 == 0o640


def test_a_write_that_fails_leaves_the_old_file_and_no_part_of_the_new(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "reef.toml"
    file.write_text("old")

    def full(_number: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(KeyboardInterrupt):
        replace(file, "new")
    assert read(file) == "old"
    assert names(tmp_path) == ["reef.toml"]
