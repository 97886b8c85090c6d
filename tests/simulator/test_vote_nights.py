"""Nights with three spill-edge floats at one height: one that hangs neither stops nor blinds them.

Seeds were not chosen: they are the first ones.
"""

from __future__ import annotations

import pytest

from rules.signals import EventKind
from rules.site.parse import parse_site
from simulator.library import site_text
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from simulator.story.drill_file import parse_drill
from tests.simulator.test_witness_nights import block
from tests.vote_sites import FIRST, LEFT, RIGHT, three_text

DRAINS = ("main-drain", "open-drain", "emergency-drain")


def stick(where: str, state: str) -> str:
    return f'[[happens]]\nat = "0 s"\nwhat = "stick"\nwhere = "{where}"\nstate = "{state}"\n'


def play(text: str, *happens: str, every_tick: bool = False) -> Outcome:
    head = (
        'title = "A float hangs"\ngroup = "sensors"\nstory = "Algae."\nstarts_at = "02:00"\n'
        'lasts = "8 min"\n'
    )
    drill = parse_drill("\n".join((head, *happens, '[[must_not]]\nwhat = "spill"\n')), "vote.toml")
    site = parse_site(text, "vote.toml")
    return run(site, drill, 1, trace=False, every_tick=every_tick)


def alarms(seen: Outcome) -> list[str]:
    return [event.alarm.row for event in seen.events if event.kind is EventKind.ALARM_RAISED]


def cuts(seen: Outcome) -> list[tuple[str, ...]]:
    return [event.causes for event in seen.events if event.kind is EventKind.PUMP_CUT]


@pytest.mark.parametrize("every_tick", [False, True])
def test_one_stuck_wet_stops_nothing_and_is_named(every_tick: bool) -> None:
    seen = play(three_text(), stick(RIGHT, "wet"), every_tick=every_tick)
    assert cuts(seen) == []
    assert alarms(seen) == [f"signal.{RIGHT}"]


def test_alone_the_same_float_would_have_stopped_the_flow() -> None:
    assert cuts(play(site_text("classroom"), stick(FIRST, "wet")))


def blinded() -> tuple[str, ...]:
    """All drains blocked, and nothing but the spill-edge floats could tell: the watch hangs too."""
    return (*(block(key) for key in DRAINS), stick("box-watch", "dry"))


@pytest.mark.parametrize("stuck", [FIRST, LEFT, RIGHT])
def test_one_stuck_dry_with_every_drain_blocked_spills_nothing(stuck: str) -> None:
    seen = play(three_text(), *blinded(), stick(stuck, "dry"))
    others = {f"spill-edge.{key}" for key in (FIRST, LEFT, RIGHT) if key != stuck}
    assert {cause for causes in cuts(seen) for cause in causes} <= others
    assert cuts(seen)
    assert seen.spilled_total_m3 == 0.0


def test_alone_the_same_float_would_have_let_it_spill() -> None:
    seen = play(site_text("classroom"), *blinded(), stick(FIRST, "dry"))
    assert seen.spilled_total_m3 > 0.001
