"""Recordings as files: what is written comes back the same, whatever it is."""

from __future__ import annotations

import csv
import gzip
import io
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from daemon.errors import InputError
from daemon.guard import Guard
from daemon.recording import remembered
from daemon.recording.blocks import Block, Look, Packer, Ring, Stretch, recording
from daemon.recording.format import Head, Said
from daemon.recording.measures import UNITS
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from daemon.recording.write import RecordingFile, Writer
from rules.engine import plan_for
from rules.memory import Memory, begin
from rules.signals import (
    TICK_S,
    Command,
    Event,
    EventKind,
    Observation,
    Order,
    Origin,
    Quality,
    Reading,
)
from rules.site.parse import parse_site
from rules.site.sensors import FlowMeter, Sensor
from simulator.library import site_text
from simulator.night.host import Host
from simulator.night.runner import make_stand
from simulator.water.plant import Plant
from tests.daemon.boards import MemoryBoard
from tests.daemon.decisions import WALL
from tests.daemon.tapes import Tape, assert_replays_to_the_bit, head, site, tape

CLASSROOM = site("classroom")
ODD = "a#b,c;d:e\"f'g%h\n\r\x00\t \u2028\u00e4\U0001f41f"


def written(
    rows: list[tuple[Observation, tuple[bool, ...], tuple[Event, ...]]],
    said: Head | None = None,
) -> str:
    """A recording's text."""
    stream = io.StringIO(newline="")
    writer = Writer(stream, said or head("classroom"), CLASSROOM)
    for observation, outputs, events in rows:
        writer.row(observation, outputs, events)
    writer.end()
    return stream.getvalue()


def read_back(folder: Path, text: str) -> Recording:
    """The same text as a file."""
    path = folder / "back.csv"
    path.write_bytes(text.encode())
    return Recording(path)


# --- what is written comes back ------------------------------------------------------------------

TEXTS = st.one_of(st.sampled_from([ODD, "", " ", "%41", "#=", "\udcff"]), st.text(max_size=20))
NUMBERS = st.floats(allow_nan=True, allow_infinity=True)
READINGS = st.builds(
    Reading,
    NUMBERS,
    st.sampled_from(list(Quality)),
    st.one_of(st.just(0.0), st.floats(0, 1e9)),
    st.one_of(st.just(""), TEXTS),
)
COMMANDS = st.builds(
    Command, st.sampled_from(list(Order)), TEXTS, st.sampled_from(list(Origin)), TEXTS
)
EVENTS = st.builds(Event, st.sampled_from(list(EventKind)), st.just(0.0), TEXTS, TEXTS)


@st.composite
def looks(draw: st.DrawFn) -> list[tuple[Observation, tuple[bool, ...], tuple[Event, ...]]]:
    """Rows of the demo site with whatever a guard could come to see, and more."""
    times = draw(st.lists(st.floats(0, 1e9), min_size=1, max_size=4, unique=True))
    contact = st.builds(replace, READINGS, value=st.sampled_from([0.0, 1.0, math.nan]))
    flags = st.lists(
        st.booleans(), min_size=len(CLASSROOM.outputs), max_size=len(CLASSROOM.outputs)
    )
    rows = []
    for t_s in sorted(times):
        readings = tuple(
            draw(READINGS if isinstance(sensor, FlowMeter) else contact)
            for sensor in CLASSROOM.sensors.values()
        )
        commands = tuple(draw(st.lists(COMMANDS, max_size=2)))
        observation = Observation(t_s, readings, commands, tuple(draw(flags)))
        rows.append((observation, tuple(draw(flags)), tuple(draw(st.lists(EVENTS, max_size=2)))))
    return rows


@given(rows=looks())
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_is_seen_said_and_ordered_comes_back_the_same(
    rows: list[tuple[Observation, tuple[bool, ...], tuple[Event, ...]]],
    tmp_path: Path,
) -> None:
    recording = read_back(tmp_path, written(rows))
    back = list(recording.rows(CLASSROOM))
    assert recording.whole
    for row, (observation, outputs, events) in zip(back, rows, strict=True):
        again = Observation(row.t_s, row.readings, row.commands, row.dropped)  # type: ignore[arg-type]
        assert repr(again) == repr(observation)
        assert row.on == outputs
        assert row.said == tuple(map(Said.of, events))


@given(
    text=st.text(st.characters(exclude_characters="\r\0", exclude_categories=["Cs"])),
    story=TEXTS,
    offset_min=st.integers(-720, 720),
    follows=st.sampled_from([True, False, None]),
)
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_the_head_comes_back_the_same(
    text: str, story: str, offset_min: int, follows: bool | None, tmp_path: Path
) -> None:
    zone = timezone(timedelta(minutes=offset_min))
    began = datetime(2026, 2, 3, 2, 40, 0, 123456, zone)
    said = Head("classroom", text, "boot-1", "pins", began, ("leak", "mains"), story, follows)
    recording = read_back(tmp_path, written([], said))
    assert recording.head == said


def test_a_row_is_one_line_without_quotes_whatever_is_in_it(tmp_path: Path) -> None:
    why = Reading(math.nan, Quality.BAD, 0.25, ODD)
    order = Command(Order.ACKNOWLEDGE, ODD, Origin.BROKER, ODD)
    event = Event(EventKind.ORDER_REFUSED, 1.0, ODD, ODD)
    plain = [Reading(0.0)] * (len(CLASSROOM.sensors) - 1)
    seen = Observation(1.0, (why, *plain), (order,), (True,) * 5)
    text = written([(seen, (False,) * 5, (event,))])
    row = text.split("\n")[-3]
    assert row.startswith("1.0,,0,0,")
    assert not set('"\r\0#\u2028') & set(row)
    assert len(row.split(",")) == len(next(csv.reader([row])))
    assert row.isascii()


def test_a_recording_survives_line_ends_of_another_system(tmp_path: Path) -> None:
    rows = [(Observation(0.1, (Reading(0.0),) * 10, (), (False,) * 5), (True,) * 5, ())]
    recording = read_back(tmp_path, written(rows).replace("\n", "\r\n"))
    assert recording.own_site() == CLASSROOM
    assert len(list(recording.rows(CLASSROOM))) == 1
    assert recording.whole


def test_every_kind_of_sensor_has_a_column() -> None:
    kinds = {
        kind
        for model in get_args(get_args(Sensor)[0])
        for kind in get_args(model.model_fields["kind"].annotation)
    }
    assert set(UNITS) == kinds
    assert all(next(iter(units.values())) == 1.0 for units in UNITS.values()), "we write SI"


def test_units_are_what_standards_say() -> None:
    """US gallon of 231 cubic inches, inch of 25.4 mm: NIST Handbook 44, appendix C."""
    flow, level = UNITS["flow-meter"], UNITS["level"]
    assert flow["gal_min"] * 60 == pytest.approx(3.785411784e-3, rel=1e-12)
    assert flow["gal_h"] * 3600 == pytest.approx(3.785411784e-3, rel=1e-12)
    assert flow["l_min"] * 60000 == pytest.approx(1.0, rel=1e-12)
    assert flow["l_h"] * 3.6e6 == pytest.approx(1.0, rel=1e-12)
    assert level["in"] == 0.0254


def test_pandas_reads_it_in_one_line(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    made = tape(tmp_path / "night.csv.gz", "main-drain-blocked")
    frame = pandas.read_csv(made.path, comment="#")
    assert list(frame.columns[:3]) == ["t_s", "display-high.wet", "box-watch.wet"]
    assert len(frame) == len(made.seen)
    assert frame["t_s"].iloc[-1] == pytest.approx(made.seen[-1][0].t_s)
    at = list(made.site.sensors).index("return-flow")
    flows = [seen.readings[at].value for seen, _ in made.seen]
    assert frame["return-flow.m3_s"].tolist() == pytest.approx(flows)
    assert frame["events"].dropna().str.contains("pump-cut:return-pump").sum() >= 1


# --- files ---------------------------------------------------------------------------------------


def test_a_run_that_fails_leaves_no_file_and_spares_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "night.csv"
    path.write_text("the one before")

    def fail() -> None:
        with RecordingFile(path, head("classroom"), CLASSROOM) as file:
            Bench().run(1.0, file.take)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert path.read_text() == "the one before"
    assert [entry.name for entry in tmp_path.iterdir()] == ["night.csv"]


def test_a_run_without_a_look_leaves_no_file(tmp_path: Path) -> None:
    with RecordingFile(tmp_path / "night.csv", head("classroom"), CLASSROOM):
        pass
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "none" / "night.csv"
    with pytest.raises(InputError, match="cannot be written"):
        RecordingFile(path, head("classroom"), CLASSROOM).__enter__()


def test_the_same_night_is_the_same_file(tmp_path: Path) -> None:
    first = tape(tmp_path / "a.csv.gz", "main-drain-blocked")
    second = tape(tmp_path / "b.csv.gz", "main-drain-blocked")
    assert first.path.read_bytes() == second.path.read_bytes()
    assert gzip.decompress(first.path.read_bytes()).endswith(b" rows\n")


# --- the last minutes in memory ------------------------------------------------------------------


class Bench:
    """A guard on a board in memory, ticked by hand."""

    def __init__(self) -> None:
        self.board = MemoryBoard(CLASSROOM)
        self.guard = Guard(CLASSROOM, self.board, "boot-7")
        self.n = 0

    def run(self, seconds: float, *taps) -> None:  # type: ignore[no-untyped-def]
        for _ in range(round(seconds / TICK_S)):
            self.n += 1
            if self.board.on["pump-relay"]:
                self.board.counts["return-flow"] += 50
            decision = self.guard.tick(self.n * TICK_S)
            for tap in taps:
                tap(self.n * TICK_S, self.guard.observation, decision, self.guard)


class Packing:
    """Packs the looks of a bench, a hundred at a time, as the flight recorder does."""

    def __init__(self, keeps_s: float = 60.0, most: int = 1000) -> None:
        self.ring = Ring(keeps_s, most)
        self._packer = Packer(CLASSROOM)
        self._looks: list[Look] = []
        self._before: Memory | None = None
        self.number = 0

    def take(self, t_s, seen, decision, guard) -> None:  # type: ignore[no-untyped-def]
        self._before = self._before or guard.before
        look = Look(
            guard.before.t_s, seen, decision.outputs, decision.events, WALL, len(decision.alarms)
        )
        self._looks.append(look)
        if len(self._looks) == 100:
            stretch = Stretch(self.number, guard.plan, self._before, tuple(self._looks))
            self.ring.add(self._packer.pack(stretch))
            self._looks, self._before = [], None
            self.number += 1

    def write(self, path: Path, blocks: tuple[Block, ...] | None = None) -> int:
        """Write what is kept; returns its rows."""
        kept = self.ring.blocks if blocks is None else blocks
        path.write_bytes(recording(head("classroom"), CLASSROOM, kept))
        return sum(block.looks for block in kept)


def test_the_last_minutes_replay_to_the_bit_from_the_midst_of_a_night(tmp_path: Path) -> None:
    """What the guard remembered where they begin stands in the file: a latch from before too."""
    bench, kept = Bench(), Tape(tmp_path / "last.csv.gz", CLASSROOM)
    packing = Packing()

    def note(t_s, seen, decision, guard) -> None:  # type: ignore[no-untyped-def]
        kept.seen.append((seen, decision))

    bench.run(60, packing.take, note)
    bench.board.wet("display-high", True)
    bench.run(10, packing.take, note)
    bench.board.good_day()
    bench.run(120, packing.take, note)
    rows = packing.write(kept.path)
    assert 600 <= rows <= 700
    kept.seen = kept.seen[-rows:]
    assert_replays_to_the_bit(kept)
    last = list(kept.replay().play())[-1].decision
    assert [alarm.row for alarm in last.alarms] == ["spill-edge.display-high"]
    assert last.alarms == kept.seen[-1][1].alarms, "its code and its occurrence as well"


def test_after_looks_that_are_lost_it_goes_on_with_what_the_guard_remembered(
    tmp_path: Path,
) -> None:
    bench, kept = Bench(), Tape(tmp_path / "gap.csv.gz", CLASSROOM)
    packing = Packing(keeps_s=600.0)
    bench.run(
        200, packing.take, lambda _t, seen, decision, _guard: kept.seen.append((seen, decision))
    )
    blocks = packing.ring.blocks
    packing.write(kept.path, blocks[:5] + blocks[12:])
    kept.seen = kept.seen[:500] + kept.seen[1200:]
    assert_replays_to_the_bit(kept)


def test_the_ring_keeps_no_more_than_it_is_told() -> None:
    packing = Packing(keeps_s=20.0)
    bench, spans = Bench(), []
    for _ in range(30):
        bench.run(10, packing.take)
        blocks = packing.ring.blocks
        spans.append(blocks[-1].last_s - blocks[0].first_s)
    assert max(spans) <= 30.0
    assert min(spans[3:]) >= 20.0


def test_a_burst_of_looks_does_not_fill_the_memory() -> None:
    packing = Packing(keeps_s=1e9, most=5)
    Bench().run(100, packing.take)
    assert [block.number for block in packing.ring.blocks] == [5, 6, 7, 8, 9]


def test_packed_looks_take_a_fraction_of_what_they_take_as_they_are() -> None:
    packing = Packing()
    Bench().run(60, packing.take)
    taken = sum(len(block.rows) + len(block.remembered) for block in packing.ring.blocks)
    assert taken / sum(block.looks for block in packing.ring.blocks) < 40


# --- what the guard remembers --------------------------------------------------------------------


def test_the_memory_of_a_bad_night_comes_back_the_same() -> None:
    bench = Bench()
    bench.run(60)
    bench.board.wet("box-watch", True)
    bench.board.broken.add("floor-pad")
    bench.run(20)
    plan, memory = bench.guard.plan, bench.guard.before
    assert any(row.held or row.standing for row in memory.rows)
    assert remembered.read(remembered.line(plan, memory), plan) == memory
    assert remembered.read(remembered.line(plan, begin(plan, "x")), plan) == begin(plan, "x")


def test_what_another_matrix_knows_too_is_taken_over_by_its_id() -> None:
    bench = Bench()
    bench.run(60)
    bench.board.wet("display-high", True)
    bench.run(5)
    text = remembered.line(bench.guard.plan, bench.guard.before)
    fewer = plan_for(CLASSROOM, frozenset({"leak", "drain-capacity"}))
    taken = remembered.read(text, fewer)
    held = {row.id for row, state in zip(fewer.rows, taken.rows, strict=True) if state.held}
    assert held == {"spill-edge.display-high"}


NO_MEMORIES = ("", "{}", "[]", "null", '{"memory": 1}', '{"rows":[],"sensors":[]}', "{" * 5000)


@pytest.mark.parametrize("text", NO_MEMORIES)
def test_a_memory_that_is_none_is_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match="what the guard remembered cannot be read"):
        remembered.read(text, plan_for(CLASSROOM))


# --- a guard that is started anew in the midst of a night -----------------------------------------


def test_a_night_with_a_guard_killed_in_it_replays_to_the_bit(tmp_path: Path) -> None:
    """Each of the two guards begins with what it really remembered, and the latch lives on."""
    made = Tape(tmp_path / "killed.csv", CLASSROOM)
    plant = Plant(CLASSROOM, 3, timer_relay=True)
    plant.settle()
    stand, board = make_stand(CLASSROOM, plant, "plant")
    host = Host(CLASSROOM, board, "boot")
    with RecordingFile(made.path, head("classroom"), CLASSROOM) as file:
        for n in range(1, 1800):
            if n == 900:
                stand.sensors.contacts["display-high"].stuck = True
            if n == 1000:
                stand.sensors.contacts["display-high"].stuck = None
            if n == 1200:
                host.kill(back_after_s=5.0)
            stand.advance_to(n * TICK_S)
            decision = host.tick(n * TICK_S)
            guard = host.guard
            if guard is not None and guard.observation and guard.observation.t_s == n * TICK_S:
                made.seen.append((guard.observation, decision))
                file.take(n * TICK_S, guard.observation, decision, guard)
    text = made.path.read_text()
    assert text.count("\n#=") == 2
    assert_replays_to_the_bit(made)
    raised = [e.t_s for e in made.events if e.kind is EventKind.ALARM_RAISED]
    assert len(raised) == 2, "the latch is told again by the second guard"
    assert raised[0] < 120 < raised[1]


def test_times_of_the_first_row_may_be_late(tmp_path: Path) -> None:
    """A guard that has run for a year is recorded as well as a new one."""
    bench = Bench()
    bench.n = round(365 * 86400 / TICK_S)
    path = tmp_path / "late.csv"
    with RecordingFile(
        path, replace(head("classroom"), began=datetime.now(UTC)), CLASSROOM
    ) as file:
        bench.run(5, file.take)
    recording = Recording(path)
    played = list(Replay(recording, recording.own_site()).play())
    assert played[0].t_s == pytest.approx(365 * 86400, abs=1)
    assert len(played) == 50


def test_a_guard_that_sees_nothing_is_recorded_too(tmp_path: Path) -> None:
    """It still has outputs; what it remembered is put down once."""
    text = site_text("classroom")
    start, end = text.index("[sensors.display-high]"), text.index("[outputs.pump-relay]")
    blind = parse_site(text[:start] + text[end:], "blind.toml")
    guard = Guard(blind, MemoryBoard(blind), "boot-9")
    path = tmp_path / "blind.csv"
    with RecordingFile(path, replace(head("classroom"), site_text=""), blind) as file:
        for n in range(1, 100):
            decision = guard.tick(n * TICK_S)
            assert guard.observation is not None
            file.take(n * TICK_S, guard.observation, decision, guard)
    assert path.read_text().count("#=") == 1
    played = list(Replay(Recording(path), blind).play())
    assert len(played) == 99
    assert played[-1].decision == decision
