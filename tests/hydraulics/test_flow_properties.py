"""What holds for every passage of both demo sites at any levels."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.hydraulics.network import Hydraulics
from rules.site.passages import EmergencyDrain, OpenDrain, SiphonDrain
from tests.hydraulics.demo_sites import demo

PLUMBING = {name: Hydraulics(demo(name)) for name in ("classroom", "rack")}
PASSAGES = [(name, key) for name, h in PLUMBING.items() for key in h.passages]
SHARES = st.floats(0.0, 1.0)


def levels(name: str, key: str, up: float, down: float) -> tuple[float, float]:
    """Shares of the range of levels that both chambers of a passage know, as levels [m]."""
    site = PLUMBING[name].site
    table = site.gravity()[key]
    upper, lower = site.chambers[table.from_], site.chambers[table.to]
    low = min(upper.bottom, lower.bottom)
    return upper.bottom + up * upper.rim, low + down * (upper.rim_m - low)


@given(st.sampled_from(PASSAGES), SHARES, SHARES, SHARES, SHARES)
@settings(max_examples=400)
def test_more_above_never_passes_less_and_more_below_never_more(which, up, rise, down, fall):
    """Monotone in the upper level, the other way in the lower one."""
    name, key = which
    flow = PLUMBING[name].passages[key].flow
    at, below = levels(name, key, up, down)
    higher, lower = at + 0.05 * rise, below - 0.05 * fall
    tiny = 1e-15
    assert flow(higher, below) >= flow(at, below) - tiny
    assert flow(at, lower) >= flow(at, below) - tiny


@given(st.sampled_from(PASSAGES), SHARES)
@settings(max_examples=150)
def test_nothing_flows_between_equal_levels(which, up):
    """Zero at zero."""
    name, key = which
    at, _ = levels(name, key, up, 0.0)
    assert PLUMBING[name].passages[key].flow(at, at) == 0.0


@given(st.sampled_from(PASSAGES), SHARES, SHARES)
@settings(max_examples=300)
def test_no_step_anywhere(which, up, down):
    """A tenth of a nanometre moves the flow by no more than 0.2 % of the free flow: the formula for
    drowned edges is that steep between equal levels, (1.5 dh/h)^0.385."""
    name, key = which
    flow = PLUMBING[name].passages[key].flow
    at, below = levels(name, key, up, down)
    limit = 1e-8 + 2e-3 * abs(flow(max(at, below), min(at, below) - 1.0))
    assert abs(flow(at + 1e-10, below) - flow(at, below)) <= limit
    assert abs(flow(at, below + 1e-10) - flow(at, below)) <= limit


@pytest.mark.parametrize("which", PASSAGES, ids="/".join)
def test_no_step_at_any_height_of_interest(which):
    """Swept over the whole chamber in steps of 20 um, no step is worth 2 % of the largest flow."""
    name, key = which
    flow = PLUMBING[name].passages[key].flow
    top, below = levels(name, key, 1.0, 0.0)
    bottom, _ = levels(name, key, 0.0, 0.0)
    n = round((top - bottom) / 1e-4)
    flows = [flow(bottom + i * 1e-4, below) for i in range(n)]
    biggest = max(b - a for a, b in pairwise(flows))
    assert flows[0] <= 0.0
    assert 0.0 < biggest < 0.02 * max(flows)


@given(st.sampled_from(PASSAGES), SHARES, SHARES, SHARES, SHARES)
@settings(max_examples=200)
def test_blockage_never_raises_a_capacity(which, up, down, some, more):
    """Less condition passes no more; none passes nothing; the share is that of the conductance."""
    name, key = which
    flow = PLUMBING[name].passages[key].flow
    at, below = levels(name, key, up, down)
    worse, better = sorted((some, more))
    clean = flow(at, below)
    assert abs(flow(at, below, worse)) <= abs(flow(at, below, better)) <= abs(clean)
    assert flow(at, below, 0.0) == 0.0
    assert flow(at, below, better) == pytest.approx(better * clean)


@given(st.sampled_from(PASSAGES), SHARES, SHARES)
@settings(max_examples=150)
def test_only_open_water_flows_back(which, up, down):
    """A drain never runs up its pipe; an edge, hole or screen does when the lower side is up."""
    name, key = which
    table = PLUMBING[name].site.gravity()[key]
    at, below = levels(name, key, up, down)
    flow = PLUMBING[name].passages[key].flow(at, below)
    if isinstance(table, (SiphonDrain, OpenDrain, EmergencyDrain)) or at >= below:
        assert flow >= 0.0
    else:
        assert flow <= 0.0


@given(st.sampled_from(list(PLUMBING)), SHARES, SHARES, st.floats(0.0, 1.0))
@settings(max_examples=100)
def test_blocked_branch_leaves_the_others_no_worse(name, source, display, share):
    """A clogged branch lowers what is lifted; what it loses goes in part to the others."""
    hydraulics = PLUMBING[name]
    site = hydraulics.site
    at = dict(hydraulics.running().levels_m)
    at["return"] = site.chambers["return"].bottom + source * site.chambers["return"].rim
    branches = list(site.branches("return-pump"))
    to = site.passages[branches[0]].to
    at[to] = site.chambers[to].bottom + display * site.chambers[to].rim
    clean = hydraulics.pump_point("return-pump", at)
    clogged = hydraulics.pump_point("return-pump", at, {branches[0]: share})
    assert clogged.flow_m3_s <= clean.flow_m3_s + 1e-12
    assert clogged.branches[branches[0]] <= clean.branches[branches[0]] + 1e-12
    for other in branches[1:]:
        assert clogged.branches[other] >= clean.branches[other] - 1e-12


@given(st.sampled_from(list(PLUMBING)), st.floats(0.3, 1.0), SHARES)
@settings(max_examples=100)
def test_slower_or_worn_pump_lifts_no_more(name, speed, condition):
    """Speed and condition each only take away."""
    hydraulics = PLUMBING[name]
    at = hydraulics.running().levels_m
    full = hydraulics.pump_point("return-pump", at).flow_m3_s
    slowed = hydraulics.pump_point("return-pump", at, speed=speed).flow_m3_s
    worn = hydraulics.pump_point("return-pump", at, {"return-pump": condition}).flow_m3_s
    assert 0.0 <= slowed <= full + 1e-12
    assert 0.0 <= worn <= full + 1e-12
