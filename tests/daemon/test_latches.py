"""What outlives a restart, on disk: what is written is read again, whatever stops the writer."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from structlog.testing import capture_logs

from daemon import latches
from daemon.assembly import Assembly
from daemon.latches import Latches, read_kept
from daemon.loop import RealTime
from rules.memory import Kept
from rules.resting import RESTS_S, RUNS_BORNE
from rules.signals import TICK_S, Phase
from simulator.library import load_site
from tests.daemon.boards import MemoryBoard
from tests.daemon.brokers import eventually

ROOT = Path(__file__).parents[2]
PUMPS = ("return-pump", "feed-pump")
OLD = Kept(frozenset({"leak.floor-pad"}), {"return-pump": 1})
NEW = Kept(frozenset({"leak.floor-pad", "spill-edge.display-high"}), {"return-pump": 2})
ALL = Kept(
    frozenset({"leak.floor-pad"}),
    attempts={"return-pump": 1},
    flaps={"return-pump": 3},
    runs={"feed-pump": 2},
    off_s={"return-pump": 1500.0},
    on=frozenset({"feed-pump"}),
    top_off_used_s=90.0,
    books={"quick": 60.0, "waited": 7200.0},
    baselines={"overflow-box": (0.1671, 0.0011, 172800.0)},
    days={"overflow-box": (0.0, 0.012)},
)
NOBODY_KNOWS = Kept(attempts=dict.fromkeys(PUMPS, len(RESTS_S)))


def written(path: Path, *kepts: Kept) -> None:
    """Keep these one after the other, then close."""
    keeper = Latches(path)
    for kept in kepts:
        keeper.keep(kept)
    keeper.close()


class SlowDisk:
    """A disk that takes nothing until it is let."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.taken = 0
        self.let = threading.Event()
        self._fsync = os.fsync
        monkeypatch.setattr(os, "fsync", self._wait)

    def _wait(self, handle: int) -> None:
        assert self.let.wait(10.0)
        self._fsync(handle)
        self.taken += 1


# --- there and back ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kept",
    [Kept(), OLD, NEW, Kept(attempts={"a": 1, "b": 40}), ALL],
    ids=["nothing", "1", "2", "3", "all"],
)
def test_what_was_kept_is_read_again(tmp_path: Path, kept: Kept) -> None:
    path = tmp_path / "state" / "latched.json"
    written(path, kept)
    assert read_kept(path, PUMPS) == kept
    assert [file.name for file in path.parent.iterdir()] == ["latched.json"]


def test_the_last_of_several_is_what_is_read(tmp_path: Path) -> None:
    path = tmp_path / "latched.json"
    written(path, NEW, OLD, Kept(), OLD)
    assert read_kept(path, PUMPS) == OLD


def test_what_an_older_guard_kept_is_read_and_the_rest_is_nothing(tmp_path: Path) -> None:
    path = tmp_path / "latched.json"
    path.write_text('{"latched": ["leak.floor-pad"], "attempts": {"return-pump": 1}}')
    assert read_kept(path, PUMPS) == OLD


def test_a_missing_file_is_a_first_start_and_nothing_to_speak_of(tmp_path: Path) -> None:
    with capture_logs() as said:
        assert read_kept(tmp_path / "nowhere" / "latched.json", PUMPS) == Kept()
    assert said == []
    assert list(tmp_path.iterdir()) == []


# --- a file that cannot be read ------------------------------------------------------------------

DAMAGED = {
    "empty": b"",
    "cut short": b'{"latched": ["leak.floor-pad"], "attem',
    "zeroes of a lost block": bytes(64),
    "no text": b"\xff\xfe\x00{",
    "no table": b"[]",
    "nothing in it": b"{}",
    "latched missing": b'{"attempts": {}}',
    "attempts missing": b'{"latched": []}',
    "latched is a word": b'{"latched": "leak.floor-pad", "attempts": {}}',
    "latched holds numbers": b'{"latched": [1], "attempts": {}}',
    "attempts is a list": b'{"latched": [], "attempts": ["return-pump"]}',
    "attempts in words": b'{"latched": [], "attempts": {"return-pump": "two"}}',
    "fewer than no attempts": b'{"latched": [], "attempts": {"return-pump": -1}}',
    "attempts without end": b'{"latched": [], "attempts": {"return-pump": Infinity}}',
    "tables without end": b"[" * 200_000,
    "flaps in halves": b'{"latched": [], "attempts": {}, "flaps": {"return-pump": 0.5}}',
    "off since tomorrow": b'{"latched": [], "attempts": {}, "off_s": {"return-pump": -1}}',
    "off without end": b'{"latched": [], "attempts": {}, "off_s": {"return-pump": NaN}}',
    "on is a word": b'{"latched": [], "attempts": {}, "on": "return-pump"}',
}


@pytest.mark.parametrize("content", DAMAGED.values(), ids=DAMAGED)
def test_a_damaged_file_makes_every_pump_wait_and_is_set_aside_and_said(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "latched.json"
    path.write_bytes(content)
    with capture_logs() as said:
        assert read_kept(path, PUMPS) == NOBODY_KNOWS
    assert not path.exists()
    assert (tmp_path / "latched.unreadable").read_bytes() == content
    (line,) = said
    assert line["log_level"] == "error"
    assert "every pump waits before it is started" in line["event"]
    assert "set aside" in line["event"]
    assert line["waits"] == "15 min 00 s"
    assert line["file"] == str(path)


def test_a_file_that_may_not_be_opened_makes_every_pump_wait(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "latched.json"
    written(path, OLD)

    def refuse(*_: object, **__: object) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_text", refuse)
    assert read_kept(path, PUMPS) == NOBODY_KNOWS


def test_a_file_that_cannot_even_be_set_aside_keeps_no_guard_from_starting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "latched.json"
    path.write_bytes(b"{")

    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "replace", refuse)
    with capture_logs() as said:
        assert read_kept(path, PUMPS) == NOBODY_KNOWS
    assert "cannot be set aside" in said[-1]["event"]


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["latched", "attempts", "on", "x"]), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(content=st.binary(max_size=40) | ANY_JSON.map(lambda value: json.dumps(value).encode()))
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_content_raises_or_counts_as_nothing_latched(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "latched.json"
    path.write_bytes(content)
    with capture_logs() as said:
        kept = read_kept(path, PUMPS)
    assert kept == NOBODY_KNOWS or not said


# --- writing -------------------------------------------------------------------------------------

KILLED_AT = """
import os, signal, sys
from pathlib import Path
from daemon.latches import Latches
from rules.memory import Kept

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

if sys.argv[2] == "fsync":
    os.fsync = die
else:
    Path.replace = die
keeper = Latches(Path(sys.argv[1]))
keeper.keep(Kept(frozenset({"leak.floor-pad", "spill-edge.display-high"}), {"return-pump": 2}))
keeper.close()
"""


@pytest.mark.process
@pytest.mark.parametrize("at", ["fsync", "replace"])
def test_a_kill_before_the_new_file_is_in_place_leaves_the_old_one_whole(
    tmp_path: Path, at: str
) -> None:
    path = tmp_path / "latched.json"
    written(path, OLD)
    ended = subprocess.run(
        [sys.executable, "-c", KILLED_AT, str(path), at], cwd=ROOT, check=False, timeout=60
    )
    assert ended.returncode == -signal.SIGKILL
    assert (tmp_path / "latched.new").exists()
    assert read_kept(path, PUMPS) == OLD
    written(path, NEW)
    assert read_kept(path, PUMPS) == NEW


def test_it_is_on_the_disk_before_it_takes_the_place_of_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else a power cut could leave an empty file under the right name."""
    order = []
    fsync, replace = os.fsync, Path.replace

    def note_fsync(handle: int) -> None:
        fsync(handle)
        order.append(("fsync", (tmp_path / "latched.new").read_text(encoding="utf-8")))

    def note_replace(self: Path, target: Path) -> Path:
        order.append(("replace", target.name))
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", note_fsync)
    monkeypatch.setattr(Path, "replace", note_replace)
    written(tmp_path / "latched.json", OLD)
    (first, content), second = order
    assert first == "fsync"
    assert content == latches.text_of(OLD)
    assert second == ("replace", "latched.json")


def test_closing_writes_all_that_was_handed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "latched.json"
    disk = SlowDisk(monkeypatch)
    keeper = Latches(path)
    for kept in (OLD, NEW, Kept(), NEW):
        keeper.keep(kept)
    threading.Timer(0.2, disk.let.set).start()
    keeper.close()
    assert read_kept(path, PUMPS) == NEW
    assert disk.taken == 4


def test_handing_over_never_waits_for_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "latched.json"
    disk = SlowDisk(monkeypatch)
    keeper = Latches(path)
    for kept in (OLD, NEW):
        keeper.keep(kept)
    assert disk.taken == 0
    assert not path.exists()
    disk.let.set()
    keeper.close()
    assert read_kept(path, PUMPS) == NEW


def test_what_has_not_changed_is_not_written_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten times a second all night would wear a card out."""
    disk = SlowDisk(monkeypatch)
    disk.let.set()
    written(tmp_path / "latched.json", *[Kept(OLD.latched, dict(OLD.attempts))] * 100)
    assert disk.taken == 1


def test_a_disk_that_is_full_stops_nothing_and_gets_it_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "latched.json"
    full, write, tried = threading.Event(), Latches._write, []
    full.set()

    def maybe(self: Latches, kept: Kept) -> None:
        tried.append(kept)
        if full.is_set():
            raise OSError(28, "No space left on device")
        write(self, kept)

    monkeypatch.setattr(Latches, "_write", maybe)
    monkeypatch.setattr(latches, "AGAIN_S", 0.02)
    with capture_logs() as said:
        keeper = Latches(path)
        keeper.keep(NEW)
        assert eventually(lambda: len(tried) >= 3, 5.0)
        full.clear()
        assert eventually(path.exists, 5.0)
        keeper.close()
    assert read_kept(path, PUMPS) == NEW
    assert [line["event"] for line in said] == ["latched rows cannot be written; guarding goes on"]


# --- in the running guard ------------------------------------------------------------------------


def assembled(path: Path) -> tuple[Assembly, list[dict[str, Any]]]:
    """A guard put together with this file, and what was said meanwhile."""
    site = load_site("classroom")
    with capture_logs() as said:
        found = Assembly(
            site, MemoryBoard(site), "boot", RealTime(), link=None, latches=path, socket=None
        )
    return found, list(said)


def phase_after(assembly: Assembly, seconds: float) -> Phase:
    """The pump's phase after so long, at four looks to a second."""
    decision = assembly.guard.tick(0.0)
    for i in range(round(seconds / 0.25)):
        decision = assembly.guard.tick(TICK_S + i * 0.25)
    return decision.pumps[0].phase


def test_a_guard_whose_file_is_damaged_starts_no_pump_for_its_longest_rest(tmp_path: Path) -> None:
    path = tmp_path / "latched.json"
    path.write_bytes(b"{")
    assembly, said = assembled(path)
    assert phase_after(assembly, RESTS_S[-1] - 5) is Phase.WAITING
    assert assembly.guard.kept().attempts == {"return-pump": len(RESTS_S)}
    assert said[0]["log_level"] == "error"


def test_a_guard_whose_file_is_damaged_starts_its_pump_after_that(tmp_path: Path) -> None:
    path = tmp_path / "latched.json"
    path.write_bytes(b"{")
    assembly, _ = assembled(path)
    assert phase_after(assembly, RESTS_S[-1] + 5) in (Phase.PROVING, Phase.RUNNING)


def test_a_guard_without_a_file_starts_its_pump_at_once(tmp_path: Path) -> None:
    assembly, said = assembled(tmp_path / "latched.json")
    assert said == []
    assert phase_after(assembly, 5) is Phase.PROVING


def test_a_guard_says_what_it_found(tmp_path: Path) -> None:
    path = tmp_path / "latched.json"
    written(path, OLD)
    assembly, said = assembled(path)
    assert phase_after(assembly, 5) is Phase.LATCHED
    assert assembly.guard.kept() == OLD
    told = {line["event"]: line for line in said}
    assert told["still latched from before the restart"]["rows"] == "leak.floor-pad"
    (waits,) = [line for event, line in told.items() if event.startswith("cut before the restart")]
    assert waits["pumps"] == "return-pump"


def test_a_guard_whose_pump_was_left_on_says_so_and_lets_it_rest_in_the_end(
    tmp_path: Path,
) -> None:
    """Killed once is borne; killed again and again while the pump is on is not."""
    path = tmp_path / "latched.json"
    phases = []
    for _ in range(RUNS_BORNE + 1):
        assembly, said = assembled(path)
        phases.append(phase_after(assembly, 5))
        written(path, assembly.guard.kept())  # killed: what it kept last is what is found
    assert phases == [Phase.PROVING] * RUNS_BORNE + [Phase.WAITING]
    assert [line["pumps"] for line in said if "not stopped in order" in line["event"]]


async def test_a_guard_that_is_stopped_in_order_leaves_no_pump_on(tmp_path: Path) -> None:
    path = tmp_path / "latched.json"
    assembly, _ = assembled(path)
    assembly.loop.listeners.append(
        lambda t_s, *_: assembly.loop.stop() if assembly.guard.kept().on else None
    )
    assert await assembly.run() == 0
    assert assembly.guard.kept().on == {"return-pump"}
    assert read_kept(path, PUMPS) == Kept()
