"""The flight recorder in a daemon that runs as a process, with a plant behind simulated pins."""

from __future__ import annotations

import signal
import subprocess
from pathlib import Path

import pandas
import pytest

from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from tests.daemon.brokers import eventually
from tests.daemon.test_run import CLI, ROOT, Night

pytestmark = pytest.mark.process


def written(night: Night, event: str) -> Path | None:
    """Where the log says that a recording is."""
    lines = [line for line in list(night.lines) if line["event"].startswith(event)]
    return Path(lines[-1]["file"]) if lines else None


def wait_for(night: Night, event: str) -> Path:
    assert eventually(lambda: written(night, event), 40.0), night.lines[-5:]
    path = written(night, event)
    assert path is not None
    return path


def replays(path: Path) -> str:
    """What `weirkeeper replay` says of a recording that decides the same again."""
    done = subprocess.run(
        [*CLI, "replay", str(path)], cwd=ROOT, check=False, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Today's rules do the same as was done then." in done.stdout
    assert "cut short" not in done.stdout
    return done.stdout


def last_row_s(path: Path) -> float:
    recording = Recording(path)
    times = [row.t_s for row in recording.rows(recording.own_site())]
    assert recording.whole
    return times[-1]


def test_a_daemon_that_is_killed_after_a_cut_has_left_what_led_to_it(tmp_path: Path) -> None:
    night = Night("none", "--state", str(tmp_path))
    try:
        path = wait_for(night, "recording begun")
        night.process.send_signal(signal.SIGKILL)
        assert night.process.wait(10.0) == -signal.SIGKILL
    finally:
        night.end()
    assert path.parent == tmp_path / "recordings"
    assert "return pump cut" in replays(path)
    cut = night.find("pump-cut")
    assert cut is not None
    assert last_row_s(path) == pytest.approx(cut["t_s"])
    outputs = [played.decision.outputs for played in Replay(Recording(path), _site(path)).play()]
    table = pandas.read_csv(path, comment="#")
    commanded = table[[name for name in table.columns if name.endswith(".on")]]
    assert [tuple(map(bool, row)) for row in commanded.values] == outputs


def test_a_daemon_that_is_stopped_in_the_midst_writes_it_first(tmp_path: Path) -> None:
    socket = tmp_path / "control.sock"
    night = Night("none", "--state", str(tmp_path), "--socket", str(socket))
    try:
        path = wait_for(night, "recording begun")
        night.wait_for("alarm-returned")
        told = subprocess.run(
            [*CLI, "status", "--socket", str(socket)],
            cwd=ROOT, check=True, capture_output=True, text=True,
        ).stdout  # fmt: skip
        night.process.terminate()
        assert night.process.wait(15.0) == 0
    finally:
        night.end()
    assert f"newest recording: {path}" in told
    assert "one is under way" in told
    assert wait_for(night, "recording written") == path
    stopped = next(line for line in night.lines if line["event"].startswith("stopped"))
    assert last_row_s(path) == pytest.approx(stopped["t_s"], abs=0.11)
    assert "no longer so" in replays(path)
    (day,) = (tmp_path / "days").glob("*.csv")
    rows = pandas.read_csv(day, comment="#")
    assert rows["alarms.raised"].sum() == 1
    assert rows["looks"].sum() == pytest.approx(stopped["ticks"], abs=1)


def _site(path: Path):  # type: ignore[no-untyped-def]
    return Recording(path).own_site()


def said(night: Night) -> list[dict[str, object]]:
    return [line for line in list(night.lines) if line["event"] == "nothing is recorded"]


def test_where_nothing_is_to_be_recorded_nothing_is_and_the_log_says_so(tmp_path: Path) -> None:
    night = Night("none", "--state", str(tmp_path), "--recordings", "0")
    try:
        night.wait_for("pump-cut")
    finally:
        night.end()
    assert [line["why"] for line in said(night)] == ["--recordings 0"]
    assert [each.name for each in tmp_path.iterdir()] == ["latched.json"]


def test_without_a_folder_for_the_state_the_log_says_that_nothing_is_recorded() -> None:
    night = Night("none")
    try:
        assert eventually(lambda: said(night), 40.0)
    finally:
        night.end()
    assert [line["why"] for line in said(night)] == ["no --state"]
