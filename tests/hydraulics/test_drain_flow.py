"""Siphon, open and emergency drains against plumbing tables and their own stories."""

from __future__ import annotations

from itertools import pairwise
from math import pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.hydraulics.drains import (
    LIP_TO_MOUTH,
    OpenDrainFlow,
    SiphonDrainFlow,
    annular_capacity,
    lip_flow,
    quiet_submergence,
)
from rules.hydraulics.friction import PipeRun
from rules.hydraulics.partfull import full_run_flow, part_full_share

INCH_M = 0.0254
GALLON_MIN_M3_S = 231 * INCH_M**3 / 60
G = 9.80665
RUN = PipeRun(0.04094, 1.0, 1.5e-6, 2.7, 9.37e-7)


@pytest.mark.parametrize(
    ("inches", "filled", "gallons_min"),
    [
        (2, 7 / 24, 22.64),
        (3, 7 / 24, 66.76),
        (4, 7 / 24, 143.77),
        (2, 1 / 3, 28.29),
        (3, 1 / 3, 83.40),
        (4, 1 / 3, 179.61),
    ],
)
def test_annular_capacity_by_value(inches, filled, gallons_min):
    """Source: Wyly and Eaton, NBS Monograph 31 (1961); formula and figures from memory, to 0.06 %
    (the 1/3 row was figured with a rounded exponent)."""
    capacity = annular_capacity(inches * INCH_M, filled)
    assert capacity / GALLON_MIN_M3_S == pytest.approx(gallons_min, rel=6e-4)


@pytest.mark.parametrize("inches", [1.049, 1.61, 2.067, 3.068, 4.026])
def test_annular_capacity_agrees_with_terminal_velocity(inches):
    """Source: terminal velocity V = 3.0 (Q/D)^0.4 (ft/s, gpm, in), seen second-hand: the film that
    fills 7/24 of the section at that speed carries the capacity, within 0.5 %."""
    gallons = annular_capacity(inches * INCH_M) / GALLON_MIN_M3_S
    speed_ft_s = 3.0 * (gallons / inches) ** 0.4
    film_ft2 = 7 / 24 * pi / 4 * (inches / 12) ** 2
    assert speed_ft_s * film_ft2 * 448.831 == pytest.approx(gallons, rel=5e-3)


@pytest.mark.parametrize(("bore_m", "litres_s"), [(0.068, 2.0), (0.096, 5.2)])
def test_annular_capacity_is_of_the_order_of_building_codes(bore_m, litres_s):
    """Source: EN 12056-2, stacks with swept entries DN70 and DN100 (from memory): up to twice as
    careful, since they also bound the pressure in traps, which a tank's drain has none of."""
    assert 1.0 < annular_capacity(bore_m) * 1000 / litres_s < 2.1


def test_annular_capacity_outside_its_range_is_refused():
    """More than a third full is no film any more."""
    for filled in (0.0, 0.34):
        with pytest.raises(ValueError, match="outside 0 to 1/3"):
            annular_capacity(0.04, filled)


@given(st.floats(1e-4, 0.01))
def test_lip_is_a_weir_along_its_edge(head_m):
    """Source: sharp weir, 2/3 x Ce sqrt(2g) h^1.5 for each metre, Ce 0.602 (Kindsvater-Carter)."""
    expected = 2 / 3 * 0.602 * sqrt(2 * G) * pi * 0.04 * head_m * sqrt(head_m)
    assert lip_flow(head_m, 0.04) == pytest.approx(expected, rel=0.005)


@given(st.floats(0.02, 0.5))
def test_deep_mouth_is_an_orifice(head_m):
    """Source: sharp orifice, Cd 0.60 to 0.637 for small heads (old tables)."""
    cd = lip_flow(head_m, 0.04) / (pi / 4 * 0.04**2 * sqrt(2 * G * head_m))
    assert 0.595 < cd < 0.637


def test_lip_has_no_step_between_weir_and_orifice():
    """The two meet at 3/8 of the bore."""
    meet = LIP_TO_MOUTH * 0.04
    assert pytest.approx(3 / 8) == LIP_TO_MOUTH
    assert lip_flow(meet * (1 - 1e-9), 0.04) == pytest.approx(lip_flow(meet * (1 + 1e-9), 0.04))
    assert lip_flow(0.0, 0.04) == 0.0


def test_quiet_submergence_by_value():
    """Source: ANSI/HI 9.8, S = D + 0.574 Q / D^1.5 (in, gpm): 3200 gpm through 16 in: 44.7 in."""
    depth = quiet_submergence(3200 * GALLON_MIN_M3_S, 16 * INCH_M)
    assert depth / INCH_M == pytest.approx(44.7, rel=2e-3)


def test_siphon_runs_as_a_full_pipe():
    """Worked by hand: fall 0.7 m, 1 m of 40.94 mm, sum K 2.7: 164.83 l/min; its mouth's height
    does not matter, the outlet's does until the level below stands above it."""
    for mouth in (0.3, 0.5, 0.6):
        drain = SiphonDrainFlow(mouth, 0.0, RUN)
        assert drain.flow(0.7, -0.2) * 60000 == pytest.approx(164.83, rel=5e-5)
    assert drain.flow(0.7, 0.1) == pytest.approx(SiphonDrainFlow(0.6, 0.1, RUN).flow(0.7, -1.0))


def test_siphon_fades_out_at_its_mouth():
    """No step on the way from a bore over the mouth down to it, and nothing below it."""
    drain = SiphonDrainFlow(0.6, 0.0, RUN)
    levels = [0.6 + 0.05 * i / 5000 for i in range(5001)]
    flows = [drain.flow(level, -1.0) for level in levels]
    steps = [b - a for a, b in pairwise(flows)]
    assert min(steps) >= 0.0
    assert max(steps) < 0.001 * flows[-1]
    assert flows[0] == drain.flow(0.59, -1.0) == 0.0


def test_siphon_does_not_run_up():
    """With the level below as high as the level above, nothing flows, and never back."""
    drain = SiphonDrainFlow(0.6, 0.0, RUN)
    assert drain.flow(0.7, 0.7) == 0.0
    assert drain.flow(0.7, 0.9) == 0.0


@given(st.floats(0.05, 0.95), st.floats(0.605, 0.8))
def test_throttled_siphon_passes_what_it_was_set_to(share, level):
    """At the level at which its valve was set, anywhere over its mouth."""
    drain = SiphonDrainFlow(0.6, 0.0, RUN)
    wanted = share * drain.flow(level, -1.0)
    tuned = drain.throttled(wanted, level, -1.0)
    assert tuned is not None
    assert tuned.flow(level, -1.0) == pytest.approx(wanted, rel=1e-9)
    assert tuned.throttle_k > 0.0


def test_valve_cannot_be_opened_beyond_open():
    """A share that the pipe does not pass with its valve open has no setting."""
    drain = SiphonDrainFlow(0.6, 0.0, RUN)
    assert drain.throttled(1.01 * drain.flow(0.7, -1.0), 0.7, -1.0) is None
    assert drain.throttled(1e-4, 0.55, -1.0) is None


def open_drain(bore_m: float = 0.04) -> OpenDrainFlow:
    return OpenDrainFlow(
        0.6, 0.0, PipeRun(bore_m, 1.0, 1.5e-6, 2.7, 9.37e-7), annular_capacity(bore_m)
    )


def test_open_drain_goes_from_lip_to_film():
    """A weir at first, then no more than the film with its air core open, however high."""
    drain = open_drain()
    assert drain.flow(0.605, -1.0) == pytest.approx(lip_flow(0.005, 0.04))
    assert drain.flow(0.66, -1.0) == drain.flow(1.5, -1.0) == annular_capacity(0.04)
    assert drain.flow(0.6, -1.0) == drain.flow(0.5, -1.0) == 0.0


def test_open_drain_into_high_water_passes_no_more_than_a_full_pipe():
    """With the level below nearly as high, the pipe itself limits; at the same level none flows."""
    drain = open_drain()
    assert 0.0 < drain.flow(0.65, 0.6499) < annular_capacity(0.04)
    assert drain.flow(0.65, 0.65) == 0.0
    assert drain.flow(0.65, 0.7) == 0.0


def test_drowned_drain_passes_more_than_its_film_and_nothing_relies_on_it():
    """Common practice, no source: a drowned open drain draws a siphon. Its capacity stays the
    film's."""
    drain = open_drain()
    level = drain.drowns_at_m
    assert drain.drowned_flow(level, -1.0) > 3 * drain.annular_flow(level, -1.0)
    assert drain.flow(level, -1.0) == drain.annular_flow(level, -1.0)
    assert drain.drowned_flow(0.6, -1.0) == 0.0


def test_drowned_drain_clears_lower_than_it_drowned():
    """Hysteresis: rising, it drowns one bore over its lip; falling, it clears at 3/8 of a bore."""
    drain = open_drain()
    between = 0.5 * (drain.clears_at_m + drain.drowns_at_m)
    assert drain.clears_at_m < between < drain.drowns_at_m
    state, seen = False, []
    for level in (0.6, between, drain.drowns_at_m, between, drain.clears_at_m, between):
        state = drain.drowned(state, level)
        seen.append(state)
    assert seen == [False, False, True, True, False, False]


def test_doubt_is_wider_while_a_siphon_draws_air():
    """Under the depth at which no whirl draws air (ANSI/HI 9.8) its flow is less certain."""
    deep, shallow = SiphonDrainFlow(0.1, 0.0, RUN), SiphonDrainFlow(0.6, 0.0, RUN)
    assert shallow.uncertainty(0.7, -1.0) > deep.uncertainty(0.7, -1.0) > 0.0
    assert open_drain().uncertainty(0.7, -1.0) >= 0.2


@pytest.mark.parametrize(
    ("depth_share", "expected"),
    [(0.0, 0.0), (0.5, 0.5), (0.8, 0.9775), (0.938, 1.0757), (1.0, 1.0)],
)
def test_part_full_run_by_value(depth_share, expected):
    """Worked from Manning's formula with n constant; usual charts show the same."""
    assert part_full_share(depth_share) == pytest.approx(expected, abs=5e-5)


def test_full_run_by_value():
    """Source: worked example of an 8 in sewer, n 0.013, slope 0.005: 0.854 cfs."""
    flow = full_run_flow(8 * INCH_M, 0.005, 0.013)
    assert flow / 0.3048**3 == pytest.approx(0.854, abs=5e-4)


@pytest.mark.parametrize("slope", [0.0, -0.01, 0.11])
def test_run_outside_its_range_is_refused(slope):
    """A level or rising run has no flow by Manning; a steep one is a stack."""
    with pytest.raises(ValueError, match="outside"):
        full_run_flow(0.04, slope)
    with pytest.raises(ValueError, match="outside"):
        part_full_share(1.01)
    with pytest.raises(ValueError, match="above zero"):
        full_run_flow(0.0, 0.01)
