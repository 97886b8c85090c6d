"""The steady state of whole sites: balance, levels, and what is said when it cannot be."""

from __future__ import annotations

import pytest

from rules.hydraulics import steady
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.network import Hydraulics
from rules.site.problems import SiteError
from tests.hydraulics.demo_sites import CHAMBERS, PUMP, WEIR, demo, site_of, unbalanced_m3_s

L_MIN = 1 / 60000
MM = 1e-3


def above_crest_m(hydraulics: Hydraulics, passage: str) -> float:
    table = hydraulics.site.passages[passage]
    chamber = hydraulics.site.chambers[table.from_]
    return hydraulics.running().levels_m[table.from_] - chamber.above_datum_m(table.crest)


@pytest.mark.parametrize("name", ["classroom", "rack"])
@pytest.mark.parametrize("bore", ["mean", "least"])
def test_water_is_conserved_at_every_chamber_and_junction(name, bore):
    """To 1e-9 m3/s: what reaches a chamber leaves it, what a pump lifts its branches get."""
    hydraulics = Hydraulics(demo(name), bore)
    running = hydraulics.running()
    assert running.overfull == ()
    assert max(map(abs, unbalanced_m3_s(hydraulics).values())) < 1e-9
    for point in running.pumps.values():
        assert sum(point.branches.values()) == pytest.approx(point.flow_m3_s, abs=1e-12)


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_running_flows_are_those_of_the_running_levels(name):
    """Asked again at the levels it reports, every passage and pump gives the flow it reports."""
    hydraulics = Hydraulics(demo(name))
    running, site = hydraulics.running(), hydraulics.site
    for key, table in site.gravity().items():
        flow = hydraulics.passages[key].flow(
            running.levels_m[table.from_], running.levels_m[table.to]
        )
        assert flow == running.flows_m3_s[key]
    for pump, point in running.pumps.items():
        again = hydraulics.pump_point(pump, running.levels_m)
        assert again.flow_m3_s == pytest.approx(point.flow_m3_s, abs=1e-11)


def test_classroom_comes_out_as_such_a_site_does():
    """Bands of common practice, no source: a riser of about 60 l/min, a few for the refugium, the
    display a dozen or so millimetres over its comb, the main drain at its share."""
    hydraulics = Hydraulics(demo("classroom"))
    running = hydraulics.running()
    flows = running.flows_m3_s
    assert 50 < flows["riser"] / L_MIN < 70
    assert 2.5 < flows["refugium-feed"] / L_MIN < 7
    assert 10 < above_crest_m(hydraulics, "comb") / MM < 20
    share = hydraulics.site.passages["main-drain"].tuned_share
    assert flows["main-drain"] / flows["comb"] == pytest.approx(share, abs=1e-6)
    assert flows["open-drain"] / flows["comb"] == pytest.approx(1 - share, abs=1e-6)
    assert flows["emergency-drain"] == 0.0
    assert hydraulics.throttles["main-drain"] > 5.0
    assert hydraulics.short_of_share == ()


def test_rack_comes_out_as_such_a_site_does():
    """Bands of common practice, no source: about 15 l/min for each display, their weirs under an
    inch of water, and like displays alike."""
    hydraulics = Hydraulics(demo("rack"))
    running = hydraulics.running()
    for place in ("upper-left", "upper-right", "lower-left", "lower-right"):
        assert 11 < running.flows_m3_s[f"{place}-feed"] / L_MIN < 22
        assert 5 < above_crest_m(hydraulics, f"{place}-weir") / MM < 25.4
        assert running.flows_m3_s[f"{place}-emergency"] == 0.0
    assert running.flows_m3_s["upper-left-feed"] == pytest.approx(
        running.flows_m3_s["upper-right-feed"]
    )


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_same_site_gives_the_same_figures_to_the_bit(name):
    """Nothing in it depends on what was computed before."""
    one, other = Hydraulics(demo(name)), Hydraulics(demo(name))
    one.pump_point("return-pump", one.running().levels_m, speed=0.7)
    assert one.running() == other.running()
    assert one.pump_point("return-pump", one.running().levels_m) == other.pump_point(
        "return-pump", other.running().levels_m
    )


def test_least_bore_carries_less_and_the_pump_lifts_the_same():
    """The drains are assessed at the thickest wall; the riser at its mean, which lifts more."""
    mean, least = Hydraulics(demo("classroom")), Hydraulics(demo("classroom"), "least")
    for drain in ("open-drain", "emergency-drain"):
        up = mean.running().levels_m["overflow-box"] + 0.08
        assert 0.0 < least.capacity(drain, up) < 0.97 * mean.capacity(drain, up)
    lifted = [h.running().pumps["return-pump"].flow_m3_s for h in (mean, least)]
    assert lifted[0] == pytest.approx(lifted[1], rel=1e-9)


def test_capacity_takes_the_level_below_as_while_running():
    """A drowned last baffle carries less than a free one at the same level above it."""
    high = CHAMBERS.replace('level = "200 mm"', 'level = "320 mm"')
    between = """
[chambers.inlet]
bottom = "100 mm"
rim = "400 mm"
area = "0.1 m^2"
[passages.edge]
kind = "weir"
from = "display"
to = "inlet"
crest = "450 mm"
width = "300 mm"
[passages.baffle]
kind = "baffle"
from = "inlet"
to = "sump"
crest = "300 mm"
width = "400 mm"
"""
    free, drowned = (Hydraulics(site_of(c, PUMP, between)) for c in (CHAMBERS, high))
    assert drowned.running().levels_m["inlet"] > free.running().levels_m["inlet"]
    assert drowned.running().levels_m["inlet"] > drowned.running().levels_m["sump"]
    up = 0.1 + 0.325
    assert drowned.capacity("baffle", up) < 0.8 * free.capacity("baffle", up)
    assert max(map(abs, unbalanced_m3_s(drowned).values())) < 1e-9


def test_chamber_that_cannot_carry_its_inflow_stands_at_its_rim():
    """An edge too short: the display is named, its level put at the rim, and what flows on is what
    the edge carries there."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, WEIR.replace("300 mm", "20 mm")))
    running = hydraulics.running()
    assert running.overfull == ("display",)
    assert running.levels_m["display"] == pytest.approx(1.4)
    assert 0.0 < running.flows_m3_s["edge"] < running.flows_m3_s["riser"]
    assert running.flows_m3_s["edge"] == hydraulics.capacity("edge", 1.4)


def test_chamber_that_can_just_carry_its_inflow_is_not_named():
    """The same site with its edge as it should be."""
    running = Hydraulics(site_of(CHAMBERS, PUMP, WEIR)).running()
    assert running.overfull == ()
    assert 1.35 < running.levels_m["display"] < 1.4


DRAINS = """
[chambers.box]
bottom = "1100 mm"
rim = "300 mm"
area = "0.03 m^2"
[passages.edge]
kind = "weir"
from = "display"
to = "box"
crest = "450 mm"
width = "300 mm"
[passages.main]
kind = "siphon-drain"
from = "box"
to = "sump"
mouth = "50 mm"
outlet = "150 mm"
pipe = "{pipe} in sch40"
length = "1.2 m"
fittings = ["entrance-projecting", "gate-valve", "elbow-90", "exit"]
tuned_share = "90 %"
[passages.open]
kind = "open-drain"
from = "box"
to = "sump"
mouth = "150 mm"
outlet = "250 mm"
pipe = "1 in sch40"
length = "1.1 m"
"""


def test_valve_is_set_for_the_share_it_was_tuned_to():
    """The siphon carries its share just where the open drain carries the rest."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, DRAINS.format(pipe="1-1/2")))
    flows = hydraulics.running().flows_m3_s
    assert flows["main"] / flows["edge"] == pytest.approx(0.9, abs=1e-6)
    assert hydraulics.running().levels_m["box"] > 1.25


def test_share_that_the_open_valve_does_not_pass_is_said():
    """A siphon of half an inch cannot carry 90 %: it is named, its valve open, and the rest goes
    to the open drain or over the rim."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, DRAINS.format(pipe="1/2")))
    running = hydraulics.running()
    assert hydraulics.short_of_share == ("main",)
    assert hydraulics.throttles == {"main": 0.0}
    assert running.flows_m3_s["main"] < 0.9 * running.flows_m3_s["edge"]


def test_share_without_a_tuned_valve_leaves_it_open():
    """Nothing is throttled that the site file does not say."""
    text = DRAINS.format(pipe="1-1/2").replace('tuned_share = "90 %"', "")
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, text))
    assert hydraulics.throttles == {"main": 0.0}
    assert hydraulics.running().flows_m3_s["open"] == 0.0


def test_spare_chamber_that_no_water_reaches_stays_as_it_is():
    """An isolated chamber keeps its level, an empty one its bottom, and nothing leaves either."""
    spare = """
[chambers.spare]
bottom = "500 mm"
rim = "300 mm"
area = "0.1 m^2"
level = "120 mm"
[chambers.empty]
bottom = "500 mm"
rim = "300 mm"
area = "0.1 m^2"
[passages.spare-edge]
kind = "baffle"
from = "spare"
to = "sump"
crest = "200 mm"
width = "200 mm"
[passages.empty-edge]
kind = "baffle"
from = "empty"
to = "sump"
crest = "200 mm"
width = "200 mm"
"""
    running = Hydraulics(site_of(CHAMBERS, PUMP, WEIR, spare)).running()
    assert running.levels_m["spare"] == pytest.approx(0.62)
    assert running.levels_m["empty"] == pytest.approx(0.5)
    assert running.flows_m3_s["spare-edge"] == running.flows_m3_s["empty-edge"] == 0.0


def test_dead_chamber_behind_a_hole_stands_level_with_its_neighbour():
    """No water is fed to it, yet it fills through the hole until both stand alike."""
    dead = """
[chambers.dead]
bottom = "100 mm"
rim = "400 mm"
area = "0.1 m^2"
[passages.way]
kind = "hole"
from = "dead"
to = "sump"
centre = "100 mm"
diameter = "30 mm"
"""
    running = Hydraulics(site_of(CHAMBERS, PUMP, WEIR, dead)).running()
    assert running.levels_m["dead"] == pytest.approx(0.3, abs=1e-6)
    assert running.flows_m3_s["way"] == pytest.approx(0.0, abs=1e-9)


def test_display_that_drains_two_ways_splits_its_flow():
    """Two edges to two chambers, one of them drowned by its own narrow way on: the split is found
    and balances."""
    two = """
[chambers.side]
bottom = "1000 mm"
rim = "400 mm"
area = "0.02 m^2"
[passages.edge]
kind = "weir"
from = "display"
to = "sump"
crest = "455 mm"
width = "200 mm"
[passages.side-edge]
kind = "weir"
from = "display"
to = "side"
crest = "450 mm"
width = "200 mm"
[passages.side-hole]
kind = "hole"
from = "side"
to = "sump"
centre = "50 mm"
diameter = "18 mm"
"""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, two))
    running = hydraulics.running()
    assert running.overfull == ()
    assert running.levels_m["side"] > 1.35
    assert 0.0 < running.flows_m3_s["side-edge"] < running.flows_m3_s["edge"]
    assert max(map(abs, unbalanced_m3_s(hydraulics).values())) < 1e-9


def test_two_pumps_on_one_sump():
    """Each finds its own point, and the edge carries both."""
    second = PUMP.replace("pumps.pump", "pumps.second").replace("riser", "other")
    second = second.replace('pump = "pump"', 'pump = "second"')
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, second, WEIR))
    flows = hydraulics.running().flows_m3_s
    assert flows["riser"] == pytest.approx(flows["other"])
    assert flows["edge"] == pytest.approx(flows["riser"] + flows["other"], abs=1e-9)


def test_drowned_outlet_makes_the_display_level_count():
    """The riser ends under water: the pump works against the level, not against its pipe's end."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, WEIR))
    levels = dict(hydraulics.running().levels_m)
    running = hydraulics.pump_point("pump", levels).flow_m3_s
    higher = hydraulics.pump_point("pump", {**levels, "display": 1.4}).flow_m3_s
    lower = hydraulics.pump_point("pump", {**levels, "display": 1.0}).flow_m3_s
    at_outlet = hydraulics.pump_point("pump", {**levels, "display": 1.34}).flow_m3_s
    assert higher < running < lower == at_outlet


@pytest.mark.parametrize("crest_m", [0.05, 0.1])
@pytest.mark.parametrize("return_m", [0.2, 0.3, 0.38])
def test_drowned_baffle_settles_below_an_overfull_display(crest_m, return_m):
    """A comb of eight slots lets through a part of what is lifted, and the baffle below stands far
    under water, so that its two sides creep after one another: their levels are found all the same.
    """
    site = demo("classroom")
    few = site.passages["comb"].model_copy(update={"slots": 8})
    low = site.passages["first-baffle"].model_copy(update={"crest": crest_m})
    high = site.chambers["return"].model_copy(update={"level": return_m})
    hydraulics = Hydraulics(
        site.model_copy(
            update={
                "passages": {**site.passages, "comb": few, "first-baffle": low},
                "chambers": {**site.chambers, "return": high},
            }
        )
    )
    running, net = hydraulics.running(), unbalanced_m3_s(hydraulics)
    assert running.overfull == ("display",)
    assert running.levels_m["inlet"] > running.levels_m["media"]
    assert max(abs(net[key]) for key in ("overflow-box", "inlet", "media", "settling")) < 1e-9


def test_settling_that_never_ends_is_said(monkeypatch):
    """Without rounds enough there is a sentence with the chamber that still moves."""
    monkeypatch.setattr(steady, "GUESSES", 0)
    monkeypatch.setattr(steady, "ROUNDS", 1)
    with pytest.raises(HydraulicsError, match="no steady level was found for"):
        Hydraulics(demo("classroom"))


def test_pump_that_only_just_reaches_finds_its_level():
    """Its shut-off head lies between the riser's end and the crest: nothing goes over the edge,
    and it lifts nothing more."""
    weak = PUMP.replace('"3.0 m"', '"1.03 m"').replace('"2.5 m"', '"0.9 m"')
    weak = weak.replace('"1.2 m"', '"0.2 m"').replace('outlet = "440 mm"', 'outlet = "400 mm"')
    running = Hydraulics(site_of(CHAMBERS, weak, WEIR)).running()
    assert running.flows_m3_s["edge"] == 0.0
    assert running.pumps["pump"].flow_m3_s == pytest.approx(0.0, abs=1e-9)


def test_box_that_backs_up_to_its_display_finds_its_level():
    """The drain below carries just what comes only with the box up at the display's edge, which it
    drowns."""
    text = DRAINS.format(pipe="1-1/2").replace('tuned_share = "90 %"', "")
    text = text.replace('mouth = "50 mm"', 'mouth = "265 mm"').replace(
        'bottom = "1100 mm"\nrim = "300 mm"', 'bottom = "1100 mm"\nrim = "299 mm"'
    )
    text = text.replace('mouth = "150 mm"', 'mouth = "290 mm"')
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, text))
    running = hydraulics.running()
    assert running.overfull == ()
    assert running.levels_m["display"] > running.levels_m["box"] > 1.35
    assert max(map(abs, unbalanced_m3_s(hydraulics).values())) < 1e-9


def test_water_outside_the_formulas_is_said():
    """Brine of 50 g/kg is no water these formulas know: neither a site file may say so, nor does
    a site made in another way get figures."""
    brine = CHAMBERS.replace("[chambers.display]", 'salinity = "50 g/kg"\n[chambers.display]')
    with pytest.raises(SiteError, match="the water formulas hold from 0 to 42 g/kg"):
        site_of(brine, PUMP, WEIR)
    site = site_of(CHAMBERS, PUMP, WEIR)
    water = site.water.model_copy(update={"salinity": 50.0})
    with pytest.raises(HydraulicsError, match="50 g/kg is outside"):
        Hydraulics(site.model_copy(update={"water": water}))


def test_unknown_names_and_missing_levels_are_said():
    """Each with the name that is wrong or missing."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, WEIR))
    with pytest.raises(HydraulicsError, match="no pump of this site"):
        hydraulics.pump_point("edge", {})
    with pytest.raises(HydraulicsError, match="level of display is needed"):
        hydraulics.pump_point("pump", {"sump": 0.3})
    with pytest.raises(HydraulicsError, match="level of sump is needed"):
        hydraulics.back_siphon_flow("pump", {"display": 1.36})
    for ask in (lambda: hydraulics.capacity("riser", 1.0), lambda: hydraulics.uncertainty("x")):
        with pytest.raises(HydraulicsError, match="no gravity passage"):
            ask()


def test_plugged_siphon_break_runs_back_further():
    """With the break open the riser stops at its hole; plugged, down to its own end."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, WEIR))
    levels = {"sump": 0.3, "display": 0.9 + 0.445}  # between the end (440) and the hole (450)
    assert hydraulics.back_siphon_flow("pump", levels) == {"riser": 0.0}
    plugged = hydraulics.back_siphon_flow("pump", levels, plugged={"riser"})
    assert plugged["riser"] > 30 * L_MIN
    assert hydraulics.back_siphon_flow("pump", levels, plugged={"riser"}, held={"riser"}) == {
        "riser": 0.0
    }
    dry = {**levels, "display": 0.9 + 0.44}
    assert hydraulics.back_siphon_flow("pump", dry, plugged={"riser"}) == {"riser": 0.0}


def test_every_passage_states_a_doubt():
    """A share between 1 % and 50 %, wider for a comb than for a tuned siphon under deep water."""
    for name in ("classroom", "rack"):
        hydraulics = Hydraulics(demo(name))
        for key in hydraulics.site.passages:
            assert 0.01 <= hydraulics.uncertainty(key) <= 0.5
