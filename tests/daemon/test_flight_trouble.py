"""The flight recorder in trouble: guards that end, disks that stall, looks without end."""

from __future__ import annotations

import asyncio
import gzip
import threading
import time
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pandas
import pytest
from structlog.testing import capture_logs

from daemon import flight as flight_module
from daemon.assembly import Assembly
from daemon.disk import SystemDisk
from daemon.flight import AFTER_S, Records
from daemon.machine import THIS
from daemon.pacing import SimulatedTime
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from daemon.worker import ThreadWorker
from rules import engine
from simulator.library import site_text
from tests.daemon.boards import MemoryBoard
from tests.daemon.brokers import eventually
from tests.daemon.flights import (
    CLASSROOM,
    AtOnce,
    Bench,
    FaultyDisk,
    assert_replays_as_seen,
    span,
)

METER = list(CLASSROOM.sensors).index("return-flow")

# --- the end of a guard ---------------------------------------------------------------------------


def test_a_stop_in_the_midst_writes_what_there_is(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    bench.wet("display-high")
    bench.run(33.3)
    bench.flight.close()
    (path,) = bench.recordings()
    assert span(path)[1] == bench.t_s, "to the very last look"
    assert_replays_as_seen(path, bench.seen)
    (day,) = bench.days()
    assert day.read_text().count("\n2026-02-03T02:4") == 2


def test_a_stop_without_a_trip_leaves_no_recording(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    bench.flight.close()
    assert bench.recordings() == []
    assert len(bench.days()) == 1


def assembled(state: Path, *, disk: SystemDisk | None = None, looks: int = 300) -> Assembly:
    """A whole daemon without broker or socket, as fast as it can; ends after so many looks."""
    made: list[Assembly] = []
    pace = SimulatedTime(lambda: made[0].loop.tally.ticks >= looks, lambda: 500.0)
    records = Records(state, site_text("classroom"), "memory", hastened=True)
    made.append(
        Assembly(
            CLASSROOM,
            MemoryBoard(CLASSROOM),
            "5f2c91ab",
            pace,
            link=None,
            latches=None,
            socket=None,
            records=records,
            machine=replace(THIS, disk=disk) if disk else THIS,
        )
    )
    return made[0]


def test_a_tick_that_fails_is_recorded_with_the_look_it_failed_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assembly = assembled(tmp_path)
    step, steps = engine.step, []

    def fails(*told: object) -> object:
        steps.append(told)
        if len(steps) == 150:
            raise ZeroDivisionError("a margin of nought")
        return step(*told)  # type: ignore[arg-type]

    monkeypatch.setattr(engine, "step", fails)
    assert asyncio.run(assembly.run()) == 1
    monkeypatch.undo()
    (path,) = (tmp_path / "recordings").glob("*")
    assert path.name.endswith("-5f2c91ab-failed.csv.gz")
    recording = Recording(path)
    assert len(list(Replay(recording, CLASSROOM).play())) == 149
    assert recording.whole
    assert recording.head is not None
    assert recording.head.story == "the tick failed: ZeroDivisionError: a margin of nought"
    text = gzip.decompress(path.read_bytes()).decode()
    assert text.splitlines()[-2].startswith("#!15.0,")
    # with its mark taken off it is a row: whoever looks for the mistake meets it again
    again = tmp_path / "again.csv"
    again.write_text(text.replace("#!", ""))
    assert len(list(Recording(again).rows(CLASSROOM))) == 150
    assert len(pandas.read_csv(path, comment="#")) == 149


def test_a_tick_that_fails_right_after_a_trip_ends_that_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assembly = assembled(tmp_path)
    board = assembly.guard.leases._board
    assert isinstance(board, MemoryBoard)
    assembly.loop.before.append(lambda t_s: board.wet("display-high", True) if t_s > 10 else None)
    assembly.loop.before.append(lambda t_s: board.broken.add("pump-relay") if t_s > 15 else None)
    assert asyncio.run(assembly.run()) == 1
    (path,) = (tmp_path / "recordings").glob("*")
    assert "-cut-spill-edge.display-high" in path.name
    head = Recording(path).head
    assert head is not None
    assert head.story.endswith("Then the tick failed: OSError: output test")


# --- the tick is never held up --------------------------------------------------------------------


def test_the_disk_is_never_touched_by_the_thread_that_ticks(tmp_path: Path) -> None:
    disk = FaultyDisk()
    threads: set[str] = set()
    disk.before = lambda: threads.add(threading.current_thread().name)
    bench = Bench(tmp_path, hire=ThreadWorker, disk=disk)
    bench.run(60)
    bench.wet("display-high")
    bench.run(30)
    bench.flight.close()
    assert threads == {"archive"}
    assert len(bench.recordings()) == 1


def test_a_disk_that_stalls_holds_no_tick_up_and_gets_it_all_in_the_end(tmp_path: Path) -> None:
    disk, let = FaultyDisk(), threading.Event()
    disk.before = lambda: assert_let(let)
    bench = Bench(tmp_path, hire=ThreadWorker, disk=disk)
    bench.run(60)
    bench.board.wet("display-high", True)
    for _ in range(3600):
        bench.tick()
        if bench.n % 100 == 0:
            time.sleep(0.005)  # as a guard that waits for its next look would
    assert disk.written == []
    assert sorted(bench.took_s)[len(bench.took_s) // 2] < 1e-3, "usually a thousandth of that"
    let.set()
    bench.flight.close()
    (path,) = bench.recordings()
    assert assert_replays_as_seen(path, bench.seen) > 3000
    assert len(bench.days()) == 1


def assert_let(let: threading.Event) -> None:
    assert let.wait(60.0)


def test_an_end_waits_for_a_stalled_disk_for_some_seconds_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(flight_module, "WRITING_S", 0.3)
    disk, let = FaultyDisk(), threading.Event()
    disk.before = lambda: assert_let(let)
    bench = Bench(tmp_path, hire=ThreadWorker, disk=disk)
    bench.run(60)
    bench.wet("display-high")
    began_s = time.monotonic()
    bench.flight.close()
    assert time.monotonic() - began_s < flight_module.PACKING_S + 1.0
    let.set()
    assert eventually(bench.recordings, 10.0)


def test_a_disk_that_is_full_is_said_once_and_gets_it_when_there_is_room(tmp_path: Path) -> None:
    disk = FaultyDisk()
    disk.full = True
    bench = Bench(tmp_path, disk=disk)
    bench.run(60)
    with capture_logs() as said:
        bench.wet("display-high")
        bench.run(700)
        assert bench.recordings() == []
        trouble = bench.flight.status()["trouble"]
        disk.full = False
        bench.run(60)
        bench.flight.close()
    assert trouble == "No space left on device"
    errors = [line["event"] for line in said if line["log_level"] == "error"]
    assert errors == ["recordings cannot be written; guarding goes on"]
    (path,) = bench.recordings()
    assert_replays_as_seen(path, bench.seen)
    assert bench.flight.status()["trouble"] is None
    (day,) = bench.days()
    assert len(pandas.read_csv(day, comment="#")) == 14, "no minute is missing"


def test_a_mistake_in_the_recorder_is_said_and_does_not_end_the_guard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    monkeypatch.setattr(bench.flight._packer, "pack", lambda _stretch: 1 // 0)
    with capture_logs() as said:
        bench.run(60)
    assert [line["event"] for line in said] == ["nothing more is recorded; guarding goes on"]
    assert bench.flight.status()["trouble"].startswith("ZeroDivisionError")
    assert bench.flight.lines()[-1].startswith("nothing more is recorded: ZeroDivisionError")
    assert len(bench.flight._waiting) <= flight_module.MOST_WAITING


# --- memory ---------------------------------------------------------------------------------------


def test_an_hour_of_looks_takes_no_more_memory_than_ten_minutes(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(20)
    seen, decision = bench.seen[-1]

    def looks(seconds: float) -> None:
        """Looks as the guard has them, without a guard: it would be much slower under watch."""
        for _ in range(round(seconds * 10)):
            bench.n += 1
            bench.clock.now_s = bench.n / 10 + bench.n % 9 * 1e-6
            flow = replace(seen.readings[METER], value=1.1e-3 + bench.n * 31 % 17 * 1e-6)
            readings = (*seen.readings[:METER], flow, *seen.readings[METER + 1 :])
            bench.guard.observation = replace(seen, t_s=bench.clock.now_s, readings=readings)
            bench.flight.take(bench.clock.now_s, bench.n, bench.clock.wall(), decision)
            bench.wake_those_due()

    tracemalloc.start()
    try:
        sizes = []
        for _ in range(4):
            looks(900)
            sizes.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert sum(block.looks for block in bench.flight.ring.blocks) > 6000
    assert max(sizes) < 500_000, "the ring, and some looks that are not packed yet"
    assert sizes[-1] < sizes[0] + 50_000
    assert len(bench.days()) == 1


def test_looks_that_nobody_packs_do_not_pile_up(tmp_path: Path) -> None:
    """The worker is held up: the oldest go, and the recording says what was remembered after."""

    class Held(AtOnce):
        def wake(self) -> None:
            if go.is_set():
                super().wake()

    go = threading.Event()
    bench = Bench(tmp_path, hire=Held)
    bench.run(1000)
    assert len(bench.flight._waiting) == flight_module.MOST_WAITING
    go.set()
    bench.wet("display-high")
    bench.run(AFTER_S + 20)
    (path,) = bench.recordings()
    assert_replays_as_seen(path, bench.seen)
    assert span(path)[0] == pytest.approx(700, abs=11)
