"""Replays: a recording decides the same again to the bit, and tells where other rules would not."""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path

import pytest

from daemon import cli
from daemon.errors import InputError
from daemon.recording.compare import Comparison
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from daemon.recording.times import clock, read_time
from rules.signals import EventKind, Quality
from rules.site.parse import parse_site
from simulator.library import site_text
from tests.daemon.tapes import Tape, assert_replays_to_the_bit, site, tape

CLASSROOM = site("classroom")
DRILLS = [
    ("main-drain-blocked", "classroom"),
    ("return-runs-dry", "classroom"),
    ("power-cut", "classroom"),
    ("leak-on-the-floor", "classroom"),
    ("high-float-stuck", "rack"),
    ("pump-dies", "rack"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("tapes")


@pytest.fixture(scope="module")
def blocked(folder: Path) -> Tape:
    """The night in which the main drain is blocked."""
    return tape(folder / "blocked.csv.gz", "main-drain-blocked")


def compared(replay: Replay) -> Comparison:
    comparison = Comparison(replay.site, ours=replay.recording.ours)
    for played in replay.play():
        comparison.take(played)
    return comparison


def at(made: Tape, kind: EventKind) -> float:
    """When something first happened in a recorded night [s]."""
    return next(event.t_s for event in made.events if event.kind is kind)


# --- recordings of the guard's own ----------------------------------------------------------------


@pytest.mark.parametrize(("drill", "name"), DRILLS)
def test_a_recorded_drill_decides_the_same_again_to_the_bit(
    drill: str, name: str, folder: Path
) -> None:
    made = tape(folder / f"{drill}.{name}.csv", drill, name)
    assert "\n#>" in made.path.read_text(), "looks were left out, and it is told up to when"
    assert made.outcome is not None
    assert made.outcome.events, "a night in which nothing happens proves little"
    assert_replays_to_the_bit(made)
    comparison = compared(made.replay())
    assert comparison.same
    assert {entry.verdict for entry in comparison.entries()} == {"same"}
    assert comparison.rows == len(made.seen)


def test_a_night_looked_at_ten_times_a_second_does_too(folder: Path) -> None:
    made = tape(folder / "every.csv.gz", "main-drain-blocked", lasts_s=300, every_tick=True)
    assert len(made.seen) > 4000
    assert "\n#>" not in gzip.decompress(made.path.read_bytes()).decode()
    assert any(event.kind is EventKind.PUMP_CUT for event in made.events)
    assert_replays_to_the_bit(made)


def test_with_a_hazard_taken_out_it_tells_what_would_have_been_missed(blocked: Tape) -> None:
    comparison = compared(blocked.replay(frozenset({"drain-capacity"})))
    assert not comparison.same
    cut_s = at(blocked, EventKind.PUMP_CUT)
    assert comparison.first_difference_s == cut_s
    first = next(e for e in comparison.entries() if e.said.kind == "pump-cut")
    assert (first.verdict, first.then_s, first.now_s) == ("not today", cut_s, None)
    relay = comparison.outputs["pump-relay"]
    assert relay.first_s == cut_s
    assert relay.first_then is False, "off then, on now"
    assert relay.lasts_s > 300
    assert not comparison.outputs["heartbeat"].rows


def test_a_hazard_that_had_no_part_in_it_changes_nothing(blocked: Tape) -> None:
    assert compared(blocked.replay(frozenset({"leak"}))).same


def test_under_another_site_file_it_tells_how_much_later(blocked: Tape) -> None:
    """The same floats and another filter: three seconds more are three seconds later."""
    text = site_text("classroom").replace(
        'height = "205 mm"\nduty = "drain-watch"',
        'height = "205 mm"\nduty = "drain-watch"\nfilter = "4 s"',
    )
    other = parse_site(text, "slow.toml")
    assert other != CLASSROOM
    comparison = compared(Replay(Recording(blocked.path), other))
    cut = next(e for e in comparison.entries() if e.said.kind == "pump-cut")
    assert cut.verdict == "later"
    assert cut.then_s is not None
    assert cut.now_s is not None
    assert cut.now_s - cut.then_s == pytest.approx(3.0, abs=0.11)


def test_a_sensor_that_the_other_site_has_not_is_told_and_not_needed(
    blocked: Tape, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = site_text("classroom")
    start, end = text.index("[sensors.floor-pad]"), text.index("[sensors.supply]")
    file = tmp_path / "no-pad.toml"
    file.write_text(text[:start] + text[end:])
    assert cli.main(["replay", str(blocked.path), "--site", str(file)]) == 0
    assert "belong to nothing here: floor-pad.wet" in capsys.readouterr().out


def test_a_sensor_that_only_the_other_site_has_reads_as_bad_or_good(blocked: Tape) -> None:
    text = site_text("classroom").replace(
        "[sensors.floor-pad]",
        '[sensors.second-pad]\nkind = "leak"\nplace = "the hall"\npin = 4\n\n[sensors.floor-pad]',
    )
    more = parse_site(text, "more.toml")
    worst = compared(Replay(Recording(blocked.path), more))
    raised = {e.said.row for e in worst.entries() if e.verdict == "only today"}
    assert {"leak.second-pad", "signal.second-pad"} <= raised
    assert compared(Replay(Recording(blocked.path), more, assume="good")).same


# --- readings from elsewhere ----------------------------------------------------------------------


def elsewhere(folder: Path, text: str) -> Replay:
    path = folder / "readings.csv"
    path.write_text(text)
    return Replay(Recording(path), CLASSROOM, assume="good")


def test_values_hold_until_the_next_row_and_the_guard_looks_ten_times_a_second(
    tmp_path: Path,
) -> None:
    replay = elsewhere(tmp_path, "t_s,box-watch.wet\n0,0\n7.25,0\n10,1\n")
    played = list(replay.play())
    times = [one.t_s for one in played]
    assert times[:3] == pytest.approx([0.0, 0.1, 0.2])
    assert times[73:75] == pytest.approx([7.25, 7.35])
    assert len(times) == 1 + 72 + 1 + 27 + 1
    assert sum(one.row is not None for one in played) == 3
    wet = list(CLASSROOM.sensors).index("box-watch")
    assert [one.observation.readings[wet].value for one in played[-2:]] == [0.0, 1.0]


def test_a_watched_float_that_turns_wet_cuts_the_pump_after_its_filter(tmp_path: Path) -> None:
    """Its filter is 1 s; the pump is taken to run, for such readings begin in the midst."""
    text = "t_s,box-watch.wet,return-flow.l_min,pump-relay.on\n0,0,66,1\n100,1,66,1\n130,1,0,0\n"
    comparison = compared(elsewhere(tmp_path, text))
    cut = next(e for e in comparison.entries() if e.said.kind == "pump-cut")
    assert cut.verdict == "earlier"
    assert cut.then_s == 130.0
    assert cut.now_s == pytest.approx(101.0, abs=0.11)
    alarm = next(e for e in comparison.entries() if e.said.row.startswith("drain-capacity"))
    assert alarm.verdict == "today", "such readings do not tell which alarms there were"
    assert comparison.compared


def test_readings_without_outputs_compare_with_nothing(tmp_path: Path) -> None:
    comparison = compared(elsewhere(tmp_path, "t_s,box-watch.wet\n0,0\n100,1\n130,1\n"))
    assert not comparison.compared
    assert comparison.same
    assert {e.verdict for e in comparison.entries()} == {"today"}
    assert any(e.said.kind == "pump-cut" for e in comparison.entries())


def test_a_good_day_read_elsewhere_brings_no_alarm_and_no_cut(tmp_path: Path) -> None:
    rows = "".join(f"{60 * n},0,{65 + n % 3}\n" for n in range(15))
    comparison = compared(elsewhere(tmp_path, f"t_s,display-high.wet,return-flow.l_min\n{rows}"))
    assert comparison.entries() == ()


def test_absent_sensors_are_taken_at_their_worst_where_nothing_else_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("t_s,return-flow.l_min,comment,pump-relay.on\n0,66,fine,1\n20,66,fine,1\n")
    played = list(Replay(Recording(path), CLASSROOM).play())
    readings = dict(zip(CLASSROOM.sensors, played[-1].observation.readings, strict=True))
    assert readings.pop("return-flow").quality is Quality.GOOD
    assert {reading.quality for reading in readings.values()} == {Quality.BAD}
    assert not played[-1].decision.outputs[0]
    assert cli.main(["replay", str(path), "--site", "classroom"]) == 1
    told = capsys.readouterr().out
    assert told.count("Not in the file, taken as unreadable") == 1
    assert "display-high, box-watch" in told
    assert "belong to nothing here: comment" in told
    arguments = ["replay", str(path), "--site", "classroom", "--assume", "good"]
    assert cli.main(arguments) == 0
    assert "as on a good day" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("unit", "number"),
    [("l_min", 60), ("l_h", 3600), ("l_s", 1), ("m3_s", 0.001), ("gal_h", 951.01938849)],
)
def test_a_litre_a_second_is_one_in_every_unit(unit: str, number: float, tmp_path: Path) -> None:
    """US gallon 3.785411784 l: NIST Handbook 44, appendix C."""
    replay = elsewhere(tmp_path, f"t_s,return-flow.{unit}\n0,{number}\n")
    (played,) = replay.play()
    place = list(CLASSROOM.sensors).index("return-flow")
    assert played.observation.readings[place].value == pytest.approx(0.001, rel=1e-9)


def test_times_may_be_dates(tmp_path: Path) -> None:
    text = (
        "time,box-watch.wet,return-flow.l_min\n"
        "2026-03-29T01:59:58+01:00,0,66\n"
        "2026-03-29T03:00:08+02:00,0,66\n"  # summer time begins between: ten seconds
    )
    times = [one.t_s for one in elsewhere(tmp_path, text).play()]
    assert times[-1] == 10.0
    assert len(times) == 101


def test_readings_need_a_site_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("t_s,box-watch.wet\n0,0\n")
    assert cli.main(["replay", str(path)]) == 2
    assert "name the one it belongs to with --site" in capsys.readouterr().err


# --- the command ----------------------------------------------------------------------------------


def test_the_command_says_that_nothing_is_done_otherwise(
    blocked: Tape, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["replay", str(blocked.path)]) == 0
    told = capsys.readouterr().out
    assert "Classroom reef" in told
    assert "drill main-drain-blocked" in told
    assert re.search(r"done +same +return pump cut: drains of the overflow box", told)
    assert "Today's rules do the same as was done then." in told


def test_the_command_shows_then_and_now(blocked: Tape, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["replay", str(blocked.path), "--without", "drain-capacity"]) == 1
    told = capsys.readouterr().out
    when = clock(at(blocked, EventKind.PUMP_CUT))
    assert re.search(rf"{when} +done +not done +return pump cut", told)
    assert f"Today's rules do otherwise from {when} on" in told
    assert f"first at {when}: off then, on now" in told


def test_only_what_happens_between_is_told(
    blocked: Tape, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["replay", str(blocked.path), "--from", "1 min", "--to", "0:04:00"]) == 0
    told = capsys.readouterr().out
    assert "Nothing happened" in told
    assert re.search(r"0:00:00\.1 to 0:0[34]:\d\d\.\d", told)


def test_as_json(blocked: Tape, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["replay", str(blocked.path), "--json", "--without", "drain-capacity"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["rows"] == len(blocked.seen)
    assert found["compared"] is True
    assert found["same"] is False
    assert found["first_difference_s"] == at(blocked, EventKind.PUMP_CUT)
    assert found["outputs"]["pump-relay"]["then_on"] is False
    missed = [e for e in found["timeline"] if e["verdict"] == "not today"]
    assert {"pump-cut", "alarm-raised"} <= {entry["kind"] for entry in missed}
    assert cli.main(["replay", str(blocked.path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["first_difference_s"] is None


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--without", "snail"], "no such hazard: snail"),
        (["--from", "soon"], '--from: "soon" is not a quantity'),
        (["--from", "5 l"], "another kind of quantity"),
        (["--to", "-3 s"], "before the beginning"),
        (["--from", "300", "--to", "200"], "--from 300 is not before --to 200"),
        (["--to", "0.01"], "it has no row until 0.01"),
        (["--site", "nowhere.toml"], "cannot be read"),
    ],
)
def test_what_cannot_be_done_is_a_sentence(
    arguments: list[str], sentence: str, blocked: Tape, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["replay", str(blocked.path), *arguments]) == 2
    printed = capsys.readouterr()
    assert sentence in printed.err
    assert printed.out == ""


def test_drill_saves_what_replay_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "night.csv.gz"
    arguments = ["drill", "pump-dies", "--record", str(path), "--seed", "3"]
    assert cli.main(arguments) == 0
    recording = Recording(path)
    assert recording.head is not None
    assert recording.head.story == "drill pump-dies, seed 3"
    assert recording.head.boot == "drill-3"
    assert recording.own_site() == CLASSROOM
    capsys.readouterr()
    assert cli.main(["replay", str(path)]) == 0
    assert cli.main(["drill", "pump-dies", "power-cut", "--record", str(path)]) == 2
    assert "one drill" in capsys.readouterr().err


def test_a_drill_recorded_without_a_hazard_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "night.csv"
    cli.main(["drill", "main-drain-blocked", "--record", str(path), "--without", "drain-capacity"])
    capsys.readouterr()
    assert cli.main(["replay", str(path), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["first_difference_s"] is not None
    first = [e for e in found["timeline"] if e["now_s"] == found["first_difference_s"]]
    assert {(e["kind"], e["row"], e["verdict"]) for e in first} >= {
        ("alarm-raised", "drain-capacity.overflow-box", "only today"),
        ("pump-cut", None, "earlier"),
    }
    assert "\n# without: drain-capacity\n" in path.read_text()


@pytest.mark.parametrize(
    ("text", "time_s"),
    [("95", 95.0), ("95.5 s", 95.5), ("3 min", 180.0), ("0:03:00", 180.0), ("26:00:00.5", 93600.5)],
)
def test_times_as_people_write_them(text: str, time_s: float) -> None:
    assert read_time(text, "--from") == time_s


@pytest.mark.parametrize("text", ["", "3:00", "0:99:00", "-5", "nan", "1e3"])
def test_times_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--from: "):
        read_time(text, "--from")


def test_a_clock_face_goes_on_past_a_day() -> None:
    assert clock(0.04) == "0:00:00.0"
    assert clock(127.26) == "0:02:07.3"
    assert clock(90061.0) == "25:01:01.0"
