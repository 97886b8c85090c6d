"""The package as installed: what is in it, that it runs alone, that its names are its own."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TOP_LEVEL = ("daemon", "rules", "simulator")
ALLOWED_AT_THE_TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "daemon",
    "rules",
    "simulator",
    "deploy",
    "tests",
}


def other_owners(path: list[str] | None = None) -> dict[str, set[str]]:
    """Distributions other than ours that own one of our top-level names, by name."""
    found: dict[str, set[str]] = {}
    for distribution in metadata.distributions(**({"path": path} if path else {})):
        name = (distribution.metadata["Name"] or "").lower()
        if name == "weirkeeper":
            continue
        for file in distribution.files or ():
            top = file.parts[0].removesuffix(".py")
            if top in TOP_LEVEL and file.suffix == ".py":
                found.setdefault(top, set()).add(name)
    return found


def test_no_other_distribution_owns_a_name_of_ours() -> None:
    assert other_owners() == {}, "install Weirkeeper in an environment of its own"


def test_another_owner_would_be_found(tmp_path: Path) -> None:
    """The check above can fail: a made-up distribution with a package `rules` is seen."""
    info = tmp_path / "stranger-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: stranger\nVersion: 1.0\n")
    (info / "RECORD").write_text("rules/__init__.py,,\nstranger-1.0.dist-info/METADATA,,\n")
    assert other_owners([str(tmp_path)]) == {"rules": {"stranger"}}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out)]
    done = subprocess.run([*command, str(ROOT)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return next(out.glob("*.whl"))


@pytest.mark.process
def test_the_wheel_holds_the_three_packages_and_their_data(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names if ".dist-info" not in name}
    assert tops == set(TOP_LEVEL)
    for wanted in (
        "simulator/sites/classroom.toml",
        "simulator/sites/rack.toml",
        "simulator/drills/main-drain-blocked.toml",
        "simulator/report/page.css",
        "simulator/report/cursor.js",
        "rules/py.typed",
    ):
        assert wanted in names
    assert not [name for name in names if "test" in name.lower()]


@pytest.mark.process
def test_the_wheel_runs_outside_the_repository(wheel: Path, tmp_path: Path) -> None:
    target, elsewhere = tmp_path / "installed", tmp_path / "elsewhere"
    elsewhere.mkdir()
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"]
    subprocess.run([*pip, "--target", str(target), str(wheel)], check=True)
    environment = {**os.environ, "PYTHONPATH": str(target)}

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *arguments],
            cwd=elsewhere, env=environment, capture_output=True, text=True,
        )  # fmt: skip

    where = run("-c", "import daemon.cli, rules, simulator; print(daemon.cli.__file__)")
    assert where.stdout.strip().startswith(str(target)), where.stderr
    checked = run("-m", "daemon.cli", "check", "rack")
    assert checked.returncode == 0, checked.stderr
    assert "Verdict: SOUND" in checked.stdout
    drilled = run("-m", "daemon.cli", "drill", "main-drain-blocked", "--json")
    assert drilled.returncode == 0, drilled.stderr


def test_nothing_else_stands_at_the_top() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    tops = {name.split("/")[0] for name in listed}
    assert {top for top in tops if not top.startswith(".")} <= ALLOWED_AT_THE_TOP
