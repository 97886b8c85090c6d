"""weirkeeper calibrate: what it prints, what it writes and leaves alone, and what it refuses."""

from __future__ import annotations

import datetime
import stat
import tomllib
from pathlib import Path

import pytest

from daemon import cli, sitetext
from daemon.errors import InputError
from rules.figures import compute
from rules.hydraulics.network import Hydraulics, HydraulicsError
from rules.site.parse import parse_site
from simulator.library import site_text

CLASSROOM = site_text("classroom")
L_MIN = 1 / 60000
THREE_RUNS = ("--run", "20 l", "18.2 s", "--run", "20 l", "18.6 s", "--run", "20 l", "18.3 s")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The classroom as a site file of one's own."""
    path = tmp_path / "reef.toml"
    path.write_text(CLASSROOM, encoding="utf-8")
    return path


def calibrate(*arguments: object) -> int:
    """Run the command in this process."""
    return cli.main(["calibrate", *map(str, arguments)])


def today() -> set[datetime.date]:
    """Yesterday to tomorrow: a test may run at midnight."""
    now = datetime.datetime.now().astimezone().date()
    return {now + datetime.timedelta(days=off) for off in (-1, 0, 1)}


# --- what it says --------------------------------------------------------------------------------


def test_flow_is_set_beside_the_computed_one(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """60 l/min by hand: 20 l in 20 s; the plumbing computes 65.8. Nothing is written."""
    assert calibrate(file, "flow", "--of", "riser", "--run", "20 l", "20 s") == 0
    text = capsys.readouterr().out
    assert "riser: measured 60.0 l/min, give or take 3.3 %, from 1 run" in text
    assert "computed 65.8 l/min, give or take" in text
    assert "the two agree within their doubts" in text
    assert "bucket 1.15 %, clock 1.22 %" in text
    assert "JCGM 100" in text
    assert "one run says nothing of the spread" in text
    (lifts,) = [line for line in text.splitlines() if "return pump lifts" in line]
    assert "70.4 l/min, give or take 15.1 %" in lifts
    assert "64.6 l/min, give or take 3.5 %" in lifts
    (margin,) = [line for line in text.splitlines() if "overflow box: margin" in line]
    assert margin.count("(") == 2
    assert file.read_text(encoding="utf-8") == CLASSROOM
    assert "say --write" in text


def test_what_it_prints_to_paste_is_a_table_that_reads(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """On a demo site too; and the site with it runs at the measured flow."""
    assert calibrate("classroom", "flow", "--of", "riser", *THREE_RUNS) == 0
    text = capsys.readouterr().out
    start = text.index("[measured.")
    table = text[start : text.index("\n\n", start)]
    site = parse_site(f"{CLASSROOM}\n{table}\n", "pasted.toml")
    (measured,) = site.measured.values()
    assert measured.flow == pytest.approx(65.34 * L_MIN, rel=1e-4)
    running = Hydraulics(site).running()
    assert running.flows_m3_s["riser"] == pytest.approx(measured.flow, rel=1e-9)


def test_figures_come_in_the_units_of_the_site(capsys: pytest.CaptureFixture[str]) -> None:
    """5 gal in 73 s are 246.6 gal/h."""
    assert calibrate("rack", "flow", "--of", "upper-left-feed", "--run", "5 gal", "73 s") == 0
    text = capsys.readouterr().out
    assert "measured 247 gal/h" in text
    assert 'flow = "246.6 gal/h"' in text
    assert "l/min" not in text


def test_flow_far_from_the_computed_one_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    """48 l/min is believed, and more than 15 % off: something in the site file is wrong."""
    assert calibrate("classroom", "flow", "--of", "riser", "--run", "20 l", "25 s") == 0
    assert "differ by more than their doubts" in capsys.readouterr().out


def test_level_read_near_a_lip_makes_a_trickle_doubtful(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """7 mm over the lip, 2 mm of ruler are 2/7 of the head, and 1.5 times that of the flow; in the
    deep siphon they are nothing."""
    arguments = ("drain", "--of", "open-drain", "--level", "167 mm", "--run", "5 l", "60 s")
    assert calibrate("classroom", *arguments) == 0
    text = capsys.readouterr().out
    ruler = float(text.split("ruler ")[1].split(" %")[0]) / 100
    assert ruler == pytest.approx(1.5 * 2 / 7 / 3**0.5, rel=0.02)
    assert "it narrows nothing" in text
    arguments = ("drain", "--of", "main-drain", "--level", "165 mm", "--run", "20 l", "21 s")
    assert calibrate("classroom", *arguments) == 0
    text = capsys.readouterr().out
    assert float(text.split("ruler ")[1].split(" %")[0]) < 0.3
    assert "main drain carries at most" in text


# --- what it writes ------------------------------------------------------------------------------


def test_written_flow_is_all_that_changed(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The old text stays to the byte, and the new table stands after it."""
    assert calibrate(file, "flow", "--of", "riser", *THREE_RUNS, "--write") == 0
    text = file.read_text(encoding="utf-8")
    assert text.startswith(CLASSROOM)
    table = tomllib.loads(text)["measured"]["riser-measured"]
    day = table.pop("date")
    assert type(day) is datetime.date
    assert day in today()
    assert table == {
        "of": "riser",
        "flow": "65.34 l/min",
        "tolerance": "3.1 %",
        "how": "a bucket and a clock, 3 runs",
    }
    assert "started again" in capsys.readouterr().out


def test_older_measurement_of_the_same_thing_is_replaced(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In its place, with the comments around it; what it said is told, and counts no more."""
    older = (
        '# the riser, before the new pump\n[measured.pump-check]  # by hand\nof = "riser"\n'
        'flow = "58 l/min"\n# at noon\ndate = 2025-01-02\n\n# --- sensors ---\n'
    )
    text = CLASSROOM.replace("[sensors.display-high]", f"{older}\n[sensors.display-high]", 1)
    file.write_text(text, encoding="utf-8")
    assert calibrate(file, "flow", "--of", "riser", "--run", "20 l", "20 s", "--write") == 0
    printed = capsys.readouterr().out
    assert "takes the place of 58.0 l/min of 2025-01-02" in printed
    assert "computed 65.8 l/min" in printed
    after = file.read_text(encoding="utf-8")
    day = tomllib.loads(after)["measured"]["pump-check"]["date"]
    assert day in today()
    assert list(tomllib.loads(after)["measured"]) == ["pump-check"]
    expected = text.replace('"58 l/min"\n', '"60 l/min"\ntolerance = "3.3 %"\n')
    expected = expected.replace(
        "date = 2025-01-02\n", f'date = {day}\nhow = "a bucket and a clock, 1 run"\n'
    )
    assert after == expected


def test_older_measurement_that_fits_nothing_can_be_replaced(file: Path) -> None:
    """The way out of a site file that cannot be computed because of it."""
    wrong = '\n[measured.typo]\nof = "riser"\nflow = "600 l/min"\ndate = 2025-01-02\n'
    file.write_text(CLASSROOM + wrong, encoding="utf-8")
    with pytest.raises(HydraulicsError, match="the two do not fit"):
        compute(parse_site(CLASSROOM + wrong, "reef.toml"))
    assert calibrate(file, "flow", "--of", "riser", "--run", "20 l", "20 s", "--write") == 0
    lifted = compute(parse_site(file.read_text(encoding="utf-8"), "reef.toml"))
    assert lifted.running.flows_m3_s["riser"] == pytest.approx(60 * L_MIN)


def test_check_and_the_guards_plan_go_by_what_was_written(file: Path) -> None:
    """Through the hydraulics alone: the nominal flow of the plan is the measured one's."""
    from rules.engine import plan_for

    plain = plan_for(parse_site(CLASSROOM, "plain.toml")).pumps[0].nominal_m3_s
    assert calibrate(file, "flow", "--of", "return-pump", "--run", "20 l", "20 s", "--write") == 0
    plan = plan_for(parse_site(file.read_text(encoding="utf-8"), "reef.toml"))
    assert plan.pumps[0].nominal_m3_s == pytest.approx(60 * L_MIN, rel=1e-3)
    assert plain > 65 * L_MIN


def test_meter_is_set_in_its_own_table(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """8,950 pulses in 20 l are 447.5 a litre, 2.3 % either way; two lines change, no other."""
    assert calibrate(file, "meter", "--of", "return-flow", "--run", "20 l", 8950, "--write") == 0
    text = capsys.readouterr().out
    assert "measured 447.5 pulses/l, give or take 2.3 %" in text
    assert "the site file says 450 pulses/l, give or take 5.0 %" in text
    assert "a flow reads 0.6 % more than before" in text
    before, after = CLASSROOM.splitlines(), file.read_text(encoding="utf-8").splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert [old for old, _ in changed] == ['pulses = "450 pulses/l"', 'tolerance = "5 %"']
    assert changed[0][1].startswith('pulses = "447.5 pulses/l"  # a bucket, 1 run, 2')
    assert changed[1][1] == 'tolerance = "2.3 %"'
    sensor = parse_site(file.read_text(encoding="utf-8"), "reef.toml").sensors["return-flow"]
    assert sensor.pulses == pytest.approx(447_500)


def test_line_ends_permissions_and_links_stay(tmp_path: Path) -> None:
    """A file written on another system keeps its line ends, its mode, and the link to it."""
    real = tmp_path / "real.toml"
    windows = CLASSROOM.replace("\n", "\r\n").encode()
    real.write_bytes(windows)
    real.chmod(0o640)
    link = tmp_path / "site.toml"
    link.symlink_to(real)
    assert calibrate(link, "meter", "--of", "return-flow", "--run", "20 l", 8950, "--write") == 0
    assert calibrate(link, "flow", "--of", "riser", *THREE_RUNS, "--write") == 0
    assert link.is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    after = real.read_bytes()
    assert after.count(b"\n") == after.count(b"\r\n")
    assert after.count(b"\r\n") == windows.count(b"\r\n") + 7
    assert sorted(path.name for path in tmp_path.iterdir()) == ["real.toml", "site.toml"]


# --- what it refuses -----------------------------------------------------------------------------

RUN = ("--run", "20 l", "18.2 s")
REFUSED = {
    "a chamber": (("flow", "--of", "display", *RUN), 'no "display"; it has return-pump, riser'),
    "a drain as a flow": (("flow", "--of", "main-drain", *RUN), "a level drives main-drain"),
    "a branch as a drain": (
        ("drain", "--of", "riser", "--level", "165 mm", *RUN),
        "no level drives riser, a pump does",
    ),
    "a float as a meter": (
        ("meter", "--of", "display-high", "--run", "20 l", "8950"),
        "its flow meters are return-flow",
    ),
    "a volume without a unit": (("flow", "--of", "riser", "--run", "20", "18 s"), 'like "20 l"'),
    "a time without a unit": (("flow", "--of", "riser", "--run", "20 l", "18"), '"18.2 s"'),
    "a time in litres": (("flow", "--of", "riser", "--run", "20 l", "18 l"), "another kind"),
    "no water": (("flow", "--of", "riser", "--run", "0 l", "18 s"), "must be more than nought"),
    "no time": (("flow", "--of", "riser", "--run", "20 l", "0 s"), "must be more than nought"),
    "pulses in words": (
        ("meter", "--of", "return-flow", "--run", "20 l", "many"),
        '"many" is no count of pulses',
    ),
    "pulses by the half": (
        ("meter", "--of", "return-flow", "--run", "20 l", "8950.5"),
        "is no count of pulses",
    ),
    "pulses ten times too few": (
        ("meter", "--of", "return-flow", "--run", "20 l", "895"),
        "44.75 pulses/l counted, and the site file says 450 pulses/l",
    ),
    "a level under the mouth": (
        ("drain", "--of", "main-drain", "--level", "60 mm", *RUN),
        "with 60 mm of water in overflow-box, main-drain would carry none",
    ),
    "a level over the rim": (
        ("drain", "--of", "main-drain", "--level", "351 mm", *RUN),
        "not above the rim of overflow-box (350.0 mm)",
    ),
    "a level in litres": (
        ("drain", "--of", "main-drain", "--level", "16 l", *RUN),
        '--level: "16 l" is of another kind',
    ),
    "a flow that does not fit": (
        ("flow", "--of", "riser", "--run", "20 l", "100 s"),
        "12.0 l/min was measured of riser, and the plumbing as described computes 65.8 l/min",
    ),
    "runs that say nothing": (
        ("flow", "--of", "riser", "--run", "20 l", "10 s", "--run", "20 l", "30 s"),
        "most of it from the spread of the runs",
    ),
    "a run too short": (("flow", "--of", "riser", "--run", "1 l", "0.9 s"), "from the clock"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_used_is_a_sentence_and_changes_nothing(
    what: str, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments, words = REFUSED[what]
    assert calibrate(file, *arguments, "--write") == 2
    printed = capsys.readouterr()
    assert words in printed.err
    assert "Traceback" not in printed.err
    assert printed.out == ""
    assert file.read_text(encoding="utf-8") == CLASSROOM


def test_second_measurement_of_one_pump_is_refused(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its branch was measured: the older has to go first, which the sentence says."""
    assert calibrate(file, "flow", "--of", "riser", *RUN, "--write") == 0
    written = file.read_text(encoding="utf-8")
    assert calibrate(file, "flow", "--of", "return-pump", *RUN, "--write") == 2
    assert "keep the newer, delete the older" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == written


def test_demo_site_is_not_written_to(capsys: pytest.CaptureFixture[str]) -> None:
    assert calibrate("classroom", "flow", "--of", "riser", *RUN, "--write") == 2
    assert "is a demo site and stays as it is" in capsys.readouterr().err


def test_file_that_cannot_be_replaced_stays(
    file: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A full disk, at the worst moment: the old file is whole, and nothing lies about."""

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert calibrate(file, "flow", "--of", "riser", *RUN, "--write") == 2
    assert "cannot be written, and is as it was: No space left" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == CLASSROOM
    assert [path.name for path in file.parent.iterdir()] == ["reef.toml"]


@pytest.mark.parametrize(
    "odd",
    [
        '[sensors]\nreturn-flow.kind = "flow-meter"\nreturn-flow.pulses = "450 pulses/l"\n',
        '[sensors]\nreturn-flow = { kind = "flow-meter", pulses = "450 pulses/l" }\n',
        'note = """\n[sensors.return-flow]\n"""\n[sensors]\nreturn-flow = { pulses = "1 l" }\n',
        '[sensors.return-flow]\npulses = """\n450 pulses/l"""\n',
    ],
    ids=["dotted", "inline", "in a text", "over two lines"],
)
def test_text_written_in_another_way_is_left_to_its_owner(odd: str) -> None:
    """Nothing is changed that is not certain to be the table meant."""
    with pytest.raises(InputError, match=r"set pulses = .* by hand"):
        sitetext.with_table(odd, "sensors.return-flow", {"pulses": '"447 pulses/l"'})


def test_header_is_found_however_it_is_spaced() -> None:
    text = '[ sensors . "return-flow" ] # the meter\npulses="450 pulses/l" # maker\npin = 20\n'
    after = sitetext.with_table(text, "sensors.return-flow", {"pulses": '"447 pulses/l"'})
    assert after == text.replace('pulses="450 pulses/l" # maker', 'pulses = "447 pulses/l"')


def test_new_table_stands_apart_from_a_last_line_without_an_end() -> None:
    after = sitetext.with_table("a = 1", "measured.m", {"of": '"riser"'})
    assert after == 'a = 1\n\n[measured.m]\nof = "riser"\n'
