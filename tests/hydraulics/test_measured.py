"""Measured flows: the share of a pump they find, the passages they scale, and what they refuse."""

from __future__ import annotations

import warnings
from math import hypot, pi, sqrt

import fluids
import pytest
import wntr

from rules.hydraulics import network
from rules.hydraulics.build import systems, viscosity_m2_s
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.fittings import drain_k, run_k
from rules.hydraulics.network import Hydraulics
from rules.hydraulics.pump import PumpCurve
from rules.site.model import Site
from tests.hydraulics.demo_sites import CHAMBERS, PUMP, WEIR, demo, site_of, unbalanced_m3_s
from tests.rules.nights import edited, text_of
from tests.rules.nights import site_of as site_of_text

G = 9.80665
L_MIN = 1 / 60000
EPANET_NU_M2_S = 1.0219e-6  # its water, 1.1e-5 ft2/s; a viscosity is told as a multiple of this
REL = 3e-3  # as against EPANET elsewhere: Swamee and Jain, g of 32.2 ft/s2, straight lines


def measured(of: str, l_min: float, level_mm: float | None = None, tolerance: str = "3 %") -> str:
    """A table with one measured flow."""
    level = "" if level_mm is None else f'level = "{level_mm} mm"\n'
    return (
        f'\n[measured.{of}-timed]\nof = "{of}"\nflow = "{l_min!r} l/min"\n'
        f'tolerance = "{tolerance}"\ndate = 2026-03-14\n{level}'
    )


def classroom(*tables: str) -> Hydraulics:
    """The classroom with these measurements."""
    return Hydraulics(site_of_text(text_of("classroom") + "".join(tables)))


# --- pumps ---------------------------------------------------------------------------------------

# both ends over the water, so that no level but the sump's counts
TWO_ENDS = (
    PUMP.replace('"440 mm"', '"480 mm"').replace('"450 mm"', '"490 mm"')
    + """
[pumps.pump.trunk]
pipe = "1-1/4 in sch40"
length = "0.5 m"
fittings = ["union", "ball-valve"]
[passages.spray]
kind = "branch"
pump = "pump"
to = "display"
outlet = "485 mm"
pipe = "1/2 in sch40"
length = "2 m"
fittings = ["tee-branch", "exit"]
"""
)


def epanet(site: Site, left: float, sump_m: float, folder) -> dict[str, float]:
    """Flow of each branch [m3/s] by EPANET, with a pump that has this share of its flow left."""
    model = wntr.network.WaterNetworkModel()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # wntr warns that roughness keeps its unit; it is ours
        model.options.hydraulic.headloss = "D-W"
    model.options.hydraulic.inpfile_units = "LPM"
    model.options.hydraulic.accuracy = 1e-7
    model.options.hydraulic.trials = 500
    model.options.hydraulic.viscosity = viscosity_m2_s(site) / EPANET_NU_M2_S
    model.options.time.duration = 0
    pump = site.pumps["pump"]
    curve = PumpCurve.through([(point.flow, point.head) for point in pump.curve])
    flows = [pump.curve[-1].flow * i / 400 for i in range(401)]
    model.add_curve("curve", "HEAD", [(left * q, curve.head(q)[0]) for q in flows])
    model.add_reservoir("sump", base_head=sump_m)
    model.add_junction("out", elevation=0.0)
    model.add_junction("tee", elevation=0.0)
    model.add_pump("pump", "sump", "out", "HEAD", "curve")
    trunk = {"length": pump.trunk.length, "diameter": pump.trunk.pipe.bore_m}
    # union 0.08 and a full-bore ball valve, 3 x 0.022: as in the table of fittings
    model.add_pipe("trunk", "out", "tee", roughness=1.5e-6, minor_loss=0.08 + 0.066, **trunk)
    for key, branch in site.branches("pump").items():
        end = site.chambers[branch.to].above_datum_m(branch.outlet)
        model.add_reservoir(f"end-{key}", base_head=end)
        bore = branch.pipe.bore_m
        model.add_pipe(
            key, "tee", f"end-{key}", length=branch.length, diameter=bore, roughness=1.5e-6,
            minor_loss=run_k(branch.fittings, bore),
        )  # fmt: skip
    found = wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(folder / "net"))
    rates = found.link["flowrate"].iloc[0]
    return {key: float(rates[key]) for key in site.branches("pump")}


@pytest.mark.parametrize("of", ["riser", "spray", "pump"])
@pytest.mark.parametrize("left", [0.7, 0.85, 1.15])
def test_share_left_of_a_pump_is_found_from_one_flow(of, left, tmp_path):
    """Source: EPANET through wntr, with the pump's curve scaled in flow. One flow of it, told as
    measured, gives back the share, every branch, and what it lifts from another sump level."""
    site = site_of(CHAMBERS, TWO_ENDS, WEIR)
    truth = epanet(site, left, 0.3, tmp_path)
    flow = sum(truth.values()) if of == "pump" else truth[of]
    hydraulics = Hydraulics(site_of(CHAMBERS, TWO_ENDS, WEIR, measured(of, flow / L_MIN)))
    assert hydraulics.left["pump"] == pytest.approx(left, rel=2 * REL)
    for key, expected in truth.items():
        assert hydraulics.running().flows_m3_s[key] == pytest.approx(expected, rel=REL)
    lower = epanet(site, left, 0.15, tmp_path)
    again = hydraulics.pump_point("pump", {**hydraulics.running().levels_m, "sump": 0.15})
    for key, expected in lower.items():
        assert again.branches[key] == pytest.approx(expected, rel=REL)


@pytest.mark.parametrize(
    ("name", "of", "l_min"),
    [
        ("classroom", "riser", 50.0), ("classroom", "riser", 80.0),
        ("classroom", "refugium-feed", 4.0), ("classroom", "return-pump", 62.0),
        ("rack", "upper-left-feed", 14.0), ("rack", "return-pump", 60.0),
    ],
)  # fmt: skip
def test_what_was_measured_runs_and_balances(name, of, l_min):
    """The measured flow runs, to 1e-9, water is conserved, and asking again gives the same."""
    hydraulics = Hydraulics(site_of_text(text_of(name) + measured(of, l_min)))
    running = hydraulics.running()
    point = running.pumps["return-pump"]
    told = point.flow_m3_s if of == "return-pump" else running.flows_m3_s[of]
    assert told == pytest.approx(l_min * L_MIN, rel=1e-9)
    assert max(map(abs, unbalanced_m3_s(hydraulics).values())) < 1e-9
    again = hydraulics.pump_point("return-pump", running.levels_m)
    assert again.flow_m3_s == pytest.approx(point.flow_m3_s, rel=1e-9)
    half = hydraulics.pump_point("return-pump", running.levels_m, {"return-pump": 0.5})
    assert 0.0 < half.flow_m3_s < point.flow_m3_s


def test_wear_that_is_told_and_wear_that_is_measured_are_one():
    """A flow computed with a fifth of it worn away, measured on the new pump, finds that fifth;
    measured on the worn one it finds no more; and at 80 % of its speed the same."""
    for speed in ("100 %", "80 %"):
        at_speed = edited(text_of("classroom"), "pumps.return-pump", speed=f'"{speed}"')
        worn = edited(at_speed, "pumps.return-pump", worn='"20 %"')
        flow = Hydraulics(site_of_text(worn)).running().flows_m3_s["riser"] / L_MIN
        for text in (at_speed, worn):
            found = Hydraulics(site_of_text(text + measured("riser", flow)))
            assert found.left["return-pump"] == pytest.approx(0.8, rel=1e-6)


def test_measured_flow_moves_the_drains_as_any_flow_does():
    """The tuned share is still kept, of what now runs; and no drain's formula changes."""
    plain, slow = classroom(), classroom(measured("riser", 50.0))
    flows = slow.running().flows_m3_s
    assert flows["main-drain"] / flows["comb"] == pytest.approx(0.92, abs=1e-6)
    assert slow.throttles["main-drain"] > plain.throttles["main-drain"]
    assert slow.capacity("open-drain", 1.35) == plain.capacity("open-drain", 1.35)
    assert slow.running().levels_m["display"] < plain.running().levels_m["display"]


@pytest.mark.parametrize("share", [0.05, 0.29, 1.51, 4.0])
def test_flow_that_does_not_fit_the_plumbing_is_refused(share):
    """Outside 0.3 to 1.5 of the computed one, and the sentence names both."""
    computed = classroom().running().flows_m3_s["riser"] / L_MIN
    with pytest.raises(HydraulicsError) as caught:
        classroom(measured("riser", share * computed))
    sentence = str(caught.value)
    assert sentence.startswith("[measured.riser-timed]: ")
    assert f"{share * computed:.1f} l/min was measured of riser" in sentence
    assert f"computes {computed:.1f} l/min" in sentence


@pytest.mark.parametrize("share", [0.31, 0.6, 1.2, 1.45])
def test_flow_that_fits_is_taken(share):
    """Inside those bounds."""
    flow = share * classroom().running().flows_m3_s["riser"]
    running = classroom(measured("riser", flow / L_MIN)).running()
    assert running.flows_m3_s["riser"] == pytest.approx(flow, rel=1e-9)


def test_flow_that_no_pump_could_press_through_its_pipes_is_refused():
    """Only 1.4 times the computed flow, yet the thin pipe would need more than the pump's head
    with no flow at all: no share of its flow explains that."""
    thin = PUMP.replace('pipe = "1 in sch40"', 'pipe = "9 mm bore"')
    computed = Hydraulics(site_of(CHAMBERS, thin, WEIR)).running().flows_m3_s["riser"]
    with pytest.raises(HydraulicsError, match="the two do not fit"):
        Hydraulics(site_of(CHAMBERS, thin, WEIR, measured("riser", 1.4 * computed / L_MIN)))


def test_site_without_measured_flows_is_solved_once(monkeypatch):
    """Measurements cost nothing where there are none; a pump's costs one more steady state."""
    solved = []
    plain = network.steady
    monkeypatch.setattr(network, "steady", lambda *a: solved.append(len(a[3])) or plain(*a))
    Hydraulics(demo("classroom"))
    assert solved == [0]
    solved.clear()
    classroom(measured("main-drain", 60.0, 165.0))
    assert solved == [1]
    solved.clear()
    classroom(measured("riser", 60.0))
    assert solved == [0, 0]


# --- passages ------------------------------------------------------------------------------------


@pytest.mark.parametrize("bore", ["mean", "least"])
@pytest.mark.parametrize(
    ("of", "l_min", "level_mm"),
    [
        ("main-drain", 55.0, 165.0), ("open-drain", 10.0, 175.0), ("emergency-drain", 12.0, 225.0),
        ("comb", 60.0, 577.0), ("last-baffle", 60.0, 213.0), ("sponge", 60.0, 218.0),
        ("refugium-drain", 4.0, 226.0), ("over-sponge", 8.0, 245.0),
    ],
)  # fmt: skip
def test_measured_passage_carries_what_was_measured(of, l_min, level_mm, bore):
    """At its level, whatever the bore of the pipe; and the site still balances."""
    site = site_of_text(text_of("classroom") + measured(of, l_min, level_mm))
    hydraulics = Hydraulics(site, bore)
    up = site.chambers[site.passages[of].from_].above_datum_m(level_mm / 1000)
    assert hydraulics.capacity(of, up) == pytest.approx(l_min * L_MIN, rel=1e-9)
    assert max(map(abs, unbalanced_m3_s(hydraulics).values())) < 1e-9
    others = set(site.gravity()) - {of, "main-drain"}
    plain = Hydraulics(demo("classroom"), bore)
    for key in others:
        above = site.chambers[site.passages[key].from_].above_datum_m(0.3)
        assert hydraulics.passages[key].flow(above, 0.0) == plain.passages[key].flow(above, 0.0)


def test_lip_that_was_timed_stays_a_weir():
    """Source: flow over an edge goes with the head to 1.5. Timed 8 mm over its lip, the open drain
    at half of that head carries 0.5^1.5 of it, and blocked by half, half."""
    hydraulics = classroom(measured("open-drain", 7.0, 168.0))
    drain = hydraulics.passages["open-drain"]
    assert drain.flow(1.15 + 0.164, 0.3) == pytest.approx(7 * L_MIN * 0.5 * sqrt(0.5), rel=1e-9)
    assert drain.flow(1.15 + 0.168, 0.3, 0.5) == pytest.approx(3.5 * L_MIN, rel=1e-9)
    assert drain.flow(1.15 + 0.16, 0.3) == 0.0


def test_timed_siphon_says_how_far_its_valve_is_shut():
    """Source: h = (K + f L/D + K_valve) v^2 / 2g with Colebrook's f through fluids. The measured
    55 l/min at 165 mm replaces the share that its valve was tuned to, and sets the valve."""
    hydraulics = classroom(measured("main-drain", 55.0, 165.0))
    site = hydraulics.site
    drain = site.passages["main-drain"]
    bore, nu = drain.pipe.bore_m, viscosity_m2_s(site)
    v = 55 * L_MIN / (pi / 4 * bore * bore)
    f = fluids.friction_factor(Re=v * bore / nu, eD=1.5e-6 / bore)
    fall = 1.15 + 0.165 - max(0.1 + 0.2, hydraulics.running().levels_m["inlet"])
    lost = drain_k(drain.fittings, bore) + f * drain.length / bore
    expected = fall * 2 * G / (v * v) - lost
    assert hydraulics.throttles["main-drain"] == pytest.approx(expected, rel=1e-4)
    flows = hydraulics.running().flows_m3_s
    assert flows["main-drain"] / flows["comb"] < 0.9
    assert hydraulics.short_of_share == ()


def test_siphon_that_passes_more_than_its_open_valve_is_scaled():
    """It computes 184 l/min when open: 210 are believed, with its valve open, 300 are not."""
    hydraulics = classroom(measured("main-drain", 210.0, 160.0))
    assert hydraulics.throttles["main-drain"] == 0.0
    assert hydraulics.capacity("main-drain", 1.31) == pytest.approx(210 * L_MIN, rel=1e-9)
    with pytest.raises(HydraulicsError, match=r"300\.0 l/min .* 184\.2 l/min with its valve fully"):
        classroom(measured("main-drain", 300.0, 160.0))


@pytest.mark.parametrize("bore", ["mean", "least"])
def test_what_fits_is_judged_by_the_mean_bore(bore):
    """1.45 times what the mean bore passes is more than 1.5 times what the least does; a site that
    computes with one of them must compute with the other."""
    plain = {
        b: Hydraulics(demo("classroom"), b).passages["emergency-drain"] for b in (bore, "mean")
    }
    flow = 1.45 * plain["mean"].flow(1.15 + 0.24, 0.36)
    assert bore == "mean" or flow > 1.5 * plain[bore].flow(1.15 + 0.24, 0.36)
    text = text_of("classroom") + measured("emergency-drain", flow / L_MIN, 240.0)
    hydraulics = Hydraulics(site_of_text(text), bore)
    assert hydraulics.capacity("emergency-drain", 1.39) == pytest.approx(flow)


@pytest.mark.parametrize(("of", "level_mm"), [("open-drain", 170.0), ("comb", 575.0)])
@pytest.mark.parametrize("share", [0.25, 1.6])
def test_passage_far_from_its_formula_is_refused(of, level_mm, share):
    """Outside 0.3 to 1.5 of the computed flow at that level; with both figures."""
    plain = classroom()
    up = plain.site.chambers[plain.site.passages[of].from_].above_datum_m(level_mm / 1000)
    computed = plain.capacity(of, up) / L_MIN
    with pytest.raises(HydraulicsError, match="the two do not fit") as caught:
        classroom(measured(of, share * computed, level_mm))
    assert f"computes {computed:.1f} l/min at that level" in str(caught.value)


def test_drain_that_drowned_while_it_was_timed_is_refused():
    """Drowned, an open drain draws a siphon and carries several times its film. That may not be
    taken for what can be relied on."""
    plain = classroom()
    drowned = plain.passages["open-drain"].drowned_flow(1.15 + 0.2, 0.36)
    with pytest.raises(HydraulicsError, match="the two do not fit"):
        classroom(measured("open-drain", drowned / L_MIN, 200.0))


# --- doubt ---------------------------------------------------------------------------------------


def test_doubt_of_a_branch_that_was_not_measured_is_the_pumps_and_its_pipes():
    """sqrt(t^2 + p^2), with the tolerance t of the pump's table and the doubt p of the pipe."""
    plain = classroom()
    p = _pipes_and_shares(plain)[0]["riser"]
    assert plain.uncertainty("riser") == pytest.approx(hypot(0.10, p))
    better = edited(text_of("classroom"), "pumps.return-pump", tolerance='"4 %"')
    assert Hydraulics(site_of_text(better)).uncertainty("riser") == pytest.approx(hypot(0.04, p))


def test_doubt_of_what_was_measured_is_the_measurements():
    """The thing itself has its tolerance; what shares the pump has that and the split's doubt."""
    plain = classroom()
    one = classroom(measured("riser", 60.0, tolerance="2 %"))
    assert one.uncertainty("riser") == 0.02
    pipes, shares = _pipes_and_shares(one)
    beside = hypot(0.02, pipes["refugium-feed"], pipes["riser"])
    assert one.uncertainty("refugium-feed") == pytest.approx(beside)
    # the whole: the riser is most of it, so little of the split's doubt is left
    rest = shares["refugium-feed"]
    whole = hypot(0.02, rest * pipes["refugium-feed"], rest * pipes["riser"])
    assert one.uncertainty("return-pump") == pytest.approx(whole)
    assert whole < 0.03 < plain.uncertainty("return-pump")


def test_doubt_of_the_branches_of_a_measured_pump():
    """By hand for two branches: a share s of the flow moves by (1 - s) of either pipe's doubt."""
    both = classroom(measured("return-pump", 65.0, tolerance="2 %"))
    assert both.uncertainty("return-pump") == 0.02
    p, s = _pipes_and_shares(both)
    for one, other in (("riser", "refugium-feed"), ("refugium-feed", "riser")):
        expected = hypot(0.02, (1 - s[one]) * p[one], s[other] * p[other])
        assert both.uncertainty(one) == pytest.approx(expected)
        assert both.uncertainty(one) < classroom().uncertainty(one)


def test_single_branch_of_a_measured_pump_has_no_split_to_doubt():
    """All of it goes one way."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, WEIR, measured("pump", 45.0)))
    assert hydraulics.uncertainty("riser") == pytest.approx(0.03)


def _pipes_and_shares(hydraulics: Hydraulics) -> tuple[dict[str, float], dict[str, float]]:
    flows = hydraulics.running().flows_m3_s
    site = hydraulics.site
    branches = systems(site, viscosity_m2_s(site))["return-pump"].branches
    whole = sum(flows[key] for key in branches)
    return (
        {key: branch.pipe.uncertainty(flows[key]) for key, branch in branches.items()},
        {key: flows[key] / whole for key in branches},
    )


def test_doubt_of_a_timed_passage_grows_away_from_where_it_was_timed():
    """At its level the measurement's; where it carries twice that, or none, the formula's too."""
    plain, timed = classroom(), classroom(measured("open-drain", 7.0, 168.0, tolerance="4 %"))
    drain, formula = timed.passages["open-drain"], plain.passages["open-drain"]
    assert timed.uncertainty("open-drain") == 0.04
    assert drain.uncertainty(1.318, 0.36) == pytest.approx(0.04)
    wholly = hypot(0.04, formula.uncertainty(1.4, 0.36))
    assert drain.flow(1.4, 0.36) > 2 * 7 * L_MIN
    assert drain.uncertainty(1.4, 0.36) == pytest.approx(wholly)
    assert drain.uncertainty(1.31, 0.36) == pytest.approx(wholly)
    assert 0.04 < drain.uncertainty(1.319, 0.36) < wholly


def test_a_timed_siphon_stays_well_known_at_other_levels():
    """Some 5 cm more of 1 m of fall change its flow by a few per cent, and its doubt by little."""
    drain = classroom(measured("main-drain", 55.0, 165.0)).passages["main-drain"]
    assert drain.uncertainty(1.15 + 0.165, 0.36) == pytest.approx(0.03, rel=1e-4)
    assert drain.uncertainty(1.15 + 0.215, 0.36) < 0.032
