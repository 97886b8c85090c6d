"""Readings: polarity, flow over a window, and what is said when a pin cannot be read."""

from __future__ import annotations

from math import isnan

import pytest

from daemon.sensing import Senses
from rules.signals import Quality, Reading
from rules.site.model import Site
from simulator.library import load_site
from tests.daemon.boards import MemoryBoard

LITRE_PER_MINUTE_M3_S = 1e-3 / 60


@pytest.fixture
def site() -> Site:
    return load_site("classroom")


def read(site: Site, senses: Senses, sensor: str, t_s: float) -> Reading:
    return senses.read(t_s)[list(site.sensors).index(sensor)]


def test_a_good_day_reads_dry_above_and_wet_below(site: Site) -> None:
    senses = Senses(site, MemoryBoard(site))
    assert read(site, senses, "display-high", 0.0).value == 0.0
    assert read(site, senses, "return-low", 0.1).value == 1.0
    assert read(site, senses, "floor-pad", 0.2).value == 0.0
    assert read(site, senses, "supply", 0.3).value == 1.0


@pytest.mark.parametrize("sensor", ["display-high", "box-watch", "inlet-high", "return-high"])
def test_a_cut_cable_of_a_high_float_reads_wet(site: Site, sensor: str) -> None:
    board = MemoryBoard(site)
    board.contacts[sensor] = False  # nothing connects the pin to ground any more
    assert read(site, Senses(site, board), sensor, 0.0).value == 1.0


def test_a_cut_cable_of_the_low_float_reads_dry(site: Site) -> None:
    board = MemoryBoard(site)
    board.contacts["return-low"] = False
    assert read(site, Senses(site, board), "return-low", 0.0).value == 0.0


def test_a_pin_that_cannot_be_read_is_bad_and_ages(site: Site) -> None:
    board = MemoryBoard(site)
    senses = Senses(site, board)
    read(site, senses, "display-high", 10.0)
    board.broken.add("display-high")
    reading = read(site, senses, "display-high", 12.5)
    assert reading.quality is Quality.BAD
    assert isnan(reading.value)
    assert reading.age_s == pytest.approx(2.5)
    assert "cable test" in reading.why


def test_flow_is_pulses_over_the_window(site: Site) -> None:
    """450 pulses a litre and 60 l/min are 450 Hz: the K-factor of a Hall meter's data sheet."""
    board, senses = MemoryBoard(site), None
    senses = Senses(site, board)
    for n in range(1, 61):
        board.counts["return-flow"] = 45 * n
        reading = read(site, senses, "return-flow", n * 0.1)
    assert reading.value == pytest.approx(60 * LITRE_PER_MINUTE_M3_S, rel=1e-9)
    assert reading.quality is Quality.GOOD


def test_a_step_of_flow_shows_whole_after_one_window_and_not_before(site: Site) -> None:
    board = MemoryBoard(site)
    senses = Senses(site, board)
    count = 0
    seen = {}
    for n in range(1, 101):
        count += 45 if n <= 50 else 22
        board.counts["return-flow"] = count
        seen[n] = read(site, senses, "return-flow", n * 0.1).value / LITRE_PER_MINUTE_M3_S
    assert seen[50] == pytest.approx(60.0)
    assert 40.0 < seen[60] < 50.0
    assert seen[71] == pytest.approx(22 / 45 * 60.0)


def test_silence_reads_as_no_flow_after_its_time_and_not_before(site: Site) -> None:
    board = MemoryBoard(site)
    senses = Senses(site, board)
    for n in range(1, 51):
        board.counts["return-flow"] = 45 * n
        read(site, senses, "return-flow", n * 0.1)
    assert read(site, senses, "return-flow", 5.5).value > 0.0
    for n in range(56, 80):
        read(site, senses, "return-flow", n * 0.1)
    late = read(site, senses, "return-flow", 8.0)
    assert (late.value, late.quality) == (0.0, Quality.GOOD)


def test_a_count_that_goes_backwards_is_bad_not_a_flow(site: Site) -> None:
    board = MemoryBoard(site)
    senses = Senses(site, board)
    board.counts["return-flow"] = 1000
    read(site, senses, "return-flow", 0.1)
    board.counts["return-flow"] = 5
    assert read(site, senses, "return-flow", 0.2).quality is Quality.BAD
    board.counts["return-flow"] = 50
    read(site, senses, "return-flow", 0.3)
    board.counts["return-flow"] = 95
    assert read(site, senses, "return-flow", 0.4).quality is Quality.GOOD


def test_the_window_does_not_grow(site: Site) -> None:
    board = MemoryBoard(site)
    senses = Senses(site, board)
    for n in range(1, 5001):
        board.counts["return-flow"] = 45 * n
        senses.read(n * 0.1)
    assert len(senses._meters["return-flow"]._counts) < 25
