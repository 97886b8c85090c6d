"""The flight recorder beside a guard: what it writes when, and that it never holds a tick up."""

from __future__ import annotations

import asyncio
import gzip
import json
import threading
import time
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas
import pytest
from structlog.testing import capture_logs

from daemon import flight as flight_module
from daemon.assembly import Assembly
from daemon.disk import SystemDisk
from daemon.flight import AFTER_S, BEFORE_S, LONGEST_S, Records, trip_in
from daemon.loop import RealTime
from daemon.machine import THIS
from daemon.pacing import SimulatedTime
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from daemon.worker import ThreadWorker
from rules import engine
from rules.signals import Event, EventKind, Priority
from simulator.library import site_text
from tests.daemon.boards import MemoryBoard
from tests.daemon.brokers import eventually
from tests.daemon.decisions import alarm
from tests.daemon.flights import (
    BEGAN,
    CLASSROOM,
    AtOnce,
    Bench,
    FaultyDisk,
    assert_replays_as_seen,
    span,
)

METER = list(CLASSROOM.sensors).index("return-flow")

# --- what a trip is -------------------------------------------------------------------------------


def raised(priority: Priority) -> Event:
    told = replace(alarm(), priority=priority)
    return Event(EventKind.ALARM_RAISED, 1.0, "display", "It is high", told)


CUT = Event(EventKind.PUMP_CUT, 1.0, "return-pump", "cut", causes=("leak.floor-pad", "x.y"))
HELD = Event(EventKind.PUMP_HELD, 1.0, "return-pump", "not started", causes=("mains.supply",))


@pytest.mark.parametrize(
    ("events", "what"),
    [
        ((), None),
        ((CUT,), "cut-leak.floor-pad"),
        ((HELD,), "held-mains.supply"),
        ((raised(Priority.HIGH),), "alarm-spill-edge.display-high"),
        ((raised(Priority.MEDIUM),), None),
        ((raised(Priority.LOW),), None),
        ((raised(Priority.HIGH), CUT), "cut-leak.floor-pad"),
        ((replace(raised(Priority.HIGH), kind=EventKind.ALARM_RETURNED),), None),
        ((Event(EventKind.PUMP_STARTED, 1.0, "return-pump", "started"),), None),
        ((Event(EventKind.TOP_OFF_CLOSED, 1.0, "top-off-valve", "closed"),), None),
    ],
)
def test_what_trips_the_recorder(events: tuple[Event, ...], what: str | None) -> None:
    trip = trip_in(events)
    assert (trip.what if trip else None) == what


# --- when, and how much ---------------------------------------------------------------------------


def test_ten_minutes_before_and_five_after_to_the_bit(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(900)
    assert bench.recordings() == [], "a night in which nothing happens leaves none"
    bench.wet("display-high")
    tripped_s = next(d.events[0].t_s for _, d in reversed(bench.seen) if d.events)
    bench.run(AFTER_S + 20)
    (path,) = bench.recordings()
    first_s, last_s = span(path)
    assert tripped_s - first_s == pytest.approx(BEFORE_S + 5, abs=5.5)
    assert last_s - tripped_s == pytest.approx(AFTER_S + 5, abs=5.5)
    assert assert_replays_as_seen(path, bench.seen) > 9000
    head = Recording(path).head
    assert head is not None
    assert path.name == "2026-02-03T02-55-01Z-5f2c91ab-cut-spill-edge.display-high.csv.gz"
    assert (head.boot, head.source, head.synchronised) == ("5f2c91ab", "memory", True)
    assert head.began == BEGAN
    assert head.story.startswith("return pump cut")
    assert head.site_text == site_text("classroom")


def test_what_led_to_a_trip_is_on_the_disk_at_once(tmp_path: Path) -> None:
    """A power cut may follow it: there is water on the floor."""
    bench = Bench(tmp_path)
    bench.run(700)
    with capture_logs() as said:
        bench.wet("display-high")
    (path,) = bench.recordings()
    kept = assert_replays_as_seen(path, bench.seen)
    assert kept >= 6000
    comes = [row.said for row in Recording(path).rows(CLASSROOM)][-1]
    assert "pump-cut" in {each.kind for each in comes}, "it ends with the trip itself"
    assert [line["event"] for line in said] == ["recording begun: what led to it is written"]
    assert said[0]["file"] == str(path)


def test_once_written_the_log_tells_where(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    with capture_logs() as said:
        bench.wet("display-high")
        bench.run(AFTER_S + 20)
    (path,) = bench.recordings()
    assert [(line["event"], line["file"]) for line in said][-1] == ("recording written", str(path))
    assert said[-1]["size"].endswith(" kB")


def test_a_trip_at_the_start_has_less_before_it(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.board.wet("display-high", True)
    bench.run(AFTER_S + 30)
    (path,) = bench.recordings()
    assert span(path)[0] == bench.seen[0][0].t_s
    assert_replays_as_seen(path, bench.seen)


def test_a_second_trip_within_it_prolongs_it(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    bench.wet("display-high")
    bench.run(AFTER_S - 60)
    bench.board.contacts["floor-pad"] = not bench.board.contacts["floor-pad"]
    bench.run(2)
    again_s = bench.t_s
    bench.board.good_day()
    bench.run(AFTER_S - 20)
    assert bench.flight.status()["under_way"]
    bench.run(40)
    assert not bench.flight.status()["under_way"]
    (path,) = bench.recordings()
    assert span(path)[1] == pytest.approx(again_s + AFTER_S, abs=12)
    assert_replays_as_seen(path, bench.seen)


def test_a_second_trip_after_it_has_a_recording_of_its_own(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    bench.wet("display-high")
    bench.run(AFTER_S + 60)
    bench.board.contacts["floor-pad"] = not bench.board.contacts["floor-pad"]
    bench.run(AFTER_S + 20)
    first, second = bench.recordings()
    assert "leak.floor-pad" in second.name
    assert span(second)[0] < span(first)[1], "ten minutes before hold the end of the first"
    for path in (first, second):
        assert_replays_as_seen(path, bench.seen)


def test_trips_without_end_make_a_file_an_hour_and_never_a_longer_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A float that hangs loose raises its alarm again every minute; an hour is ten minutes here."""
    assert LONGEST_S == 3600.0
    monkeypatch.setattr(flight_module, "LONGEST_S", 600.0)
    bench = Bench(tmp_path)
    bench.run(30)
    for _ in range(12):
        bench.wet("display-high")
        bench.run(58)
    bench.run(AFTER_S)
    first, second = bench.recordings()
    begins_s, ends_s = span(first)
    assert ends_s - begins_s == pytest.approx(30 + 600, abs=12)
    assert span(second)[0] < ends_s < span(second)[1]
    raised = [d.events[0].t_s for _, d in bench.seen if trip_in(d.events)]
    assert len(raised) == 12
    assert span(second)[1] >= raised[-1] + AFTER_S


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
    assert "alarm-spill-edge" in path.name or "cut-" in path.name or "held-" in path.name
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
    took = []
    for _ in range(3600):
        began_s = time.perf_counter()
        bench.flight.take(bench.t_s, bench.n, bench.clock.wall(), bench.seen[-1][1])
        took.append(time.perf_counter() - began_s)
        bench.tick()
        if bench.n % 100 == 0:
            time.sleep(0.005)  # as a tick that waits for the next would
    assert disk.written == []
    assert sorted(took)[len(took) // 2] < 1e-3
    let.set()
    bench.flight.close()
    assert len(bench.recordings()) == 1
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
    assert sum(block.looks for block in bench.flight._ring.blocks) > 6000
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


# --- what people are told -------------------------------------------------------------------------


def test_status_tells_of_the_newest_recording(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(60)
    assert bench.flight.lines() == ["no recording yet"]
    bench.wet("display-high")
    (path,) = bench.recordings()
    size = path.stat().st_size
    assert bench.flight.lines() == [
        f"newest recording: {path}, {size / 1000:.0f} kB; one is under way"
    ]
    bench.run(AFTER_S + 20)
    (told,) = bench.flight.lines()
    assert told == f"newest recording: {path}, {path.stat().st_size / 1000:.0f} kB"
    status = bench.flight.status()
    assert (status["newest"], status["newest_bytes"]) == (path.name, path.stat().st_size)
    json.dumps(status)
    # and after a restart, of what is there from before
    assert Bench(tmp_path, boot="anew").flight.lines() == [told]


def test_a_hastened_night_has_the_times_it_would_have_had(tmp_path: Path) -> None:
    bench = Bench(tmp_path, hastened=True)
    bench.clock = replace_clock(bench)
    bench.run(120)
    bench.wet("display-high")
    bench.run(AFTER_S + 20)
    (path,) = bench.recordings()
    assert path.name.startswith("2026-02-03T02-42-0")
    head = Recording(path).head
    assert head is not None
    assert head.began is not None
    assert abs(head.began - BEGAN) < timedelta(seconds=0.2)


def replace_clock(bench: Bench):  # type: ignore[no-untyped-def]
    """A clock on the wall that stands still while the night goes by."""

    class Still(type(bench.clock)):  # type: ignore[misc]
        def wall(self) -> datetime:
            return BEGAN.astimezone(UTC)

    return Still()


def test_without_a_place_nothing_is_recorded_and_status_says_so(tmp_path: Path) -> None:
    assembly = Assembly(
        CLASSROOM,
        MemoryBoard(CLASSROOM),
        "boot",
        RealTime(),
        link=None,
        latches=None,
        socket=None,
    )
    assert assembly.flight is None
    assert assembly.status.as_json()["recordings"] is None
    assembly.status.hand_over(0.1, 1, BEGAN, assembly.guard.tick(0.1))
    assert assembly.status.as_json()["lines"][-1] == "nothing is recorded"
