"""Nights by the hundred: 200 of a fixed seed, and 100 of a fresh one, whose seed is printed.

They last three quarters of an hour each, so that what is drawn comes close together and the lot
is played in a minute. A failure names the command that replays its night.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from daemon.cli import main

LASTS = ["--hours", "0.75", "--beside", "0"]


def _failures(tmp_path: Path, site: str, seed: int, nights: int) -> list[str]:
    """What failed, each with the command that replays it."""
    report = tmp_path / "report.json"
    command = ["campaign", "--site", site, "--seed", str(seed), "--nights", str(nights), *LASTS]
    main([*command, "--jobs", "2", "--out", str(tmp_path / "nights"), "--report", str(report)])
    result = json.loads(report.read_text())
    assert result["nights"] == nights
    return [
        f"{'; '.join(night['why'])}: {night['story']} {result['replay']} --night {night['night']}"
        for night in result["failures"]
    ]


@pytest.mark.process
@pytest.mark.parametrize("site", ["classroom", "rack"])
def test_a_hundred_nights_of_a_fixed_seed_on_each_site(tmp_path: Path, site: str) -> None:
    """No water on the floor where the assessment says it can be held, and no false trip."""
    assert _failures(tmp_path, site, 20, 100) == []


@pytest.mark.process
@pytest.mark.parametrize("site", ["classroom", "rack"])
def test_fifty_nights_of_a_fresh_seed_on_each_site(tmp_path: Path, site: str) -> None:
    """The same of nights that nobody has seen; pytest shows the seed when one fails."""
    seed = random.SystemRandom().randrange(10**6)
    print(f"fresh seed {seed}")
    assert _failures(tmp_path, site, seed, 50) == []
