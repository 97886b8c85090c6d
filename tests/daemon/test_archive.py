"""What is kept of recordings: by count, by size, by day, and never at the cost of the disk."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import zlib
from datetime import timedelta
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from daemon.machine import THIS, Machine
from daemon.recording import archive as archive_module
from daemon.recording.archive import Archive, Job, Limits, name_of
from daemon.recording.blocks import Block
from daemon.recording.format import Head
from daemon.recording.read import Recording
from daemon.worker import Turn, Worker
from tests.daemon.flights import BEGAN, CLASSROOM, AtOnce, FaultyDisk, HandClock

ROOT = Path(__file__).parents[2]
HEAD = Head("classroom", "", "5f2c91ab")


def block(size: int) -> Block:
    """A block that takes about so much room in a file, and holds no row."""
    return Block(0, 0.0, 1.0, 0, zlib.compress(b"{}"), os.urandom(size))


class Shelf:
    """An archive in a folder, with a clock and a disk in the test's hand."""

    def __init__(self, folder: Path, *, hours: float = 0.0, **limits: int) -> None:
        self.folder = folder / "recordings"
        self.clock, self.disk = HandClock(BEGAN + timedelta(hours=hours)), FaultyDisk()
        self.workers: list[AtOnce] = []

        def hire(name: str, turn: Turn) -> Worker:
            self.workers.append(AtOnce(name, turn))
            return self.workers[-1]

        machine = Machine(self.clock, hire, self.disk, THIS.open_session)
        self.archive = Archive(folder, CLASSROOM, "5f2c91ab", machine, Limits(**limits))

    def put(self, what: str, size: int = 1000, *, grave: bool = True, whole: bool = True) -> str:
        """Have a recording of about this size written now; returns its name."""
        name = name_of(self.clock.wall(), "5f2c91ab", what)
        self.archive.put(Job(name, HEAD, (block(size),), grave, whole))
        return name

    def later(self, hours: float) -> None:
        self.clock.now_s += hours * 3600

    @property
    def names(self) -> list[str]:
        return sorted(path.name for path in self.folder.glob("*"))


def test_names_sort_by_time_and_hold_nothing_that_a_file_system_would_mind() -> None:
    name = name_of(BEGAN, "ab12", "cut-odd/../row: \u00e4 %")
    assert name == "2026-02-03T02-40-00Z-ab12-cut-odd-..-row.csv.gz"
    later = name_of(BEGAN + timedelta(seconds=1), "0000", "alarm-x")
    assert sorted([later, name]) == [name, later]
    assert len(name_of(BEGAN, "ab12", "x" * 500)) < 140


def test_the_oldest_go_when_there_are_too_many(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, files=3)
    names = []
    for number in range(6):
        names.append(shelf.put(f"cut-{number}"))
        shelf.later(30)
    assert shelf.names == names[-3:]
    assert shelf.archive.standing.files == 3


def test_the_oldest_go_when_they_take_too_much_room(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, bytes=11_000)
    names = []
    for number in range(6):
        names.append(shelf.put(f"cut-{number}", 3000))
        shelf.later(30)
    assert shelf.names == names[-3:]
    assert sum(path.stat().st_size for path in shelf.folder.glob("*")) <= 11_000


def test_the_one_just_written_never_goes_however_big_or_old_it_looks(tmp_path: Path) -> None:
    """A machine without a clock of its own may think it is 1970."""
    shelf = Shelf(tmp_path, files=2, bytes=5_000)
    for number in range(2):
        shelf.put(f"cut-{number}")
        shelf.later(30)
    shelf.clock.began -= timedelta(days=20_000)
    early = shelf.put("cut-early", 9_000)
    assert shelf.names == [early]


def test_files_that_are_not_ours_stay(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, files=1)
    shelf.folder.mkdir()
    (shelf.folder / "notes.txt").write_text("the snail was in the main drain")
    (shelf.folder / "saved-cut.csv.gz").write_bytes(b"x" * 100)
    for number in range(3):
        shelf.put(f"cut-{number}")
        shelf.later(30)
    assert len(shelf.names) == 3
    assert {"notes.txt", "saved-cut.csv.gz"} < set(shelf.names)


def test_an_alarm_that_comes_and_goes_does_not_wear_the_card_out(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, files_a_day=10)
    with capture_logs() as said:
        for _ in range(48):
            shelf.put("alarm-x", grave=False)
            shelf.later(0.5)
    days = len([name for name in shelf.names if name.startswith("2026-02-03")])
    assert days <= 5, "alarms that cut nothing may use half of a day's"
    told = [line["event"] for line in said if line["log_level"] == "warning"]
    assert told == ["no recording of this: enough were written"], "and that is said once"


def test_a_cut_finds_room_after_a_day_of_such_alarms(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, files_a_day=10, bytes_a_day=10_000_000)
    for _ in range(20):
        shelf.put("alarm-x", grave=False)
        shelf.later(0.5)
    cut = shelf.put("cut-leak.floor-pad")
    assert cut in shelf.names


def test_a_day_later_there_is_room_again(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, files_a_day=2)
    first = [shelf.put("cut-1"), shelf.put("cut-2"), shelf.put("cut-3")]
    assert shelf.names == first[:2]
    shelf.later(24.1)
    assert shelf.put("cut-4") in shelf.names


def test_what_is_written_in_a_day_is_bounded_in_bytes_too(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, bytes_a_day=50_000, files_a_day=1000)
    for number in range(100):
        shelf.put(f"cut-{number}", 4_000)
        shelf.later(0.1)
    assert 40_000 < sum(size for _, size in shelf.disk.written) < 60_000


def test_a_recording_that_was_begun_is_ended_in_any_case(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, files_a_day=1)
    begun = shelf.put("cut-1", 100, whole=False)
    ended = shelf.put("cut-1", 5000)
    assert begun == ended
    assert (shelf.folder / ended).stat().st_size > 5000


def test_a_guard_that_dies_at_every_start_is_held_to_the_same_day(tmp_path: Path) -> None:
    """Each of its runs sees what the runs before it wrote."""
    for number in range(40):
        shelf = Shelf(tmp_path, hours=number * 0.1, files_a_day=8)
        shelf.put("failed")
    assert len(shelf.names) == 8


def test_names_in_the_future_do_not_count_for_this_day(tmp_path: Path) -> None:
    """The clock was wrong once; that must not keep anything from being recorded for ever."""
    ahead = Shelf(tmp_path, hours=100_000, files_a_day=2)
    ahead.put("cut-1")
    ahead.put("cut-2")
    shelf = Shelf(tmp_path, files_a_day=2)
    assert shelf.put("cut-3") in shelf.names


def test_room_is_left_on_the_disk_for_what_must_be_kept(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    shelf.disk.free = archive_module.LEAVE_BYTES
    with capture_logs() as said:
        shelf.put("cut-1")
        for _ in range(5):
            shelf.later(0.1)
            shelf.workers[0].wake()
    assert shelf.names == []
    (line,) = said
    assert "50.0 MB would be left" in line["error"]
    shelf.disk.free = 8_000_000_000
    shelf.workers[0].wake()
    assert len(shelf.names) == 1
    assert shelf.archive.standing.trouble == ""


def test_what_waits_for_a_disk_is_bounded_and_what_is_lost_is_said(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    shelf.disk.full = True
    with capture_logs() as said:
        for number in range(9):
            shelf.put(f"cut-{number}")
        for number in range(5000):
            shelf.archive.add_row("2026-02-03", f"row {number}")
        shelf.archive.close()
    assert len(shelf.archive._jobs) == archive_module.MOST_JOBS
    assert len(shelf.archive._rows) == archive_module.MOST_ROWS
    assert said[-1]["event"] == "recordings are lost: the disk did not take them"
    assert said[-1]["how_many"] == 9


def test_what_a_full_disk_left_half_written_is_gone(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)

    def half(path: Path, content: bytes) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content[:100])
        raise OSError(28, "No space left on device")

    shelf.disk.write_bytes = half  # type: ignore[method-assign]
    shelf.put("cut-1")
    assert shelf.names == []


KILLED_AT = """
import os, signal, sys
from pathlib import Path
from daemon.machine import THIS
from daemon.recording.archive import Archive, Job, Limits
from daemon.recording.format import Head
from simulator.library import load_site

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

name = "2026-02-03T02-40-00Z-5f2c91ab-cut.csv.gz"
archive = Archive(Path(sys.argv[1]), load_site("classroom"), "5f2c91ab", THIS, Limits())
archive.put(Job(name, Head("classroom", "a" * 100, "5f2c91ab"), (), True, False))
while archive.standing.files == 0:
    pass
if sys.argv[2] == "fsync":
    os.fsync = die
else:
    Path.replace = die
archive.put(Job(name, Head("classroom", "b" * 100, "5f2c91ab"), (), True, True))
archive.close()
archive.join(30.0)
"""


@pytest.mark.process
@pytest.mark.parametrize("at", ["fsync", "replace"])
def test_a_kill_in_the_midst_of_writing_leaves_the_earlier_recording_whole(
    tmp_path: Path, at: str
) -> None:
    done = subprocess.run(
        [sys.executable, "-c", KILLED_AT, str(tmp_path), at], cwd=ROOT, check=False, timeout=60
    )
    assert done.returncode == -signal.SIGKILL
    folder = tmp_path / "recordings"
    assert len(list(folder.glob("*.new"))) == 1
    (path,) = folder.glob("*.csv.gz")
    head = Recording(path).head
    assert head is not None
    assert head.site_text == "a" * 100
    # the next run clears away what was left half written
    Shelf(tmp_path)
    assert [each.name for each in folder.glob("*")] == [path.name]


def test_a_mistake_of_its_own_is_said_and_ends_it_alone(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    with capture_logs() as said:
        shelf.archive.put(Job("x", HEAD, (Block(0, 0.0, 1.0, 1, b"none", b""),), True, True))
    assert [line["event"] for line in said] == ["nothing more is recorded; guarding goes on"]
    assert shelf.archive.standing.trouble.startswith("error: ")
    assert shelf.workers[0].ended


@pytest.mark.parametrize("gone", ["folder", "listing"])
def test_a_folder_that_cannot_be_had_is_said_and_stops_nothing(
    tmp_path: Path, gone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if gone == "folder":
        (tmp_path / "recordings").write_text("a file where the folder should be")
    else:
        monkeypatch.setattr(FaultyDisk, "sizes", _refuse)
    with capture_logs() as said:
        shelf = Shelf(tmp_path)
        shelf.put("cut-1")
    assert {line["event"] for line in said} == {"recordings cannot be written; guarding goes on"}
    assert len(said) == 1
    assert shelf.archive.standing.trouble


def _refuse(*_: object) -> dict[str, int]:
    raise OSError(5, "Input/output error")
