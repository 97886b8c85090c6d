"""Siphon breaks on the plant: open ones never named, plugged ones always, floods undone.

Seeds were not chosen: they are the first ones.
"""

from __future__ import annotations

import pytest

from rules.signals import EventKind
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import load_site
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from simulator.story.drill_file import parse_drill
from tests.rules.test_siphon_break import FLOODS

HEAD = """
title = "A pause"
group = "people"
story = "Food goes in."
starts_at = "19:00"
lasts = "5 min"

[[happens]]
at = "30 s"
what = "pause"
kind = "feeding"

[[must_not]]
what = "spill"
"""


def play(site: Site, seed: int, plugged: str = "", without: tuple[str, ...] = ()) -> Outcome:
    plug = f'[[happens]]\nat = "1 s"\nwhat = "plug siphon break"\nwhere = "{plugged}"\n'
    drill = parse_drill(HEAD + (plug if plugged else ""), "pause.toml")
    return run(site, drill, seed, without=frozenset(without), trace=False)


def rows(outcome: Outcome) -> list[str]:
    raised = [e for e in outcome.events if e.kind is EventKind.ALARM_RAISED and e.alarm]
    return [event.alarm.row for event in raised if event.alarm is not None]


@pytest.mark.parametrize("seed", range(1, 7))
@pytest.mark.parametrize(
    ("name", "branch"),
    [("classroom", "riser"), ("rack", "upper-left-feed"), ("rack", "lower-right-feed")],
)
def test_each_plugged_break_is_named_and_no_open_one(name: str, branch: str, seed: int) -> None:
    site = load_site(name)
    assert rows(play(site, seed)) == []
    first, *after = rows(play(site, seed, branch))
    assert first == "siphon-break.return-pump"
    assert set(after) <= {"chamber-high.return-high"}  # what ran down may reach its float


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_stop_that_floods_is_undone_before_anything_spills(seed: int) -> None:
    site = parse_site(FLOODS, "floods.toml")
    kept = play(site, seed, "riser")
    assert kept.spilled_total_m3 == 0.0
    assert "siphon-break.return-pump" in rows(kept)
    assert play(site, seed, "riser", without=("siphon-break",)).spilled_total_m3 > 0.005
