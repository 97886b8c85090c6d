"""Planned pauses from the command line: what is asked, what a running daemon answers and shows."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from daemon import cli, homie
from daemon.control import Control, ask
from daemon.live import LiveView, Moment
from daemon.status import paused
from rules.signals import (
    Command,
    Decision,
    Event,
    EventKind,
    Order,
    Origin,
    PauseFigures,
    Phase,
    PumpFigures,
)
from rules.site.pauses import PAUSE_KINDS
from tests.daemon.brokers import eventually
from tests.daemon.decisions import classroom, decision
from tests.daemon.test_control import asked, server

ROOT = Path(__file__).parents[2]
CLI = [sys.executable, "-m", "daemon.cli"]
SITE = classroom()
FEEDING = PauseFigures("feeding", ("return-pump",), 245.4, ("pump-off",))


def in_a_pause(pause: PauseFigures = FEEDING) -> Decision:
    """A decision in the course of a pause."""
    pumps = tuple(PumpFigures(key, Phase.PAUSED, 0.0, 0.0) for key in SITE.pumps)
    return replace(decision(SITE), pause=pause, pumps=pumps)


# --- what is asked of the guard -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "request_"),
    [
        (["feeding"], {"order": "pause", "kind": "feeding"}),
        (["rinsing", "--for", "5 min"], {"order": "pause", "kind": "rinsing", "for_s": 300.0}),
        (
            ["feeding", "--pump", "left-pump"],
            {"order": "pause", "kind": "feeding", "pump": "left-pump"},
        ),
        (["--end"], {"order": "end-pause"}),
    ],
)
def test_the_command_asks_for_what_was_typed(
    arguments: list[str],
    request_: dict[str, Any],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    seen: list[Any] = []

    def answered(path: Path, request: dict[str, Any]) -> dict[str, Any]:
        seen.append((path, request))
        return {"accepted": True, "sentence": "The guard's words."}

    monkeypatch.setattr("daemon.control.ask", answered)
    assert cli.main(["pause", *arguments, "--socket", "/run/x"]) == 0
    assert seen == [(Path("/run/x"), request_)]
    assert capsys.readouterr().out == "The guard's words.\n"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "say what the pause is for"),
        (["--end", "feeding"], "--end goes alone"),
        (["--end", "--for", "5 min"], "--end goes alone"),
        (["feeding", "--for", "5"], "has no unit"),
        (["feeding", "--for", "5 l"], "another kind of quantity"),
        (["feeding", "--for", "soon"], "not a quantity"),
        (["feeding", "--socket", "/nowhere/s"], "No guard is running"),
    ],
)
def test_what_cannot_be_asked_is_a_sentence(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["pause", *arguments]) == 2
    assert sentence in capsys.readouterr().err


@pytest.mark.parametrize(
    ("request_", "command"),
    [
        ({"order": "pause", "kind": "feeding"}, Command(Order.PAUSE, "feeding", Origin.LOCAL)),
        (
            {"order": "pause", "kind": "feeding", "for_s": 600, "pump": "return-pump"},
            Command(Order.PAUSE, "feeding for=600 pump=return-pump", Origin.LOCAL),
        ),
        ({"order": "end-pause"}, Command(Order.END_PAUSE, "all", Origin.LOCAL)),
    ],
)
async def test_the_socket_hands_it_to_the_engine(
    tmp_path: Path, request_: dict[str, Any], command: Command
) -> None:
    async with server(tmp_path / "s") as running:
        answer = await _given(running, tmp_path / "s", request_, command)
    assert answer == {"accepted": True, "sentence": "As it was asked."}


async def _given(
    running: Control, path: Path, request: dict[str, Any], command: Command
) -> dict[str, Any]:
    waiting = asyncio.create_task(asked(path, request))
    while not (commands := running.commands()):
        await asyncio.sleep(0.005)
    assert commands == (command,)
    event = Event(EventKind.ORDER_OBEYED, 1.0, command.code, "as it was asked")
    running.hand_over(decision(SITE, event))
    return await waiting


@pytest.mark.parametrize(
    "request_",
    [
        {"order": "pause"},
        {"order": "pause", "kind": 3},
        {"order": "pause", "kind": "feeding for=1"},
        {"order": "pause", "kind": "feeding", "for_s": "600"},
        {"order": "pause", "kind": "feeding", "for_s": True},
        {"order": "pause", "kind": "feeding", "for_s": [600]},
        {"order": "pause", "kind": "feeding", "pump": None},
        {"order": "pause", "kind": "feeding", "pump": "a b"},
        {"order": "pause", "kind": "x" * 100},
    ],
)
async def test_a_request_that_says_something_else_never_reaches_the_engine(
    tmp_path: Path, request_: dict[str, Any]
) -> None:
    async with server(tmp_path / "s") as running:
        answer = await asked(tmp_path / "s", request_)
        assert answer["accepted"] is False
        assert answer["sentence"].startswith("Give the ")
        assert running.commands() == ()


# --- how it is shown ------------------------------------------------------------------------------


def test_the_status_says_what_for_how_long_and_what_is_suppressed() -> None:
    assert paused(FEEDING, SITE) == (
        "pause for feeding: return pump off for another 4 min 05 s; suppressed: pump-off"
    )


def test_the_device_shows_it_and_shows_when_there_is_none() -> None:
    device = homie.Device(SITE)
    own = homie.Own("boot-a")
    for shown, want in (
        (in_a_pause(), ("feeding", "245", "pump-off")),
        (in_a_pause(replace(FEEDING, suppressed=())), ("feeding", "245", "-")),
        (decision(SITE), ("none", "0", "-")),
    ):
        values = device.values(shown, own)
        keys = ("pause", "pause-left", "suppressed")
        assert tuple(values[f"{device.base}/guard/{key}"] for key in keys) == want
    assert device.values(in_a_pause(), own)[f"{device.base}/return-pump/phase"] == "paused"


def test_the_live_view_shows_it() -> None:
    console = Console(width=132, file=StringIO(), markup=False)
    view = LiveView(SITE, "a pause", "19:10", console)
    view.show(Moment(10.0, in_a_pause(), (), {}, 0.0, 1.0))
    console.print(view.render())
    assert isinstance(console.file, StringIO)
    drawn = " ".join(console.file.getvalue().replace("│", " ").split())
    assert "paused" in drawn
    assert "pause for feeding" in drawn


def test_check_prints_every_kind_with_its_times_and_what_it_suppresses(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert cli.main(["check", "classroom"]) == 0
    lines = capsys.readouterr().out.splitlines()
    begins = next(i for i, line in enumerate(lines) if line.startswith("Planned pauses"))
    rows = [" ".join(line.split()) for line in lines[begins + 3 : begins + 3 + len(PAUSE_KINDS)]]
    assert rows[0] == "feeding 10 min 00 s 30 min 00 s return-pump pump-off"
    assert rows[-1] == (
        "cleaning 30 min 00 s 2 h 00 min return-pump pump-off, signal, dry-run, mains"
    )
    assert [row.split()[0] for row in rows] == list(PAUSE_KINDS)


# --- a running daemon -----------------------------------------------------------------------------


class Running:
    """One `weirkeeper run --simulate` in a still night, sixty times as fast."""

    def __init__(self, folder: Path) -> None:
        self.socket = folder / "s"
        more = ["--speed", "60", "--broker", "none", "--log", "json", "--socket", str(self.socket)]
        self.process = subprocess.Popen(
            [*CLI, "run", "--simulate", "still-night", *more],
            cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.lines: list[dict[str, Any]] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.lines.append(json.loads(line))

    def count(self, kind: str) -> int:
        return sum(line.get("event_kind") == kind for line in list(self.lines))

    def asked(self, capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
        """A command of the command line, its exit code and what it printed."""
        code = cli.main([*arguments, "--socket", str(self.socket)])
        return code, capsys.readouterr().out

    def end(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(10.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    daemon = Running(tmp_path)
    try:
        assert eventually(lambda: daemon.count("pump-running"), 40.0), daemon.lines[-3:]
        yield daemon
    finally:
        daemon.end()


@pytest.mark.process
def test_a_running_daemon_pauses_is_asked_twice_and_comes_back(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text = running.asked(capsys, "pause", "feeding", "--for", "30 min")
    assert code == 0
    assert text.startswith("Pause for feeding: the return pump stops for 30 min 00 s")
    status = ask(running.socket, {"order": "status"})["status"]
    assert status["pumps"][0]["phase"] == "paused"
    assert status["pause"]["kind"] == "feeding"
    assert status["outputs"]["pump-relay"] is False
    assert any(line.startswith("pause for feeding: return pump off") for line in status["lines"])
    for arguments, sentence in (
        (("pause", "rinsing"), "There is a pause for feeding already"),
        (("pause", "fedding"), '"fedding" is no kind of pause'),
        (("pause", "feeding", "--for", "2 h"), "lasts from 1 min 00 s to 30 min 00 s"),
    ):
        code, text = running.asked(capsys, *arguments)
        assert code == 1
        assert sentence in text
    code, text = running.asked(capsys, "pause", "--end")
    assert code == 0
    assert "comes back in the guarded order" in text
    assert eventually(lambda: running.count("pump-running") == 2, 20.0)
    code, text = running.asked(capsys, "pause", "--end")
    assert (code, text) == (1, "There is no pause to end.\n")
    assert running.count("pause-begun") == running.count("pause-ended") == 1
    assert running.count("alarm-raised") == running.count("pump-cut") == 0


@pytest.mark.process
def test_a_pause_that_everybody_forgets_ends_by_itself(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    assert running.asked(capsys, "pause", "feeding", "--for", "1 min")[0] == 0
    assert eventually(lambda: running.count("pause-ended") == 1, 20.0)
    assert eventually(lambda: running.count("pump-running") == 2, 20.0)
