"""Nights on the demo sites with a second float in every overflow box: the flow goes on while the
emergency drain is seen to carry it, and no litre more is on the floor when it does not.

Seeds were not chosen: they are the first ones.
"""

from __future__ import annotations

import pytest

from rules.signals import EventKind
from rules.site.parse import parse_site
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from simulator.story.drill_file import parse_drill
from tests.witness_sites import witness_text

SITES = {name: parse_site(witness_text(name), "witness.toml") for name in ("classroom", "rack")}
LEAD = {"classroom": "main-drain", "rack": "upper-left-drain"}
SPARE = {"classroom": "emergency-drain", "rack": "upper-left-emergency"}
EDGE = {"classroom": "display-high", "rack": "upper-left-high"}
UPPER = {"classroom": "box-upper", "rack": "upper-left-upper-watch"}
BOTH = ("classroom", "rack")


def block(where: str, at_s: float = 60.0, share: float = 100.0, over_s: float = 0.0) -> str:
    return (
        f'[[happens]]\nat = "{at_s} s"\nover = "{over_s} s"\nwhat = "block"\nwhere = "{where}"\n'
        f'share = "{share} %"\n'
    )


def stick(where: str) -> str:
    return f'[[happens]]\nat = "0 s"\nwhat = "stick"\nwhere = "{where}"\nstate = "dry"\n'


def play(
    name: str,
    *happens: str,
    lasts: str = "10 min",
    seed: int = 1,
    without: tuple[str, ...] = (),
    every_tick: bool = False,
) -> Outcome:
    head = (
        'title = "Blocked"\ngroup = "drains"\nstory = "A snail."\nstarts_at = "02:00"\n'
        f'lasts = "{lasts}"\n'
    )
    tail = '[[must_not]]\nwhat = "spill"\n'
    drill = parse_drill("\n".join((head, *happens, tail)), "blocked.toml")
    return run(
        SITES[name],
        drill,
        seed,
        without=frozenset(without),
        trace=False,
        every_tick=every_tick,
    )


def cuts(outcome: Outcome) -> list[tuple[str, ...]]:
    return [event.causes for event in outcome.events if event.kind is EventKind.PUMP_CUT]


def every_drain(name: str, **how: float) -> tuple[str, ...]:
    site = SITES[name]
    chamber = site.passages[LEAD[name]].from_
    return tuple(block(key, **how) for key in site.drains_from(chamber))


# --- the flow goes on ----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_drain_lost_whole_that_the_emergency_drain_makes_up_for_stops_nothing(seed: int) -> None:
    seen = play("rack", block(LEAD["rack"]), lasts="8 h", seed=seed)
    assert cuts(seen) == []
    assert seen.passed
    rows = [event.alarm.row for event in seen.events if event.kind is EventKind.ALARM_RAISED]
    assert rows == ["drain-loss.upper-left-box"]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_main_drain_lost_in_part_stops_nothing(seed: int) -> None:
    seen = play("classroom", block(LEAD["classroom"], share=30.0), lasts="8 h", seed=seed)
    assert cuts(seen) == []
    assert seen.passed


def test_no_look_left_out_changes_it() -> None:
    drill = (block(LEAD["rack"], share=80.0, over_s=120.0),)
    quick = play("rack", *drill, lasts="6 min")
    slow = play("rack", *drill, lasts="6 min", every_tick=True)
    told = [[event.kind for event in each.events] for each in (quick, slow)]
    assert told[0] == told[1]
    for one, other in zip(quick.events, slow.events, strict=True):
        assert one.t_s == pytest.approx(other.t_s, abs=1.0)


# --- and not a litre more on the floor -----------------------------------------------------------


@pytest.mark.parametrize("name", BOTH)
def test_a_drain_and_then_the_emergency_drain_blocked_is_cut_dry(name: str) -> None:
    """The emergency drain goes while the water runs down it, hours after the first."""
    later = block(SPARE[name], at_s=3600.0)
    first = block(LEAD[name], share=100.0 if name == "rack" else 30.0)
    seen = play(name, first, later, lasts="65 min")
    assert len(cuts(seen)) == 1
    assert seen.spilled_total_m3 == 0.0


@pytest.mark.parametrize("name", BOTH)
@pytest.mark.parametrize("stuck", ["edge", "upper", "none"])
@pytest.mark.parametrize("over_s", [0.0, 3000.0])
def test_every_drain_blocked_and_a_float_stuck_spills_nothing(
    name: str, stuck: str, over_s: float
) -> None:
    """At once, and over fifty minutes; either of the two that hold it may hang."""
    hangs = {"edge": (EDGE[name],), "upper": (UPPER[name],), "none": ()}[stuck]
    happens = (*every_drain(name, over_s=over_s), *(stick(key) for key in hangs))
    seen = play(name, *happens, lasts="75 min" if over_s else "10 min")
    assert cuts(seen)
    assert seen.spilled_total_m3 == 0.0
    by_edge = any(cause.startswith("spill-edge.") for causes in cuts(seen) for cause in causes)
    assert by_edge is (stuck == "upper")


@pytest.mark.parametrize("name", BOTH)
def test_with_the_edge_stuck_it_spills_without_the_hazard(name: str) -> None:
    happens = (*every_drain(name), stick(EDGE[name]))
    assert play(name, *happens, without=("drain-capacity",)).spilled_total_m3 > 0.001
