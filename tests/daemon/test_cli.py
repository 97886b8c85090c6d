"""The command line: help that teaches, the schema that editors use, check and drill as commands."""

from __future__ import annotations

import copy
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest

from daemon import cli
from simulator.library import drill_names, site_text

ROOT = Path(__file__).parents[2]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "daemon.cli", *arguments], cwd=ROOT, capture_output=True, text=True
    )


@pytest.mark.parametrize("command", list(cli.COMMANDS))
def test_every_command_explains_itself(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main([command, "--help"])
    assert ended.value.code == 0
    text = capsys.readouterr().out
    assert len(text.splitlines()) >= 8
    assert "usage: weirkeeper" in text


def test_help_shows_what_to_type(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    text = capsys.readouterr().out
    assert "examples:" in text
    assert "exit codes: 0" in text


@pytest.fixture(scope="module")
def schema() -> dict[str, object]:
    done = run("schema")
    assert done.returncode == 0
    found: dict[str, object] = json.loads(done.stdout)
    jsonschema.Draft202012Validator.check_schema(found)
    return found


@pytest.mark.parametrize("site", ["classroom", "rack"])
def test_the_demo_sites_fit_the_schema(schema: dict[str, object], site: str) -> None:
    jsonschema.validate(tomllib.loads(site_text(site)), schema)


def test_an_editor_with_the_schema_sees_mistakes(schema: dict[str, object]) -> None:
    good = tomllib.loads(site_text("classroom"))
    for table, key, value in (
        ("chambers", "display", {"rim": "600 mm"}),
        ("passages", "comb", {**good["passages"]["comb"], "slotz": 40}),
        ("passages", "comb", {**good["passages"]["comb"], "kind": "brush"}),
        ("sensors", "box-watch", {**good["sensors"]["box-watch"], "pin": 28}),
    ):
        bad = copy.deepcopy(good)
        bad[table][key] = value
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(bad, schema)


def test_the_schema_explains_its_keys(schema: dict[str, object]) -> None:
    definitions = schema["$defs"]
    assert isinstance(definitions, dict)
    for name in ("SiphonDrain", "FloatSwitch", "PumpOutput", "Chamber"):
        for key, field in definitions[name]["properties"].items():
            explained = "description" in field or "const" in field or "enum" in field
            assert explained, f"{name}.{key} has no explanation"


def test_check_prints_plumbing_figures_matrix_and_verdict() -> None:
    done = run("check", "classroom")
    assert done.returncode == 0, done.stderr
    for wanted in (
        "overflow-box",
        "GPIO17",
        "siphon-drain",
        "drain-capacity.overflow-box",
        "margin",
        "Verdict: SOUND",
    ):
        assert wanted in done.stdout


def test_check_prints_in_the_units_of_the_site() -> None:
    metric, us = run("check", "classroom").stdout, run("check", "rack").stdout
    assert "l/min" in metric
    assert "gal/h" not in metric
    assert "gal/h" in us
    assert "l/min" not in us


def test_an_unsafe_site_exits_with_1(tmp_path: Path) -> None:
    """A pump that the guard has no relay for cannot be cut."""
    text = site_text("classroom")
    start = text.index("[outputs.pump-relay]")
    end = text.index("[outputs.top-off-valve]")
    file = tmp_path / "no-relay.toml"
    file.write_text(text[:start] + text[end:])
    done = run("check", str(file))
    assert done.returncode == 1, done.stdout
    assert "NOT SAFE TO LEAVE" in done.stdout
    assert "no output powers it" in done.stdout


def test_an_invalid_site_exits_with_2_and_one_line_a_problem(tmp_path: Path) -> None:
    file = tmp_path / "bad.toml"
    text = site_text("classroom").replace("pin = 6\n", "pin = 5\n")
    file.write_text(text.replace('height = "205 mm"', 'heigth = "205 mm"'))
    done = run("check", str(file))
    assert done.returncode == 2
    assert done.stdout == ""
    assert (
        'bad.toml: [sensors.box-watch] heigth: unknown key; did you mean "height"?' in done.stderr
    )
    assert "Traceback" not in done.stderr


def test_drills_are_listed_by_name_and_title() -> None:
    done = run("drill", "--list")
    assert done.returncode == 0
    for name in drill_names():
        assert name in done.stdout


def test_a_drill_as_json_holds_both_nights() -> None:
    done = run("drill", "all-drains-blocked", "--json", "--seed", "3")
    assert done.returncode == 0, done.stderr
    (outcome,) = json.loads(done.stdout)
    assert outcome["passed"] is True
    assert outcome["seed"] == 3
    assert outcome["spilled_total_m3"] == 0
    assert outcome["without_guard"]["spilled_total_m3"] > 0.001


def test_a_drill_without_its_protection_fails_and_exits_with_1() -> None:
    done = run("drill", "main-drain-blocked", "--without", "drain-capacity")
    assert done.returncode == 1
    assert "NOT HELD" in done.stdout


def test_a_drill_draws_the_live_view(tmp_path: Path) -> None:
    picture = tmp_path / "view.svg"
    done = run("drill", "main-drain-blocked", "--picture", str(picture))
    assert done.returncode == 0, done.stderr
    svg = picture.read_text()
    assert svg.startswith("<svg")
    assert "Classroom" in svg
    assert "waiting" in svg
    assert "url(http" not in svg, "a picture must not fetch fonts from elsewhere"


def test_brackets_in_names_and_remedies_are_printed_as_they_are(tmp_path: Path) -> None:
    text = site_text("classroom").replace('name = "return pump"', 'name = "pump [old]"')
    start, end = text.index("[broker]"), text.index("[people.keeper]")
    file = tmp_path / "brackets.toml"
    file.write_text(text[:start] + text[end:])
    done = run("check", str(file))
    assert done.returncode == 0, done.stdout
    assert "add a [broker] table" in done.stdout
    assert "pump [old]" in done.stdout
    drilled = run("drill", "pump-dies", "--site", str(file))
    assert "HELD" in drilled.stdout
    assert "[bold" not in done.stdout + drilled.stdout
