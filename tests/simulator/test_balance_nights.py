"""Nights on a classroom with a level sensor before its sponge: what clogs is told in time."""

from __future__ import annotations

import pytest

from simulator import library
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from tests.rules.test_tracks import metered_site
from tests.simulator.nights import SEED


def played(name: str, seed: int, *without: str) -> Outcome:
    """The drill on that site."""
    drill = library.load_drill(name)
    return run(metered_site(), drill, seed, without=frozenset(without), trace=False)


@pytest.mark.parametrize("seed", [SEED, SEED + 1])
def test_a_sponge_that_clogs_over_a_night_is_told_and_nothing_else_is(seed: int) -> None:
    out = played("sponge-clogs-over-a-night", seed)
    assert out.passed
    assert {hazard for _, hazard, _ in out.alarms} == {"screen-clogging"}


def test_without_its_row_nobody_hears_of_it() -> None:
    assert played("sponge-clogs-over-a-night", SEED, "screen-clogging").alarms == ()


def test_a_healthy_day_with_pauses_raises_nothing_there() -> None:
    out = played("day-with-pauses", SEED)
    assert out.passed
    assert out.alarms == ()
