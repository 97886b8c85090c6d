"""The record of each day: what a minute's row says, and that little is lost of it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas
import pytest

from daemon.disk import SystemDisk
from daemon.recording import days as days_module
from daemon.recording.archive import ROWS_S
from daemon.recording.blocks import Look
from daemon.recording.days import DAYS, Days
from daemon.recording.minutes import Minutes, header
from rules.signals import Event, EventKind, Observation, Quality, Reading
from simulator.library import load_site
from tests.daemon.decisions import alarm
from tests.daemon.flights import CLASSROOM, Bench
from tests.level_site import LEVEL, level_site

ROOT = Path(__file__).parents[2]
NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


class Told:
    """Rows of looks that a test makes up, each with its time."""

    def __init__(self, name: str = "classroom") -> None:
        self.site = load_site(name)
        self.minutes = Minutes(self.site)
        self.rows: list[dict[str, str]] = []
        self.values = dict.fromkeys(self.site.sensors, Reading(0.0))
        self.on = dict.fromkeys(self.site.outputs, False)

    def look(
        self, t_s: float, *events: Event, wall: datetime | None = None, alarms: int = 0
    ) -> None:
        seen = Observation(t_s, tuple(self.values.values()))
        wall = wall or NOON + timedelta(seconds=t_s)
        look = Look(0.0, seen, tuple(self.on.values()), events, wall, alarms)
        self._add(self.minutes.take(look))

    def end(self) -> dict[str, str]:
        self._add(self.minutes.end())
        return self.rows[-1]

    def _add(self, ended: tuple[str, str] | None) -> None:
        if ended:
            names = header(self.site).split(",")
            self.rows.append(dict(zip(names, ended[1].split(","), strict=True)))


def test_a_row_tells_least_mean_and_most_of_a_flow_and_the_share_of_a_float() -> None:
    told = Told()
    for n in range(1, 600):  # 0.1 s to 59.9 s
        told.values["return-flow"] = Reading(1e-3 if n <= 300 else 2e-3)
        told.values["box-watch"] = Reading(float(n <= 150))
        told.on["pump-relay"] = n > 60
        told.look(n * 0.1)
    row = told.end()
    assert row["time"] == "2026-02-03T12:00:00Z"
    assert (row["t_s"], row["looks"]) == ("0.1", "599")
    flow = [float(row[f"return-flow.m3_s.{each}"]) for each in ("least", "mean", "most")]
    assert flow == pytest.approx([1e-3, 1.5e-3, 2e-3], rel=2e-3)
    assert float(row["box-watch.wet"]) == pytest.approx(0.25, abs=0.002)
    assert float(row["pump-relay.on"]) == pytest.approx(0.9, abs=0.002)
    assert (row["top-off-valve.on"], row["display-high.wet"]) == ("0", "0")


def test_shares_are_of_time_and_not_of_looks() -> None:
    """A loop that was held up for half a minute counts for what it was."""
    told = Told()
    told.look(0.1)
    told.values["box-watch"] = Reading(1.0)
    told.look(30.1)
    told.values["box-watch"] = Reading(0.0)
    for n in range(302, 402):
        told.look(n * 0.1)
    assert float(told.end()["box-watch.wet"]) == pytest.approx(30.0 / 40.1, abs=0.01)


def test_a_sensor_that_cannot_be_read_leaves_its_cells_empty() -> None:
    told = Told()
    bad = Reading(float("nan"), Quality.BAD, 1.0, "its cable is cut")
    told.values["return-flow"] = told.values["floor-pad"] = bad
    for n in range(1, 100):
        told.look(n * 0.1)
    row = told.end()
    assert [row[f"return-flow.m3_s.{each}"] for each in ("least", "mean", "most")] == ["", "", ""]
    assert row["floor-pad.wet"] == ""
    assert row["display-high.wet"] == "0"


def test_alarms_are_counted() -> None:
    told = Told()
    raised = Event(EventKind.ALARM_RAISED, 1.0, "display", "high", alarm())
    told.look(0.1, raised, raised, alarms=2)
    told.look(0.2, Event(EventKind.ALARM_RETURNED, 1.0, "display", "low", alarm()), alarms=1)
    told.look(0.3, raised, alarms=2)
    row = told.end()
    assert (row["alarms.raised"], row["alarms.standing"]) == ("3", "2")


def test_a_level_sensor_has_three_columns_in_metres() -> None:
    names = header(level_site()).split(",")
    assert [name for name in names if name.startswith(LEVEL)] == [
        f"{LEVEL}.m.{each}" for each in ("least", "mean", "most")
    ]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("by_s", [-7200.0, 7200.0, -1.0, 30 * 86400.0])
def test_a_clock_that_is_set_ends_the_minute_and_loses_nothing(by_s: float) -> None:
    told, wall = Told(), NOON + timedelta(seconds=30)
    for n in range(1, 1201):
        moved = by_s if n > 600 else 0.0
        told.look(n * 0.1, wall=wall + timedelta(seconds=n * 0.1 + moved))
    told.end()
    assert sum(int(row["looks"]) for row in told.rows) == 1200
    assert all(int(row["looks"]) <= 611 for row in told.rows)


# --- files ----------------------------------------------------------------------------------------


def test_a_day_is_read_with_one_line(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(200)
    bench.wet("display-high")
    bench.run(160)
    bench.flight.close()
    (path,) = bench.days()
    assert path.name == "2026-02-03.csv"
    day = pandas.read_csv(path, comment="#")
    assert ",".join(day.columns) == header(CLASSROOM)
    assert list(day["time"]) == [f"2026-02-03T02:{minute}:00Z" for minute in range(40, 47)]
    assert set(day["looks"][1:-1]) == {600}
    assert day["alarms.raised"].sum() == 2  # the cut, and the splash that it turns out to be
    assert day["display-high.wet"].max() == pytest.approx(2.0 / 60.0, abs=0.003)
    assert all(str(kind) in ("int64", "float64") for kind in day.dtypes[1:])
    assert str(pandas.to_datetime(day["time"]).dtype).endswith("UTC]")


def test_rows_wait_for_some_minutes_and_a_trip_puts_them_down_at_once(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(ROWS_S - 20)
    assert bench.days() == []
    bench.run(140)
    (path,) = bench.days()
    assert len(pandas.read_csv(path, comment="#")) in (6, 7)
    bench.run(100)
    assert len(pandas.read_csv(path, comment="#")) in (6, 7)
    bench.wet("display-high")
    assert len(pandas.read_csv(path, comment="#")) == 8


def test_writing_a_day_costs_a_few_hundred_small_writes(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.run(1500)
    assert len(bench.disk.written) <= 1500 / ROWS_S  # type: ignore[attr-defined]


def test_midnight_begins_another_file(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.clock.began = datetime(2026, 2, 3, 23, 58, tzinfo=UTC)
    bench.run(240)
    bench.flight.close()
    first, second = bench.days()
    assert (first.name, second.name) == ("2026-02-03.csv", "2026-02-04.csv")
    assert len(pandas.read_csv(first, comment="#")) == 2
    assert pandas.read_csv(second, comment="#")["time"][0] == "2026-02-04T00:00:00Z"


def days_of(folder: Path, columns: str = "time,a", boot: str = "one") -> Days:
    return Days(folder, SystemDisk(), "classroom", boot, columns)


def test_a_restart_goes_on_in_the_same_file_and_says_so(tmp_path: Path) -> None:
    days_of(tmp_path).append("2026-02-03", ["t1,1", "t2,2"])
    days_of(tmp_path, boot="two").append("2026-02-03", ["t3,3"])
    text = (tmp_path / "2026-02-03.csv").read_text()
    assert text.splitlines() == [
        "# weirkeeper day 1", "# site: classroom", "# boot: one", "time,a", "t1,1", "t2,2",
        "# boot: two", "t3,3",
    ]  # fmt: skip


@pytest.mark.parametrize("cut", range(1, 30))
def test_what_a_power_cut_tore_is_cut_off_and_nothing_else(tmp_path: Path, cut: int) -> None:
    """Wherever it was torn: in a row, in the header, in the lines above it."""
    path = tmp_path / "2026-02-03.csv"
    days_of(tmp_path).append("2026-02-03", ["t1,1", "t2,2"])
    whole = path.read_bytes()
    kept = whole[: len(whole) - cut * 2]
    path.write_bytes(kept)
    days_of(tmp_path, boot="two").append("2026-02-03", ["t3,3"])
    rows = pandas.read_csv(path, comment="#")
    assert list(rows.columns) == ["time", "a"]
    survived = [line for line in kept.decode().splitlines(keepends=True) if line.endswith("\n")]
    before = [line.strip() for line in survived if line.startswith("t") and "time" not in line]
    assert list(rows["time"]) == [*(line.split(",")[0] for line in before), "t3"]
    assert [path.name] == [each.name for each in tmp_path.glob("*")]


def test_a_torn_row_is_no_hindrance_to_a_reader(tmp_path: Path) -> None:
    days_of(tmp_path).append("2026-02-03", ["t1,1", "t2,2"])
    path = tmp_path / "2026-02-03.csv"
    path.write_bytes(path.read_bytes() + b"t3")
    rows = pandas.read_csv(path, comment="#")
    assert len(rows) == 3
    assert rows["a"].isna().tolist() == [False, False, True]


def test_other_sensors_begin_another_file_of_the_same_day(tmp_path: Path) -> None:
    days_of(tmp_path).append("2026-02-03", ["t1,1"])
    days_of(tmp_path, "time,a,b").append("2026-02-03", ["t2,2,3"])
    days_of(tmp_path, "time,a,b", "three").append("2026-02-03", ["t4,2,3"])
    (tmp_path / "2026-02-04.csv").write_bytes(b"\xff\xfe damaged")
    days_of(tmp_path).append("2026-02-04", ["t5,1"])
    assert sorted(path.name for path in tmp_path.glob("*")) == [
        "2026-02-03.2.csv", "2026-02-03.csv", "2026-02-04.2.csv", "2026-02-04.csv",
    ]  # fmt: skip
    assert len(pandas.read_csv(tmp_path / "2026-02-03.2.csv", comment="#")) == 2


def test_days_are_kept_for_more_than_a_year_whatever_the_clock_says(tmp_path: Path) -> None:
    assert DAYS == 400
    for number in range(DAYS + 5):
        date = (NOON - timedelta(days=number)).date().isoformat()
        (tmp_path / f"{date}.csv").write_text("time,a\n")
    (tmp_path / "notes.txt").write_text("mine")
    days = days_of(tmp_path)
    days.append("2038-01-19", ["t1,1"])  # the clock jumped: only one day more
    days.tidy()
    kept = sorted(path.name for path in tmp_path.glob("*.csv"))
    assert len(kept) == DAYS
    assert kept[-1] == "2038-01-19.csv"
    assert kept[-2] == "2026-02-03.csv"
    assert (tmp_path / "notes.txt").exists()


def test_a_disk_that_refuses_keeps_the_rows_and_writes_none_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also when only the letting go of old days fails, after the rows are down."""
    monkeypatch.setattr(days_module, "DAYS", 1)
    (tmp_path / "days").mkdir()
    (tmp_path / "days" / "2020-01-01.csv").write_text("time\n")
    bench = Bench(tmp_path)
    remove = bench.disk.remove
    refusing = [True]

    def maybe(path: Path) -> None:
        if refusing and path.parent.name == "days":
            raise OSError(30, "Read-only file system")
        remove(path)

    bench.disk.remove = maybe  # type: ignore[method-assign]
    bench.run(800)
    refusing.clear()
    bench.run(100)
    bench.flight.close()
    (path,) = bench.days()
    assert list(pandas.read_csv(path, comment="#")["time"]) == [
        f"2026-02-03T02:{minute}:00Z" for minute in range(40, 56)
    ]


KILLED = """
import sys
from pathlib import Path
from daemon.disk import SystemDisk
from daemon.recording.days import Days
days = Days(Path(sys.argv[1]), SystemDisk(), "classroom", "one", "time,a")
number = 0
while True:
    number += 1
    days.append("2026-02-03", [f"t{number},{number}"])
    print(number, flush=True)
"""


@pytest.mark.process
def test_what_was_appended_outlives_a_kill(tmp_path: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    for _ in range(20):
        child.stdout.readline()
    time.sleep(0.01)
    os.kill(child.pid, signal.SIGKILL)
    told = [20, *map(int, child.stdout.read().split())]
    child.wait()
    days_of(tmp_path, boot="two").append("2026-02-03", ["last,0"])
    rows = pandas.read_csv(tmp_path / "2026-02-03.csv", comment="#")
    numbers = list(rows["a"][:-1])
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= told[-1]
    assert rows["time"].iloc[-1] == "last"
