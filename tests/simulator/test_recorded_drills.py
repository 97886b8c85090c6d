"""A night that really was, cut out of a recording, is a drill that holds, and that can fail."""

from __future__ import annotations

import gzip
import tomllib
from pathlib import Path

import pytest

from daemon import cli
from rules.signals import EventKind
from simulator.library import site_text
from simulator.night.runner import run
from simulator.story.drill import Drill
from simulator.story.drill_file import DrillError, parse_drill
from simulator.story.recorded import Told, statements_text
from tests.daemon.tapes import Tape, site, tape

CLASSROOM = site("classroom")


@pytest.fixture(scope="module")
def blocked(tmp_path_factory: pytest.TempPathFactory) -> Tape:
    """The night in which the main drain is blocked, cut once and once again after a restart."""
    return tape(tmp_path_factory.mktemp("tapes") / "night.csv.gz", "main-drain-blocked")


def cut(recording: Path, file: Path, *arguments: str) -> Path:
    assert cli.main(["replay", str(recording), "--cut", str(file), *arguments]) == 0
    return file


def held(file: Path, *arguments: str) -> bool:
    code = cli.main(["drill", str(file), *arguments])
    assert code in (0, 1)
    return code == 0


def test_the_cut_of_a_bad_night_holds_and_fails_when_its_hazard_is_taken_out(
    blocked: Tape, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = cut(blocked.path, tmp_path / "cut.toml", "--from", "3 min", "--to", "0:05:00")
    assert held(file)
    told = capsys.readouterr().out
    assert "an alarm drain-capacity is raised" in told
    assert "the return pump is cut" in told
    assert "without the guard" not in told, "there is no such night"
    assert "l on the floor" not in told, "nobody knows"
    assert not held(file, "--without", "drain-capacity")
    assert capsys.readouterr().out.count("NOT HELD  ") >= 2
    assert held(file, "--without", "leak")


def test_its_limits_are_a_second_looser_than_what_the_rules_took(
    blocked: Tape, tmp_path: Path
) -> None:
    cut_s = next(e.t_s for e in blocked.events if e.kind is EventKind.PUMP_CUT)
    from_s = round(cut_s - 20.0, 1)
    file = cut(blocked.path, tmp_path / "cut.toml", "--from", f"{from_s}", "--to", f"{cut_s + 60}")
    drill = parse_drill(file.read_text(), file.name)
    limits = {statement.what: statement.within for statement in drill.must}  # type: ignore[union-attr]
    assert limits == {"alarm": pytest.approx(21.5, abs=0.6), "pump cut": limits["alarm"]}
    assert drill.lasts == pytest.approx(80.0, abs=0.01)


def test_rules_that_come_later_than_they_did_fail_it(blocked: Tape, tmp_path: Path) -> None:
    """A slower filter of the float, put into the site file, is found."""
    slow = tmp_path / "slow.toml"
    text = site_text("classroom")
    slow.write_text(text.replace('duty = "drain-watch"', 'duty = "drain-watch"\nfilter = "9 s"'))
    assert slow.read_text() != text
    file = cut(blocked.path, tmp_path / "cut.toml", "--from", "3 min", "--to", "0:05:00")
    assert held(file)
    assert not held(file, "--site", str(slow))


def test_the_cut_of_a_quiet_stretch_wants_quiet(blocked: Tape, tmp_path: Path) -> None:
    file = cut(blocked.path, tmp_path / "quiet.toml", "--from", "1 min", "--to", "3 min")
    raw = tomllib.loads(file.read_text())
    assert "must" not in raw
    assert [statement["what"] for statement in raw["must_not"]] == ["alarm", "pump cut"]
    assert held(file)
    louder = parse_drill(file.read_text().replace('from = "60.0 s"', 'from = "180 s"'), "x.toml")
    recorded = louder.recording
    assert recorded is not None
    beside = louder.model_copy(update={"recording": recorded.beside(tmp_path)})
    outcome = run(CLASSROOM, beside, 1)
    assert not outcome.passed, "the same statements over the bad stretch must fail"
    assert [finding.held for finding in outcome.findings] == [False, False]


def test_a_later_cut_begins_from_what_was_remembered_then(blocked: Tape, tmp_path: Path) -> None:
    """Both cuts are in the whole night; a drill of the second stretch has only the second."""
    times = [e.t_s for e in blocked.events if e.kind is EventKind.PUMP_CUT]
    assert len(times) == 2
    file = cut(blocked.path, tmp_path / "second.toml", "--from", f"{times[1] - 30:.1f}")
    assert held(file)
    drill = parse_drill(file.read_text(), file.name)
    recorded = drill.recording
    assert recorded is not None
    drill = drill.model_copy(update={"recording": recorded.beside(tmp_path)})
    outcome = run(CLASSROOM, drill, 1)
    assert outcome.cut_s == pytest.approx(30.0, abs=0.11)
    assert [e.t_s for e in outcome.events if e.kind is EventKind.PUMP_CUT] == [outcome.cut_s]


def test_it_is_played_on_the_site_that_was_recorded(tmp_path: Path) -> None:
    """The recording of the rack needs no --site; on another site its alarm is not raised."""
    made = tape(tmp_path / "rack.csv.gz", "pump-dies", "rack", lasts_s=400)
    file = cut(made.path, tmp_path / "cut.toml", "--from", "60")
    assert held(file)
    assert not held(file, "--site", "classroom")


def test_the_drill_is_found_with_its_recording_from_anywhere(
    blocked: Tape, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = cut(blocked.path, tmp_path / "cut.toml", "--from", "60", "--to", "100")
    monkeypatch.chdir("/")
    assert held(file)


def test_readings_from_elsewhere_can_be_cut_too(tmp_path: Path) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text("t_s,box-watch.wet,return-flow.l_min\n0,0,66\n40,1,66\n80,1,66\n")
    arguments = ["--site", "classroom", "--assume", "good"]
    file = cut(readings, tmp_path / "cut.toml", *arguments)
    assert 'site = "classroom"' in file.read_text()
    assert held(file)
    assert not held(file, "--without", "drain-capacity")


def test_the_time_on_the_clock_is_that_of_the_night(blocked: Tape, tmp_path: Path) -> None:
    text = gzip.decompress(blocked.path.read_bytes()).decode()
    path = tmp_path / "night.csv"
    path.write_text(text.replace("\n# source", "\n# began: 2026-02-03T23:58:00+01:00\n# source"))
    drill = parse_drill(cut(path, tmp_path / "cut.toml", "--from", "180").read_text(), "cut.toml")
    assert drill.starts_at == "00:01"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--from", "60", "--to", "65"], "lasts: give 10 s to 7 days"),
        (["--from", "5000"], "no rows between --from and --to"),
    ],
)
def test_a_cut_that_cannot_be_is_a_sentence(
    arguments: list[str],
    sentence: str,
    blocked: Tape,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "cut.toml"
    assert cli.main(["replay", str(blocked.path), "--cut", str(file), *arguments]) == 2
    assert sentence in capsys.readouterr().err
    assert not file.exists()


def test_a_cut_never_overwrites(
    blocked: Tape, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("mine")
    for name, sentence in ((file, "is there already"), (tmp_path / "x.txt", "ends in .toml")):
        assert cli.main(["replay", str(blocked.path), "--cut", str(name)]) == 2
        assert sentence in capsys.readouterr().err
    assert file.read_text() == "mine"


# --- drill files ----------------------------------------------------------------------------------

PLAIN = """
title = "A night"
story = "It was."
starts_at = "00:00"
lasts = "1 min"
[recording]
file = "night.csv.gz"
"""


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('[[must_not]]\nwhat = "spill"', 'must_not 1, "spill", is about water'),
        (
            '[[must]]\nwhat = "pump cut"\n[[must]]\nwhat = "stays under its rim"\n'
            'where = "first display"',
            'must 2, "stays under its rim", is about water: a recording has readings, and no plant',
        ),
        ('[[must]]\nwhat = "pump runs at the end"', "is about water"),
        ('[[must_not]]\nwhat = "dry run"', "is about water"),
        ('[[must_not]]\nwhat = "alert twice"', "is about alerts"),
        (
            '[[must]]\nwhat = "pump cut"\n[[happens]]\nwhat = "power cut"\nat = "10 s"',
            "take out [[happens]]",
        ),
        ('fil = "x"\n[[must]]\nwhat = "pump cut"', '[recording] fil: unknown key; did you mean'),
        ('assume = "best"\n[[must]]\nwhat = "pump cut"', "[recording] assume: "),
        ('from = "5 l"\n[[must]]\nwhat = "pump cut"', "[recording] from: "),
        ("", "proves nothing"),
    ],
)  # fmt: skip
def test_what_a_recorded_night_cannot_state_is_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(DrillError) as told:
        parse_drill(PLAIN + text, "night.toml")
    assert sentence in str(told.value)


def test_a_recording_that_is_missing_is_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "night.toml"
    file.write_text(PLAIN + '[[must]]\nwhat = "pump cut"')
    assert cli.main(["drill", str(file)]) == 2
    assert "night.csv.gz: cannot be read" in capsys.readouterr().err


def drill_of(made: Tape, text: str, lasts: str = "5 min") -> Drill:
    plain = PLAIN.replace("night.csv.gz", str(made.path)).replace("1 min", lasts)
    return parse_drill(plain + text, "night.toml")


def test_a_recording_that_ends_too_soon_is_told(blocked: Tape) -> None:
    outcome = run(CLASSROOM, drill_of(blocked, '[[must_not]]\nwhat = "alarm"', "3 h"), 1)
    assert not outcome.passed
    assert outcome.findings[0].statement.startswith("the recording goes on for 3 h")


def test_statements_of_pumps_and_alarms_are_judged_without_a_plant(blocked: Tape) -> None:
    statements = """
[[must]]
what = "pump cut"
[[must]]
what = "pump off at the end"
[[must]]
what = "alarm"
hazard = "drain-capacity"
[[must_not]]
what = "starts"
more_than = 1
[[must_not]]
what = "pump on"
while = "cut cause stands"
[[must_not]]
what = "pump restarts"
[[must_not]]
what = "top-off opens while the pump is cut"
"""
    outcome = run(CLASSROOM, drill_of(blocked, statements), 1)
    assert outcome.passed, outcome.findings
    assert len(outcome.findings) == 7
    longer = run(CLASSROOM, drill_of(blocked, '[[must_not]]\nwhat = "pump restarts"', "12 min"), 1)
    assert not longer.passed, "it is started again after its rest"


def test_nothing_but_the_guard_can_be_played_on_it(blocked: Tape) -> None:
    outcome = run(CLASSROOM, drill_of(blocked, '[[must]]\nwhat = "pump cut"'), 1, keeper="none")
    assert outcome.not_applicable == "a recording has no plant: only the guard can be played on it"


def test_run_does_not_simulate_a_recorded_night(
    blocked: Tape, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = cut(blocked.path, tmp_path / "cut.toml", "--from", "60", "--to", "100")
    assert cli.main(["run", "--simulate", str(file), "--log-file", str(tmp_path / "log")]) == 2
    assert "has no plant to guard" in capsys.readouterr().err


def test_statements_are_of_the_first_alarm_and_the_first_cut_of_each_kind() -> None:
    told = [
        Told(3.0, "alarm-raised", "overflow-box", "drain-capacity.overflow-box"),
        Told(3.0, "pump-cut", "return-pump", ""),
        Told(9.0, "alarm-raised", "overflow-box", "drain-capacity.overflow-box"),
        Told(9.5, "pump-cut", "other-pump", ""),
    ]
    raw = tomllib.loads(statements_text(told))
    assert raw == {
        "must": [
            {"what": "alarm", "hazard": "drain-capacity", "within": "4 s"},
            {"what": "pump cut", "where": "return-pump", "within": "4 s"},
            {"what": "pump cut", "where": "other-pump", "within": "11 s"},
        ]
    }
