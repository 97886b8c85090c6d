"""Weirs, combs, holes, screens and slots against formulas and libraries of others."""

from __future__ import annotations

from math import pi, sqrt

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.hydraulics.hole import HoleFlow
from rules.hydraulics.opening import UnderBaffleFlow
from rules.hydraulics.screen import ScreenFlow
from rules.hydraulics.weir import (
    CONTRACTED,
    EXTRAPOLATED,
    IN_RANGE,
    CombFlow,
    WeirFlow,
    rectangular,
    villemonte,
)

G = 9.80665


@pytest.mark.parametrize(
    ("head_m", "crest_m", "width_m", "expected", "rel"),
    [
        (0.3, 0.4, 2.0, 0.641560300, 1e-8),
        (0.03, 0.3, 0.2, 1.95458e-3, 3e-6),
        (0.05, 0.3, 0.2, 4.15829e-3, 3e-6),
    ],
)
def test_full_width_weir_by_value(head_m, crest_m, width_m, expected, rel):
    """Source: Kindsvater and Carter 1957 through fluids, printed values; rtol of the print."""
    assert rectangular(head_m, width_m, crest_m) == pytest.approx(expected, rel=rel)


@given(st.floats(0.031, 0.5), st.floats(0.26, 1.0), st.floats(0.16, 3.0))
def test_full_width_weir_agrees_with_the_library(head_m, crest_m, width_m):
    """Source: fluids.open_flow.Q_weir_rectangular_full_Kindsvater_Carter, in its range."""
    expected = fluids.open_flow.Q_weir_rectangular_full_Kindsvater_Carter(head_m, crest_m, width_m)
    assert rectangular(head_m, width_m, crest_m) == pytest.approx(expected, rel=1e-9)


def test_full_width_weir_agrees_with_another_formula():
    """Source: Rehbock 1929 through fluids, 0.648685633 m3/s; the two differ by 1.1 %."""
    assert rectangular(0.3, 2.0, 0.4) == pytest.approx(0.648685633, rel=0.015)


@given(st.floats(0.031, 0.3), st.floats(0.3, 1.0), st.floats(0.9, 2.0))
def test_notch_in_a_wide_wall_agrees_with_francis(head_m, crest_m, width_m):
    """Source: Francis 3.33 (L - 0.2 H) H^1.5 (ft), SI factor 1.84, for h up to b/3; rtol 4 %."""
    expected = 1.84 * (width_m - 0.2 * head_m) * head_m * sqrt(head_m)
    assert rectangular(head_m, width_m, crest_m, CONTRACTED) == pytest.approx(expected, rel=0.045)


@given(st.floats(0.031, 0.3), st.floats(0.2, 1.0), st.floats(0.16, 2.0))
def test_notch_in_a_wide_wall_agrees_with_its_short_form(head_m, crest_m, width_m):
    """Source: 0.554 (1 - 0.0035 h/P) (b + 0.0025) sqrt(g) (h + 0.001)^1.5, the short form that
    fluids documents, with the head term of its full-width sibling (its own is ten times less)."""
    head = head_m + 0.001
    expected = 0.554 * (1 - 0.0035 * head_m / crest_m) * (width_m + 0.0025)
    expected *= sqrt(G) * head * sqrt(head)
    assert rectangular(head_m, width_m, crest_m, CONTRACTED) == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize(
    ("upper_m", "lower_m", "expected"),
    [(0.1, 0.05, (1 - 0.5**1.5) ** 0.385), (0.1, 0.09, (1 - 0.9**1.5) ** 0.385)],
)
def test_submergence(upper_m, lower_m, expected):
    """Source: Villemonte 1947, (1 - (h2/h1)^1.5)^0.385, as EPA SWMM computes it."""
    assert villemonte(upper_m, lower_m) == pytest.approx(expected)
    assert villemonte(upper_m, 0.0) == 1.0
    assert villemonte(upper_m, upper_m) == 0.0
    assert villemonte(upper_m, 2 * upper_m) == 0.0


def test_weir_is_free_until_the_lower_level_reaches_its_crest():
    """Below the crest the lower level does not matter; at the same level nothing flows."""
    weir = WeirFlow(1.0, 0.45, 0.25, 0.3)
    assert weir.flow(1.02, 0.5) == weir.flow(1.02, 1.0) > weir.flow(1.02, 1.005) > 0.0
    assert weir.flow(1.02, 1.02) == 0.0
    assert weir.flow(1.0, 0.9) == 0.0
    assert weir.flow(1.01, 1.02) == -WeirFlow(1.0, 0.45, 0.3, 0.25).flow(1.02, 1.01) < 0.0


def test_weir_says_when_its_head_is_outside_the_formula():
    """Range of Kindsvater and Carter: heads over 30 mm; a wider doubt below."""
    weir = WeirFlow(1.0, 0.45, 0.25, 0.3)
    assert weir.uncertainty(1.031, 0.9) == IN_RANGE
    assert weir.uncertainty(1.029, 0.9) == EXTRAPOLATED > 2 * IN_RANGE
    assert CombFlow(1.0, 40, 0.008, 0.04).uncertainty(1.02, 0.9) == EXTRAPOLATED


@given(st.floats(0.001, 0.1))
def test_one_wide_slot_is_a_contracted_weir(head_m):
    """Source: Francis, two end contractions, within its range h <= b/3."""
    comb = CombFlow(0.0, 1, 0.3, 0.2)
    expected = 1.84 * (0.3 - 0.2 * head_m) * head_m * sqrt(head_m)
    assert comb.flow(head_m, -1.0) == pytest.approx(expected, rel=1e-12)


def test_deep_slot_keeps_the_coefficient_of_a_narrow_notch():
    """Source: Kindsvater-Carter for b/B towards 0, Ce 0.587; Francis at h = b/3 is 1 % lower."""
    comb = CombFlow(0.0, 1, 0.008, 0.1)
    head = 0.03
    ce = comb.flow(head, -1.0) / (2 / 3 * sqrt(2 * G) * 0.008 * head * sqrt(head))
    assert ce == pytest.approx(0.587, rel=0.015)


@given(st.floats(0.05, 0.4))
def test_topped_slots_are_orifices(head_m):
    """Source: sharp orifice Cd 0.58 to 0.637 on the depth to its middle (old tables: 0.618 up)."""
    comb = CombFlow(0.0, 40, 0.008, 0.02)
    area = 40 * 0.008 * 0.02
    cd = comb.flow(head_m, -1.0) / (area * sqrt(2 * G * (head_m - 0.01)))
    assert 0.57 < cd < 0.637


def test_comb_has_no_step_where_its_slots_are_topped():
    """The flow and its growth go on as the level passes the top of the slots."""
    comb = CombFlow(0.0, 40, 0.008, 0.04)
    eps = 1e-9
    assert comb.flow(0.04 + eps, -1) - comb.flow(0.04 - eps, -1) < 1e-8


def test_drowned_comb_passes_no_more_than_its_openings():
    """Source: submerged orifice, Cd A sqrt(2 g dh) with Cd at most 0.637 (old tables)."""
    comb = CombFlow(0.0, 40, 0.008, 0.04)
    limit = 0.637 * 40 * 0.008 * 0.04 * sqrt(2 * G * 0.01)
    assert 0.0 < comb.flow(0.1, 0.09) < limit


@pytest.mark.parametrize("head_m", [0.05, 0.2, 1.0])
def test_covered_hole_is_a_sharp_orifice(head_m):
    """Source: sharp orifices, Cd 0.618 to 0.637 for small heads (Encyclopaedia Britannica 1911,
    Hydraulics); ours is the usual 0.61, up to 5 % on the careful side."""
    hole = HoleFlow.round(0.0, 0.02)
    cd = hole.flow(head_m, -1.0) / (0.25 * pi * 0.02**2 * sqrt(2 * G * head_m))
    assert 0.95 * 0.637 < cd <= 0.618


@given(st.floats(0.001, 0.0999))
def test_partly_covered_hole_agrees_with_strips(depth_m):
    """Against Cd x the sum over 2,000 thin strips of width sqrt(2 g depth); rtol 2 %, and 0.2 % of
    the full hole while it is barely wet."""
    hole = HoleFlow.round(0.05, 0.1)
    n = 2000
    total = 0.0
    for i in range(n):
        z = depth_m * (i + 0.5) / n
        total += 2 * sqrt(max(0.0, 0.05**2 - (z - 0.05) ** 2)) * sqrt(2 * G * (depth_m - z))
    assert hole.flow(depth_m, -1.0) == pytest.approx(0.61 * total * depth_m / n, rel=0.02, abs=1e-5)


def test_drowned_hole_sees_the_difference_of_levels():
    """Q = Cd A sqrt(2 g dh), whatever the depth."""
    hole = HoleFlow.round(0.0, 0.02)
    assert hole.flow(1.0, 0.9) == pytest.approx(hole.flow(0.5, 0.4), rel=1e-9)
    assert hole.flow(0.9, 1.0) == -hole.flow(1.0, 0.9)
    assert hole.uncertainty(0.0, -1.0) > hole.uncertainty(0.5, -1.0)


def test_screen_shows_the_loss_it_was_seen_with():
    """A clean screen at the observed flow loses what was observed."""
    screen = ScreenFlow.seen(0.1, 0.33, 0.008, 70 / 60000)
    assert screen.flow(0.33, 0.322) == pytest.approx(70 / 60000, rel=1e-12)


def test_clogged_screen_needs_the_square_of_its_loss():
    """Half the conductance carries the same flow at four times the loss, deep under water."""
    screen = ScreenFlow.seen(0.0, 0.2, 0.008, 1e-3)
    assert screen.flow(0.5 + 0.04, 0.5, 0.5) == pytest.approx(
        screen.flow(0.5 + 0.01, 0.5), rel=1e-9
    )


@given(st.floats(0.01, 0.3), st.floats(-0.1, 0.3))
def test_slot_under_a_baffle_agrees_with_strips(up_m, down_m):
    """Against 0.61 x the sum over strips of width sqrt(2 g own head)."""
    slot = UnderBaffleFlow(0.0, 0.05, 0.45)
    high, low = max(up_m, down_m), min(up_m, down_m)
    n, wet = 4000, min(high, 0.05)
    total = sum(sqrt(high - max((i + 0.5) * wet / n, low)) for i in range(n)) * wet / n
    expected = 0.61 * 0.45 * sqrt(2 * G) * total
    signed = expected if up_m >= down_m else -expected
    assert slot.flow(up_m, down_m) == pytest.approx(signed, rel=2e-3, abs=1e-12)


def test_slot_fully_drowned_is_an_orifice():
    """Source: Cd A sqrt(2 g dh), Cd 0.61, a sharp slot."""
    slot = UnderBaffleFlow(0.0, 0.05, 0.45)
    assert slot.flow(0.3, 0.25) == pytest.approx(0.61 * 0.05 * 0.45 * sqrt(2 * G * 0.05))
    assert slot.flow(0.25, 0.3) == -slot.flow(0.3, 0.25)
    assert slot.uncertainty(0.3, 0.25) > 0.0
