"""The flight recorder beside a guard: what it writes, and when."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from daemon import flight as flight_module
from daemon.assembly import Assembly
from daemon.flight import AFTER_S, BEFORE_S, LONGEST_S, trip_in
from daemon.loop import RealTime
from daemon.recording.read import Recording
from rules.signals import Event, EventKind, Priority
from simulator.library import site_text
from tests.daemon.boards import MemoryBoard
from tests.daemon.decisions import alarm
from tests.daemon.flights import (
    BEGAN,
    CLASSROOM,
    Bench,
    assert_replays_as_seen,
    span,
)

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
    """Floats in turn raise their alarms every minute; an hour is six minutes here."""
    assert LONGEST_S == 3600.0
    monkeypatch.setattr(flight_module, "LONGEST_S", 360.0)
    bench = Bench(tmp_path)
    bench.run(30)
    floats = ("display-high", "refugium-high", "inlet-high")  # one alone is soon a chattering alarm
    for n in range(9):
        bench.wet(floats[n % len(floats)])
        bench.run(58)
    bench.run(AFTER_S)
    first, second = bench.recordings()
    begins_s, ends_s = span(first)
    assert ends_s - begins_s == pytest.approx(30 + 360, abs=12)
    assert span(second)[0] < ends_s < span(second)[1]
    raised = [d.events[0].t_s for _, d in bench.seen if trip_in(d.events)]
    assert len(raised) == 9
    assert span(second)[1] >= raised[-1] + AFTER_S


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
    bench.clock.stands = True
    bench.run(120)
    bench.wet("display-high")
    bench.run(AFTER_S + 20)
    (path,) = bench.recordings()
    assert path.name.startswith("2026-02-03T02-42-0")
    head = Recording(path).head
    assert head is not None
    assert head.began is not None
    assert abs(head.began - BEGAN) < timedelta(seconds=0.2)


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
