"""Volumes and times of a small site, worked by hand from levels of round numbers."""

from __future__ import annotations

from math import inf

import pytest

from rules import engine, figures, plan
from rules.assessment import assess
from rules.figures import Figures
from rules.hydraulics.network import PumpPoint, Running
from rules.site.model import Site
from tests.rules.nights import edited, site_of, text_of

# A tank of 1 m2 over a sump of 0.5 and 1 m2, with an overflow box of 0.1 m2.
BENCH = """
[site]
id = "bench"
name = "Bench"

[water]
temperature = "25 degC"

[chambers.tank]
bottom = "1000 mm"
rim = "500 mm"
area = "1 m^2"

[chambers.box]
bottom = "1000 mm"
rim = "450 mm"
area = "0.1 m^2"

[chambers.inlet]
bottom = "0 mm"
rim = "400 mm"
area = "0.5 m^2"

[chambers.return]
bottom = "0 mm"
rim = "400 mm"
area = "1 m^2"
level = "150 mm"

[chambers.reservoir]
bottom = "0 mm"
rim = "400 mm"
area = "0.1 m^2"
level = "300 mm"

[passages.edge]
kind = "weir"
from = "tank"
to = "box"
crest = "400 mm"
width = "300 mm"

[passages.drain]
kind = "open-drain"
from = "box"
to = "inlet"
mouth = "100 mm"
outlet = "300 mm"
pipe = "50 mm bore"
length = "1 m"

[passages.standby]
kind = "emergency-drain"
from = "box"
to = "inlet"
mouth = "200 mm"
outlet = "300 mm"
pipe = "40 mm bore"
length = "1 m"

[passages.baffle]
kind = "baffle"
from = "inlet"
to = "return"
crest = "200 mm"
width = "500 mm"

[passages.riser]
kind = "branch"
pump = "lifter"
to = "tank"
outlet = "350 mm"
siphon_break = "390 mm"
pipe = "40 mm bore"
length = "1.5 m"

[pumps.lifter]
from = "return"
intake = "50 mm"
curve = [{ flow = "0 l/min", head = "3 m" }, { flow = "120 l/min", head = "0 m" }]

[top_off]
reservoir = "reservoir"
to = "return"
rate = "1 l/min"
"""

LEVELS_M = {"tank": 1.420, "box": 1.150, "inlet": 0.210, "return": 0.150, "reservoir": 0.300}
FLOW_M3_S = 0.001
CARRIED = {"drain": 0.0012, "standby": 0.0006}
LITRE = 1e-3
RISER_M3 = 0.0018849556
"""What stands in the riser: pi/4 x (40 mm)^2 x 1.5 m."""


class RoundNumbers:
    """Stands for the hydraulics, which have checks of their own; the levels are given."""

    def __init__(self, site: Site, bore: str = "mean") -> None:
        self.site = site

    def running(self) -> Running:
        """A litre a second, all of it down the open drain."""
        flows = dict.fromkeys(self.site.passages, FLOW_M3_S) | {"standby": 0.0}
        point = PumpPoint(FLOW_M3_S, 1.5, {"riser": FLOW_M3_S})
        return Running(dict(LEVELS_M), flows, {"lifter": point})

    def capacity(self, passage: str, up_m: float) -> float:
        """What a drain carries with the box at the crest of what feeds it."""
        assert up_m == pytest.approx(1.400)
        return CARRIED[passage]


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Figures:
    """The figures of the bench."""
    monkeypatch.setattr(figures, "Hydraulics", RoundNumbers)
    return figures.compute(site_of(BENCH))


def test_the_room_over_the_running_levels(bench: Figures) -> None:
    """Box 0.1 x (1450 - 1150) mm = 30 l, tank 1 x (1500 - 1420) mm = 80 l."""
    (box,) = bench.drained
    assert box.chamber == "box"
    assert box.feeders == ("tank",)
    assert box.freeboard_m3 == pytest.approx(110 * LITRE)
    assert box.allowed_m == pytest.approx(1.400)


def test_what_the_drains_carry_against_what_comes(bench: Figures) -> None:
    """1.2 l/s firm for 1.0 l/s; 1.8 l/s with the emergency drain."""
    (box,) = bench.drained
    assert box.inflow_m3_s == pytest.approx(FLOW_M3_S)
    assert box.margin == pytest.approx(1.2)
    assert box.all_m3_s == pytest.approx(0.0018)


def test_time_to_spill_with_each_drain_shut(bench: Figures) -> None:
    """Drain shut: 1.0 - 0.6 = 0.4 l/s into 110 l, 275 s. Standby shut: the other carries all."""
    (box,) = bench.drained
    spill_s = {one.drain: one.spill_s for one in box.blocked}
    assert spill_s["drain"] == pytest.approx(275.0)
    assert spill_s["standby"] == inf


def test_drain_down_with_the_siphon_break(bench: Figures) -> None:
    """Tank 1 x (1420 - 390 - 1000) mm = 30 l, box 0.1 x (1150 - 100 - 1000) mm = 5 l; the riser."""
    (lift,) = bench.lifts
    assert lift.drain_down_m3 == pytest.approx(35 * LITRE + RISER_M3)


def test_drain_down_with_the_siphon_break_plugged(bench: Figures) -> None:
    """Tank down to the outlet: 1 x (1420 - 350 - 1000) mm = 70 l, box 5 l; the riser."""
    (lift,) = bench.lifts
    assert lift.plugged_m3 == pytest.approx(75 * LITRE + RISER_M3)


def test_room_below_for_the_drain_down(bench: Figures) -> None:
    """To 5 mm under the rims: inlet 0.5 x (395 - 210) mm = 92.5 l, return 1 x 245 mm = 245 l."""
    (lift,) = bench.lifts
    assert lift.below == ("inlet", "return")
    assert lift.room_m3 == pytest.approx(337.5 * LITRE)


def test_water_over_the_intake_volume_and_stock(bench: Figures) -> None:
    """Return 1 x (150 - 50) mm = 100 l; 420 + 15 + 105 + 150 l in all; reservoir 30 l."""
    (lift,) = bench.lifts
    assert lift.dry_m3 == pytest.approx(100 * LITRE)
    assert bench.volume_m3 == pytest.approx(690 * LITRE)
    assert bench.reservoir_m3 == pytest.approx(30 * LITRE)


def test_no_siphon_break_is_as_a_plugged_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(figures, "Hydraulics", RoundNumbers)
    (lift,) = figures.compute(site_of(edited(BENCH, "passages.riser", siphon_break=None))).lifts
    assert lift.drain_down_m3 == pytest.approx(lift.plugged_m3)


def test_an_outlet_over_the_water_lets_nothing_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Then the tank stops at its crest: 1 x (1420 - 1400) mm = 20 l, box 5 l; the riser."""
    monkeypatch.setattr(figures, "Hydraulics", RoundNumbers)
    text = edited(BENCH, "passages.riser", siphon_break=None, outlet='"450 mm"')
    (lift,) = figures.compute(site_of(text)).lifts
    assert lift.drain_down_m3 == pytest.approx(25 * LITRE + RISER_M3)


def test_rock_takes_its_share_of_the_drain_down(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tenth of the tank is rock: 0.9 x 30 l + 5 l; the riser."""
    monkeypatch.setattr(figures, "Hydraulics", RoundNumbers)
    (lift,) = figures.compute(site_of(edited(BENCH, "chambers.tank", displacement='"10 %"'))).lifts
    assert lift.drain_down_m3 == pytest.approx(32 * LITRE + RISER_M3)


# --- what stands in the pipes --------------------------------------------------------------------

TRUNK = """
[pumps.lifter.trunk]
pipe = "50 mm bore"
length = "0.4 m"
"""
SIPHON = """
[passages.siphon]
kind = "siphon-drain"
from = "box"
to = "inlet"
mouth = "60 mm"
outlet = "300 mm"
pipe = "60 mm bore"
length = "0.9 m"
"""
SECOND = """
[passages.second-riser]
kind = "branch"
pump = "lifter"
to = "box"
outlet = "350 mm"
pipe = "20 mm bore"
length = "2 m"
"""
OTHER_PUMP = """
[pumps.mixer]
from = "return"
intake = "50 mm"
curve = [{ flow = "0 l/min", head = "3 m" }, { flow = "60 l/min", head = "0 m" }]

[pumps.mixer.trunk]
pipe = "100 mm bore"
length = "5 m"

[passages.mixing]
kind = "branch"
pump = "mixer"
to = "inlet"
outlet = "350 mm"
pipe = "100 mm bore"
length = "5 m"
"""


@pytest.mark.parametrize(
    ("more", "litres"),
    [("", 1.885), (TRUNK, 2.670), (SECOND, 2.513), (SIPHON, 4.430), (TRUNK + SIPHON, 5.215)],
    ids=["riser", "and trunk", "and branch", "and siphon", "and both"],
)
def test_the_pipes_that_run_out_after_a_stop(more: str, litres: float) -> None:
    """pi/4 x bore^2 x length: riser 12.566 cm2 x 1.5 m = 1.885 l, trunk 19.635 cm2 x 0.4 m = 0.785
    l, second riser 3.1416 cm2 x 2 m = 0.628 l, siphon 28.274 cm2 x 0.9 m = 2.545 l.

    The open drain runs part full, the emergency drain is empty: neither counts.
    """
    assert figures.pipes_m3(site_of(BENCH + more), "lifter") == pytest.approx(
        litres * LITRE, abs=0.001 * LITRE
    )


def test_the_pipes_of_another_pump_stay_full() -> None:
    assert figures.pipes_m3(site_of(BENCH + OTHER_PUMP), "lifter") == pytest.approx(
        1.885 * LITRE, abs=0.001 * LITRE
    )


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_the_pipes_count_in_what_a_stop_sends_down(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Judged with them and without: what the chambers give stays, what the pipes hold is added."""
    whole = engine.plan_for(site_of(text_of(name)))
    (full,) = assess.assess(whole).stops
    monkeypatch.setattr(assess, "pipes_m3", lambda _site, _pump: 0.0)
    (empty,) = assess.assess(whole).stops
    pipes = figures.pipes_m3(whole.site, "return-pump")
    assert pipes > 1.0 * LITRE
    assert full.down_m3 - empty.down_m3 == pytest.approx(pipes)
    assert full.plugged_m3 - empty.plugged_m3 == pytest.approx(pipes)


def test_priming_is_half_of_the_shortest_spill_time_and_45_s_at_most(bench: Figures) -> None:
    assert plan.prime_s(bench, "lifter") == 45.0


def test_priming_with_a_drain_that_matters_more(
    bench: Figures, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Standby at 0.1 l/s: 0.9 l/s into 110 l, 122.2 s; at a tank of 0.3 m2 room is 54 l, 60 s."""
    monkeypatch.setattr(figures, "Hydraulics", RoundNumbers)
    monkeypatch.setitem(CARRIED, "standby", 0.0001)
    narrow = figures.compute(site_of(edited(BENCH, "chambers.tank", area='"0.3 m^2"')))
    assert plan.prime_s(narrow, "lifter") == pytest.approx(0.5 * 0.054 / 0.0009)
