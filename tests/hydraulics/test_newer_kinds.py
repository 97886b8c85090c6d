"""Under-baffles, near-level runs, valve positions, canisters, worn and slowed pumps, on a site."""

from __future__ import annotations

from math import pi, sqrt

import fluids
import pytest
from scipy.optimize import brentq

from rules.hydraulics.build import viscosity_m2_s
from rules.hydraulics.drains import annular_capacity
from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from tests.hydraulics.demo_sites import CHAMBERS, PUMP, WEIR, site_of, unbalanced_m3_s
from tests.rules.nights import edited

G = 9.80665
FOOT_M = 0.3048
PVC_M = 1.5e-6
RISER_K = 2 * 30 * 0.023 + 1.0
"""Crane TP-410 for 1 in: two elbows of 30 fT, fT 0.023 (A-26), and the velocity head at the end."""

# --- slot under a baffle -------------------------------------------------------------------------

SLOT = """
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
[passages.slot]
kind = "under-baffle"
from = "inlet"
to = "sump"
gap = "20 mm"
width = "100 mm"
"""


def test_chamber_before_a_slot_stands_as_much_higher_as_the_slot_needs():
    """Source: a drowned sharp-edged opening, Q = 0.61 A sqrt(2 g dh): dh = (Q / 0.61 A)^2 / 2g."""
    hydraulics = Hydraulics(site_of(CHAMBERS, PUMP, SLOT))
    running = hydraulics.running()
    through = running.flows_m3_s["slot"]
    expected = (through / (0.61 * 0.1 * 0.02)) ** 2 / (2 * G)
    assert through == pytest.approx(running.flows_m3_s["riser"])
    assert running.levels_m["inlet"] - running.levels_m["sump"] == pytest.approx(expected, rel=1e-6)
    assert expected > 0.01
    assert max(map(abs, unbalanced_m3_s(hydraulics).values())) < 1e-9


def test_slot_may_lie_over_the_bottom():
    """A slot 150 to 170 mm over the bottom, its lower side 100 mm deep: a free jet, each strip of
    which sees its own depth; Q = 0.61 b 2/3 sqrt(2g) (h1^1.5 - h2^1.5)."""
    high = SLOT.replace('gap = "20 mm"', 'bottom = "150 mm"\ngap = "20 mm"')
    low = CHAMBERS.replace('level = "200 mm"', 'level = "100 mm"')
    running = Hydraulics(site_of(low, PUMP, high)).running()
    over = running.levels_m["inlet"] - 0.1 - 0.15
    deep, shallow = over * sqrt(over), (over - 0.02) * sqrt(over - 0.02)
    expected = 0.61 * 0.1 * 2 / 3 * sqrt(2 * G) * (deep - shallow)
    assert over > 0.02
    assert running.flows_m3_s["slot"] == pytest.approx(expected, rel=1e-6)


# --- near-level run ------------------------------------------------------------------------------

WIDE_DRAIN = """
[passages.drain]
kind = "open-drain"
from = "display"
to = "sump"
mouth = "250 mm"
outlet = "300 mm"
pipe = "203.2 mm bore"
length = "1 m"
"""
RUN = '\nlevel_run = {{ length = "10 m", fall = "{fall}" }}'


def drain_of(text: str) -> tuple[Site, Hydraulics]:
    """The site with its weir and a wide drain."""
    site = site_of(CHAMBERS, PUMP, WEIR, text)
    return site, Hydraulics(site)


def test_near_level_run_carries_what_the_table_says():
    """Source: Manning, 8 in, n 0.013, slope 0.005, just full: 0.854 cfs; plastic has n 0.010. Its
    mouth and its stack would carry more, so that is what the drain carries, to 0.1 %."""
    _, hydraulics = drain_of(WIDE_DRAIN + RUN.format(fall="50 mm"))
    expected = 0.854 * FOOT_M**3 * 0.013 / 0.010
    assert hydraulics.capacity("drain", 1.39) == pytest.approx(expected, rel=1e-3)
    assert annular_capacity(0.2032) > 1.5 * expected


def test_steeper_run_no_longer_limits():
    """At ten times the slope it would carry 3.2 times as much: as without a run, its mouth decides,
    240 mm under water; 0.60 A sqrt(2 g h), a sharp orifice."""
    _, steep = drain_of(WIDE_DRAIN + RUN.format(fall="500 mm"))
    _, none = drain_of(WIDE_DRAIN)
    expected = 0.60 * pi / 4 * 0.2032**2 * sqrt(2 * G * 0.24)
    assert steep.capacity("drain", 1.39) == pytest.approx(expected, rel=1e-9)
    assert none.capacity("drain", 1.39) == steep.capacity("drain", 1.39)


def test_near_level_run_of_a_siphon_is_just_more_pipe():
    """It runs full, so no part-full formula limits it: h = (K + f L/D) v^2 / 2g, L both lengths."""
    run = '\nlevel_run = { length = "3 m", fall = "30 mm" }'
    site, hydraulics = drain_of(SIPHON + run)
    assert hydraulics.capacity("siphon", 1.38) == pytest.approx(
        full_pipe_m3_s(site, "siphon", 1.78, 1.2 + 3.0, 1.38), rel=1e-6
    )


# --- valve that stands partly open ---------------------------------------------------------------

SIPHON = """
[passages.siphon]
kind = "siphon-drain"
from = "display"
to = "sump"
mouth = "300 mm"
outlet = "150 mm"
pipe = "1-1/2 in sch40"
length = "1.2 m"
fittings = ["entrance-projecting", "exit"]
"""


def full_pipe_m3_s(site: Site, drain: str, loss_k: float, length_m: float, up_m: float) -> float:
    """Flow of a full pipe, h = (K + f L/D) v^2 / 2g; f by Colebrook through fluids."""
    table = site.passages[drain]
    bore, nu = table.pipe.bore_m, viscosity_m2_s(site)
    fall = up_m - max(site.chambers[table.to].above_datum_m(table.outlet), 0.3)

    def surplus(v: float) -> float:
        f = fluids.friction_factor(Re=v * bore / nu, eD=PVC_M / bore)
        return (loss_k + f * length_m / bore) * v * v / (2 * G) - fall

    return brentq(surplus, 0.01, 20.0, xtol=1e-13) * pi / 4 * bore * bore


@pytest.mark.parametrize(
    ("share", "valve_k"), [(None, 0.0), ("50 %", 4.5), ("75 %", 0.9), ("25 %", 24.0)]
)
def test_valve_position_sets_the_siphons_flow(share, valve_k):
    """Source: gate valve K 0.17 open, 0.9, 4.5, 24 at three, two, one quarters (Perry's Chemical
    Engineers' Handbook); entrance 0.78 and exit 1.0 (Crane TP-410)."""
    opened = "" if share is None else f'valve_open = "{share}"\n'
    site, hydraulics = drain_of(SIPHON + opened)
    expected = full_pipe_m3_s(site, "siphon", 1.78 + valve_k, 1.2, 1.38)
    assert hydraulics.capacity("siphon", 1.38) == pytest.approx(expected, rel=1e-6)
    assert hydraulics.throttles == pytest.approx({"siphon": valve_k})


# --- canister, wear and speed --------------------------------------------------------------------

STRAIGHT = PUMP.replace('  { flow = "2000 l/h", head = "2.5 m" },\n', "")
STRAIGHT = STRAIGHT.replace('"440 mm"', '"480 mm"').replace('"450 mm"', '"490 mm"')
MOST_M3_S = 4.0 / 3600


def by_hand_m3_s(site: Site, canister_k: float = 0.0, left: float = 1.0, speed: float = 1.0):
    """Where a straight curve, 3.0 m less 1.8 m at 4000 l/h, meets lift, pipe and canister.

    H = s^2 H0(q / (s c)), the affinity laws and a share c of the flow; `canister_k` is in m per
    (m3/s)^2. The riser ends over the water, 1.08 m over the sump.
    """
    riser = site.passages["riser"]
    bore, nu = riser.pipe.bore_m, viscosity_m2_s(site)

    def over(q: float) -> float:
        v = q / (pi / 4 * bore * bore)
        f = fluids.friction_factor(Re=v * bore / nu, eD=PVC_M / bore)
        lost = (RISER_K + f * riser.length / bore) * v * v / (2 * G) + canister_k * q * q
        head = speed * speed * (3.0 - 1.8 * q / (speed * left) / MOST_M3_S)
        return head - (1.38 - 0.3) - lost

    return brentq(over, 1e-7, MOST_M3_S, xtol=1e-15)


@pytest.mark.parametrize(
    ("table", "values", "hand"),
    [
        ("pumps.pump", {}, {}),
        ("pumps.pump", {"worn": '"20 %"'}, {"left": 0.8}),
        ("pumps.pump", {"speed": '"80 %"'}, {"speed": 0.8}),
        ("pumps.pump", {"speed": '"80 %"', "worn": '"10 %"'}, {"speed": 0.8, "left": 0.9}),
        (
            "passages.riser",
            {"canister": '{ loss = "300 mm", at_flow = "1500 l/h" }'},
            {"canister_k": 0.3 / (1.5 / 3600) ** 2},
        ),
    ],
)
def test_pump_that_is_worn_slowed_or_presses_through_a_canister(table, values, hand):
    """Source: the balance of heads, solved with scipy and fluids, for a curve that is a straight
    line; a canister's loss goes with the square of its flow."""
    site = site_of(edited(CHAMBERS + STRAIGHT + WEIR, table, **values))
    lifted = Hydraulics(site).running().pumps["pump"].flow_m3_s
    assert lifted == pytest.approx(by_hand_m3_s(site, **hand), rel=1e-6)
    if values:
        assert lifted < by_hand_m3_s(site_of(CHAMBERS, STRAIGHT, WEIR)) * 0.97


def test_speed_of_a_call_is_a_share_of_the_set_speed():
    """Half of 80 % is 40 %, at which this pump does not reach the display: 0.16 x 3.0 m < 1.08 m;
    and 90 % of 80 % is 72 %."""
    site = site_of(edited(CHAMBERS + STRAIGHT + WEIR, "pumps.pump", speed='"80 %"'))
    hydraulics = Hydraulics(site)
    levels = hydraulics.running().levels_m
    assert hydraulics.pump_point("pump", levels, speed=0.5).flow_m3_s == 0.0
    slowed = hydraulics.pump_point("pump", levels, speed=0.9).flow_m3_s
    assert slowed == pytest.approx(by_hand_m3_s(site, speed=0.72), rel=1e-6)
