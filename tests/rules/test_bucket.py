"""A bucket and a clock: means and doubts against the worked examples of JCGM 100 and scipy."""

from __future__ import annotations

from math import hypot, inf, sqrt

import pytest
from scipy import stats

from rules.bucket import SPREAD, Found, coverage, effective_freedom, flow_of, pulses_of

LITRE = 1e-3
L_MIN = 1 / 60000


def test_effective_freedom_of_the_worked_example() -> None:
    """Source: JCGM 100:2008, H.1.6 (end-gauge): 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 degrees
    of freedom give 16.7, with a combined 32 nm (figures from memory)."""
    parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]
    assert hypot(*(u for u, _ in parts)) == pytest.approx(32.0, abs=0.5)
    assert effective_freedom(parts) == pytest.approx(16.7, abs=0.5)


def test_limits_alone_have_freedom_without_end() -> None:
    """What is known by its limits is taken as known exactly (G.4.2)."""
    assert effective_freedom([(1.0, inf), (2.0, inf)]) == inf
    assert effective_freedom([(1.0, 4.0)]) == pytest.approx(4.0)


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 9, 16, 20, 25, 50, 100])
def test_coverage_is_students_t(freedom: int) -> None:
    """Source: scipy.stats.t, two-sided 95 %; the table is of three digits."""
    assert coverage(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=3e-3)


def test_coverage_between_two_lines_is_the_wider_one() -> None:
    assert coverage(16.7) == coverage(16)
    assert coverage(24.9) == coverage(20)
    assert coverage(1e6) == coverage(100)
    assert coverage(inf) == pytest.approx(stats.norm.ppf(0.975), rel=1e-4)


def test_spread_of_the_worked_example() -> None:
    """Source: JCGM 100:2008, table H.2: 5.007, 4.994, 5.005, 4.990, 4.999 V have the mean 4.9990 V
    and the standard uncertainty 0.0032 V (figures from memory)."""
    volts = [5.007, 4.994, 5.005, 4.990, 4.999]
    found = flow_of([(one * 100.0, 100.0) for one in volts])
    assert found.value == pytest.approx(4.9990)
    assert found.parts[SPREAD] * found.value == pytest.approx(0.0032, abs=5e-5)


def test_one_run_by_hand() -> None:
    """20 l in 18.2 s: 65.93 l/min; 2 %/sqrt 3 = 1.155 % for the bucket, 0.3 s/sqrt 3 at the start
    and at the end, sqrt 2 x 0.1732 s / 18.2 s = 1.346 %; together 1.773 %, times 1.96: 3.48 %."""
    found = flow_of([(20 * LITRE, 18.2)])
    assert found.value == pytest.approx(65.934 * L_MIN, rel=1e-5)
    assert found.parts == pytest.approx({"bucket": 0.011547, "clock": 0.013458}, rel=1e-4)
    assert found.coverage == 1.960
    assert found.tolerance == pytest.approx(0.03476, rel=1e-3)


def test_three_runs_by_hand() -> None:
    """Flows of 60, 61 and 62 l/min: mean 61, deviation 1, of their mean 1/sqrt 3, 0.946 %. The
    clock's part shrinks by sqrt 3, the bucket's does not. Freedom 2 x (u/u_A)^4."""
    found = flow_of([(20 * LITRE, 1200 / flow) for flow in (60, 61, 62)])
    assert found.value == pytest.approx(61 * L_MIN)
    clock = sqrt(2 / 3) * 0.3 / (1200 / 61) / sqrt(3)
    assert found.parts["bucket"] == pytest.approx(0.011547, rel=1e-4)
    assert found.parts["clock"] == pytest.approx(clock, rel=1e-3)
    assert found.parts[SPREAD] == pytest.approx(1 / sqrt(3) / 61)
    standard = hypot(0.011547, clock, 0.0094648)
    freedom = int(2 * (standard / 0.0094648) ** 4)
    assert found.tolerance == pytest.approx(stats.t.ppf(0.975, freedom) * standard, rel=3e-3)


def test_two_runs_that_differ_much_say_little() -> None:
    """With one degree of freedom the spread counts 12.7 times: 10 and 20 s leave nothing known."""
    assert flow_of([(20 * LITRE, 10.0), (20 * LITRE, 20.0)]).tolerance > 2.0


def test_more_runs_and_more_water_are_better() -> None:
    one = flow_of([(20 * LITRE, 18.2)])
    assert flow_of([(20 * LITRE, 18.2)] * 3).tolerance < one.tolerance
    assert flow_of([(60 * LITRE, 54.6)]).tolerance < one.tolerance
    # but never better than the mark of the bucket
    assert flow_of([(60 * LITRE, 54.6)] * 50).tolerance > 1.9 * 0.02 / sqrt(3)


def test_pulses_by_hand() -> None:
    """8,950 in 20 l are 447.5 a litre; a pulse at either end is nothing beside the bucket."""
    found = pulses_of([(20 * LITRE, 8950)])
    assert found.value == pytest.approx(447_500.0)
    assert found.parts["count"] == pytest.approx(sqrt(2 / 3) / 8950)
    assert found.tolerance == pytest.approx(1.96 * 0.011547, rel=1e-3)
    few = pulses_of([(1 * LITRE, 10)])
    assert few.parts["count"] == pytest.approx(sqrt(2 / 3) / 10)


def test_another_cause_of_doubt_is_added_by_its_limits() -> None:
    """3 % either way, as a rectangle: 3 %/sqrt 3 more, added as squares."""
    found = Found(1.0, 1, {"bucket": 0.01})
    assert found.also("ruler", 0.03).tolerance == pytest.approx(1.96 * hypot(0.01, 0.03 / sqrt(3)))


@pytest.mark.parametrize("run", [(0.0, 5.0), (0.02, 0.0), (-0.02, 5.0), (0.02, -1.0)])
def test_run_of_nothing_is_refused(run: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="each more than nought"):
        flow_of([run])
    with pytest.raises(ValueError, match="each more than nought"):
        pulses_of([(0.02, 9000.0), run])


def test_no_run_is_refused() -> None:
    with pytest.raises(ValueError, match="each more than nought"):
        flow_of([])
