"""The daemon as a process: `weirkeeper run --simulate`, with a real broker that comes and goes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.daemon.brokers import Mosquitto, Reader, eventually

pytestmark = pytest.mark.process

CLI = [sys.executable, "-m", "daemon.cli"]
ROOT = Path(__file__).parents[2]
SPEED = 40


class Night:
    """One `weirkeeper run --simulate`, its log read as it comes."""

    def __init__(self, broker: str, *more: str) -> None:
        arguments = ["run", "--simulate", "main-drain-blocked", "--speed", str(SPEED)]
        self.process = subprocess.Popen(
            [*CLI, *arguments, "--log", "json", "--broker", broker, *more],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.lines: list[dict[str, Any]] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.lines.append(json.loads(line))

    def find(self, kind: str) -> dict[str, Any] | None:
        return next((line for line in list(self.lines) if line.get("event_kind") == kind), None)

    def wait_for(self, kind: str, timeout_s: float = 40.0) -> dict[str, Any]:
        assert eventually(lambda: self.find(kind), timeout_s), f"no {kind} in {self.lines[-5:]}"
        found = self.find(kind)
        assert found is not None
        return found

    def end(self) -> None:
        self.process.send_signal(signal.SIGCONT)
        self.process.terminate()
        try:
            self.process.wait(10.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path, "persistence true", f"persistence_location {tmp_path}/") as broker:
        yield broker


def cut_tick(broker: str) -> int:
    night = Night(broker)
    try:
        return int(night.wait_for("pump-cut")["tick"])
    finally:
        night.end()


@pytest.fixture(scope="module")
def quiet_tick() -> int:
    """The tick of the cut with no broker at all."""
    return cut_tick("none")


def test_two_runs_of_the_daemon_cut_at_the_same_tick(quiet_tick: int) -> None:
    assert cut_tick("none") == quiet_tick


@pytest.mark.parametrize("fault", ["stopped", "stalled", "restarted"])
def test_a_broker_in_trouble_moves_no_tick_and_gets_the_alert_in_the_end(
    broker: Mosquitto, fault: str, quiet_tick: int
) -> None:
    events = "weirkeeper/classroom/events"
    with Reader(broker.port, events, client_id="phone") as phone:
        night = Night(f"127.0.0.1:{broker.port}")
        try:
            night.wait_for("pump-running")
            if fault == "stalled":
                broker.send(signal.SIGSTOP)
            else:
                broker.end(signal.SIGTERM)
                if fault == "restarted":
                    broker.start()
            assert night.wait_for("pump-cut")["tick"] == quiet_tick
            if fault == "stalled":
                time.sleep(1.0)
                assert not [m for m in phone.on(events) if b'"pump-cut"' in m.payload]
                broker.send(signal.SIGCONT)
            elif fault == "stopped":
                broker.start()

            def alerts() -> list[dict[str, Any]]:
                told = [json.loads(m.payload) for m in phone.on(events)]
                return [e for e in told if e["kind"] == "alarm-raised"]

            assert eventually(alerts, 20.0), "the alert never reached the phone"
            told = alerts()[0]
            assert told["alarm"]["row"] == "drain-capacity.overflow-box"
            assert told["tick"] == quiet_tick
            assert told["alarm"]["code"] in told["text"]
        finally:
            night.end()


def test_a_phone_acknowledges_by_the_code_of_the_alert(broker: Mosquitto) -> None:
    events, reply = "weirkeeper/classroom/events", "weirkeeper/classroom/reply"
    with Reader(broker.port, events, reply) as phone:
        night = Night(f"127.0.0.1:{broker.port}")
        try:
            code = night.wait_for("alarm-raised")["code"]
            phone.send("weirkeeper/classroom/command", "acknowledge 0000")
            assert eventually(lambda: phone.on(reply))
            assert json.loads(phone.on(reply)[0].payload)["accepted"] is False
            phone.send("weirkeeper/classroom/command", f"acknowledge {code}")
            night.wait_for("order-obeyed", 10.0)
            assert eventually(lambda: len(phone.on(reply)) > 1)
            assert json.loads(phone.on(reply)[1].payload)["accepted"] is True
        finally:
            night.end()


def test_status_acknowledge_and_reset_at_the_guard(tmp_path: Path) -> None:
    socket = tmp_path / "control.sock"
    night = Night("none", "--socket", str(socket))

    def ask(*words: str) -> subprocess.CompletedProcess[str]:
        command = [*CLI, *words, "--socket", str(socket)]
        return subprocess.run(command, cwd=ROOT, capture_output=True, text=True)

    try:
        code = night.wait_for("alarm-raised")["code"]
        status = ask("status")
        assert status.returncode == 0, status.stderr
        assert "return pump: waiting" in status.stdout
        assert code in status.stdout
        plain = json.loads(ask("status", "--json").stdout)
        assert plain["outputs"]["pump-relay"] is False
        assert ask("acknowledge", code).returncode == 0
        again = ask("acknowledge", code)
        assert (again.returncode, "already" in again.stdout) == (1, True)
        refused = ask("reset")
        assert (refused.returncode, refused.stdout.strip()) == (1, "Nothing is latched.")
    finally:
        night.end()
    gone = ask("status")
    assert gone.returncode == 2
    assert "No guard is running" in gone.stderr


def test_sigterm_in_the_middle_of_a_night_ends_in_order() -> None:
    night = Night("none")
    night.wait_for("pump-running")
    night.process.terminate()
    assert night.process.wait(10.0) == 0
    assert any("every output is off" in line["event"] for line in night.lines)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["run"], "name a site file"),
        (["run", "nowhere.toml"], "cannot be read"),
        (["run", "--simulate", "no-such-night"], "there is no drill"),
        (["run", "--simulate", "--broker", "host:port"], "localhost:1883"),
        (["run", str(ROOT / "simulator/sites/classroom.toml"), "--live"], "--simulate"),
        (["run", str(ROOT / "simulator/sites/classroom.toml")], "--simulate"),
        (["drill", "no-such-night"], "there is no drill"),
        (["drill", "--without", "rain"], "no such hazard"),
        (["drill", "--site", "nowhere.toml"], "cannot be read"),
        (["status", "--socket", "/nowhere/control.sock"], "No guard is running"),
    ],
)
def test_bad_input_is_a_sentence_and_exit_code_2(arguments: list[str], sentence: str) -> None:
    environment = {**os.environ, "GPIOZERO_PIN_FACTORY": "lgpio"}
    done = subprocess.run(
        [*CLI, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True
    )
    assert done.returncode == 2, done.stdout + done.stderr
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
