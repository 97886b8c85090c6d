"""A guard that stands still, fails or is told to go: what its outputs do, seen from outside."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from rules.response import LEASE_S
from simulator.library import load_site

pytestmark = pytest.mark.process

ROOT = Path(__file__).parents[2]
SITE = load_site("classroom")
PUMP = f"GPIO{SITE.outputs['pump-relay'].pin}"
HEART = f"GPIO{SITE.outputs['heartbeat'].pin}"
TIMER_S = 2.0  # the external timer relay that the heartbeat feeds


class Outside:
    """Hears every change of the guard's outputs, as a relay would."""

    def __init__(self, *arguments: str) -> None:
        self.ear = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.ear.bind(("127.0.0.1", 0))
        port = self.ear.getsockname()[1]
        self._log = tempfile.TemporaryFile("w+")  # noqa: SIM115 - a pipe nobody reads may fill
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.daemon.outside", str(port), *arguments],
            cwd=ROOT, stderr=self._log, text=True,
        )  # fmt: skip
        self.changes: list[tuple[float, str, bool]] = []

    def listen(self, seconds: float) -> None:
        """Hear what comes in the next `seconds`."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            self.ear.settimeout(left)
            try:
                pin, level = self.ear.recv(64).decode().split()
            except TimeoutError:
                return
            self.changes.append((time.monotonic(), pin, level == "1"))

    def log(self) -> str:
        """What the guard has written so far."""
        self._log.seek(0)
        return self._log.read()

    def close(self) -> None:
        """End it, however it stands."""
        self.process.kill()
        self.process.wait()
        self.ear.close()
        self._log.close()

    def until_pump(self, on: bool, timeout_s: float = 90.0) -> float:
        """Listen until the pump's pin goes to `on`; returns when it did.

        On a busy machine a guard may be held up at its very start, and then rests for a minute.
        """
        until = time.monotonic() + timeout_s
        known = len(self.changes)
        while time.monotonic() < until:
            self.listen(0.05)
            for at, pin, level in self.changes[known:]:
                if pin == PUMP and level is on:
                    return at
            if self.process.poll() is not None and not self.changes[known:]:
                break
        went = f"the pump's pin did not go {'on' if on else 'off'}"
        raise AssertionError(f"{went}; heard {self.changes[-5:]}; it wrote:\n{self.log()}")


@pytest.fixture
def outside(request: pytest.FixtureRequest) -> Iterator[Outside]:
    outside = Outside(*getattr(request, "param", ()))
    yield outside
    outside.close()


def test_a_stopped_process_loses_its_heartbeat_at_once_and_its_lease_when_it_wakes(
    outside: Outside,
) -> None:
    """SIGSTOP for 5 s: outside, the timer relay opens; inside, the first act is to let go."""
    outside.until_pump(True)
    outside.listen(1.5)
    outside.process.send_signal(signal.SIGSTOP)
    stopped_at = time.monotonic()
    outside.listen(5.0)
    while_stopped = [c for c in outside.changes if c[0] > stopped_at + 0.1]
    assert not while_stopped, "a process that stands still cannot move a pin"
    beats = [at for at, pin, _ in outside.changes if pin == HEART]
    assert stopped_at - beats[-1] < 0.7, "until then the heart beat every half second"
    opened_after_s = beats[-1] + TIMER_S - stopped_at
    assert 0.0 < opened_after_s <= TIMER_S, "the timer relay opens within its own time"
    woken_at = time.monotonic()
    outside.process.send_signal(signal.SIGCONT)
    off_at = outside.until_pump(False)
    assert off_at - woken_at < 1.0
    outside.listen(3.0)
    after = [level for at, pin, level in outside.changes if pin == PUMP and at > woken_at]
    assert after == [False], "and it does not come back at once"


@pytest.mark.parametrize("outside", [("5.0",)], indirect=True)
def test_an_exception_inside_the_tick_lets_every_output_go(outside: Outside) -> None:
    outside.until_pump(True)
    outside.until_pump(False, LEASE_S + 5.0)
    assert outside.process.wait(10.0) == 1
    log = outside.log()
    assert "the tick failed; every output is off" in log
    assert "thrown inside the tick by the test" in log


def test_sigterm_lets_every_output_go_and_ends_well(outside: Outside) -> None:
    outside.until_pump(True)
    outside.process.send_signal(signal.SIGTERM)
    outside.until_pump(False)
    assert outside.process.wait(10.0) == 0
    last = {pin: level for _, pin, level in outside.changes}
    assert not any(last.values())
