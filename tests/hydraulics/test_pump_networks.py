"""Pumps with trunks and branches against EPANET, through wntr.

EPANET takes friction from Swamee and Jain, g as 32.2 ft/s2 and makes a straight line between the
points of a curve: flows agree within 3e-3 unless a test says otherwise.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from itertools import pairwise

import pytest
import wntr
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.hydraulics import pump
from rules.hydraulics.backflow import back_siphon_flow
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.friction import PipeRun
from rules.hydraulics.pump import PumpBranch, PumpCurve, PumpSystem

NU_M2_S = 1.0219e-6  # EPANET's water, 1.1e-5 ft2/s
REL = 3e-3
GALLON_MIN_M3_S = 231 * 0.0254**3 / 60
FOOT_M = 0.3048


def one_point_curve(
    flow_m3_s: float, head_m: float, points: int = 400
) -> list[tuple[float, float]]:
    """EPANET's curve through one point: no flow at 1.33334 h, no head at 2 q, a parabola."""
    top = 1.33334 * head_m
    flows = [2 * flow_m3_s * i / points for i in range(points)]
    return [(q, top - (top - head_m) * (q / flow_m3_s) ** 2) for q in flows]


def pipe(bore_m: float, length_m: float, loss_k: float) -> PipeRun:
    return PipeRun(bore_m, length_m, 1.5e-6, loss_k, NU_M2_S)


@dataclass
class Network:
    """One network, told to both sides."""

    curve: list[tuple[float, float]]
    branches: dict[str, tuple[float, PipeRun]]  # end [m], pipe
    trunk: PipeRun | None = None
    source_m: float = 0.0
    speed: float = 1.0
    shut: set[str] = field(default_factory=set)

    def ours(self):
        system = PumpSystem(
            "pump",
            "sump",
            PumpCurve.through(self.curve),
            self.trunk,
            {key: PumpBranch(key, end, run) for key, (end, run) in self.branches.items()},
        )
        ends = [end for end, _ in self.branches.values()]
        shares = [0.0 if key in self.shut else 1.0 for key in self.branches]
        return system.point(self.source_m, ends, shares, 1.0, self.speed)

    def epanet(self, tmp_path) -> tuple[dict[str, float], float]:
        """Flow of each branch [m3/s] and head that the pump gives [m]."""
        model = wntr.network.WaterNetworkModel()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # wntr warns that roughness keeps its unit; it is ours
            model.options.hydraulic.headloss = "D-W"
        model.options.hydraulic.inpfile_units = "LPM"
        model.options.hydraulic.accuracy = 1e-7
        model.options.hydraulic.trials = 500
        model.options.time.duration = 0
        model.add_reservoir("sump", base_head=self.source_m)
        model.add_junction("out", elevation=0.0)
        model.add_curve("curve", "HEAD", self.curve)
        model.add_pump("pump", "sump", "out", "HEAD", "curve", speed=self.speed)
        at = "out"
        if self.trunk is not None:
            at = "tee"
            model.add_junction("tee", elevation=0.0)
            self._pipe(model, "trunk", ("out", "tee"), self.trunk)
        for key, (end, run) in self.branches.items():
            model.add_reservoir(f"end-{key}", base_head=end)
            self._pipe(model, key, (at, f"end-{key}"), run, key in self.shut)
        found = wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(tmp_path / "net"))
        flows = found.link["flowrate"].iloc[0]
        head = float(found.node["head"].iloc[0]["out"]) - self.source_m
        return {key: float(flows[key]) for key in self.branches}, head

    def _pipe(self, model, name, ends: tuple[str, str], run: PipeRun, shut: bool = False) -> None:
        model.add_pipe(
            name,
            *ends,
            length=run.length_m,
            diameter=run.bore_m,
            roughness=run.roughness_m,
            minor_loss=run.loss_k,
            initial_status="CLOSED" if shut else "OPEN",
            check_valve=not shut,
        )


CATALOGUE = one_point_curve(1.0e-3, 3.2)

NETWORKS = {
    "a riser to one display": Network(CATALOGUE, {"riser": (1.5, pipe(0.035, 2.0, 4.0))}),
    "a trunk, a riser and a refugium": Network(
        CATALOGUE,
        {"riser": (1.4, pipe(0.035, 1.6, 2.6)), "refugium": (0.6, pipe(0.0158, 1.0, 150.0))},
        trunk=pipe(0.035, 0.4, 0.2),
        source_m=0.28,
    ),
    "four displays on two shelves": Network(
        one_point_curve(1.1e-3, 4.5),
        {
            "upper-left": (1.9, pipe(0.0204, 2.0, 25.0)),
            "upper-right": (1.9, pipe(0.0204, 2.4, 25.0)),
            "lower-left": (1.3, pipe(0.0204, 1.4, 60.0)),
            "lower-right": (1.3, pipe(0.0204, 1.8, 60.0)),
        },
        trunk=pipe(0.035, 0.9, 1.0),
        source_m=0.3,
    ),
    "one end too high to reach": Network(
        CATALOGUE, {"low": (0.8, pipe(0.03, 2.0, 3.0)), "high": (4.4, pipe(0.03, 4.0, 3.0))}
    ),
    "a shut branch beside an open one": Network(
        CATALOGUE,
        {"open": (1.0, pipe(0.03, 2.0, 3.0)), "shut": (1.0, pipe(0.03, 2.0, 3.0))},
        trunk=pipe(0.035, 1.0, 2.0),
        shut={"shut"},
    ),
    "a pump slowed to 85 %": Network(
        CATALOGUE,
        {"riser": (1.2, pipe(0.035, 2.0, 4.0)), "reactor": (0.7, pipe(0.012, 1.5, 30.0))},
        trunk=pipe(0.035, 0.5, 0.5),
        speed=0.85,
    ),
    "a long thin trunk": Network(
        CATALOGUE,
        {"near": (0.9, pipe(0.0204, 0.5, 2.0)), "far": (0.9, pipe(0.0204, 12.0, 8.0))},
        trunk=pipe(0.0261, 6.0, 5.0),
    ),
}


@pytest.mark.parametrize("name", NETWORKS)
def test_networks_agree_with_epanet(name, tmp_path):
    """Source: EPANET through wntr, on networks of our own; rtol 3e-3 as said above."""
    network = NETWORKS[name]
    point = network.ours()
    flows, head = network.epanet(tmp_path)
    for key, flow in flows.items():
        assert point.branches[key] == pytest.approx(flow, rel=REL, abs=1e-9)
    assert point.head_m == pytest.approx(head, rel=REL)
    assert point.flow_m3_s == pytest.approx(sum(flows.values()), rel=REL)


def test_lift_by_value():
    """Source: EPANET through wntr: lift 1.2 m, 3 m of 40.94 mm, sum K 6, one-point curve 60 l/min
    at 2.4 m: 83.89 l/min at 1.636 m; rtol 5e-4 for its g."""
    network = Network(one_point_curve(1e-3, 2.4), {"riser": (1.2, pipe(0.04094, 3.0, 6.0))})
    point = network.ours()
    assert point.flow_m3_s * 60000 == pytest.approx(83.89, rel=5e-4)
    assert point.head_m == pytest.approx(1.636, rel=5e-4)


def test_curve_by_value():
    """Source: EPANET's example network 1 at t = 0: one-point curve 1500 gpm at 250 ft gives
    204.347 ft at 1866.176 gpm; the friction there is Hazen-Williams, so only the curve counts."""
    curve = PumpCurve.through(one_point_curve(1500 * GALLON_MIN_M3_S, 250 * FOOT_M))
    assert curve.head(1866.176 * GALLON_MIN_M3_S)[0] / FOOT_M == pytest.approx(204.347, rel=5e-5)


def test_siphon_run_agrees_with_epanet(tmp_path):
    """Source: EPANET: two reservoirs joined by a pipe, as a full siphon is; rtol 5e-3 (Swamee-Jain
    is 0.9 % off Colebrook at this Reynolds number)."""
    run = pipe(0.04094, 1.0, 2.7)
    model = wntr.network.WaterNetworkModel()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model.options.hydraulic.headloss = "D-W"
    model.options.hydraulic.inpfile_units = "LPM"
    model.options.time.duration = 0
    model.add_reservoir("box", base_head=1.7)
    model.add_reservoir("sump", base_head=1.0)
    model.add_junction("middle", elevation=0.0)
    Network([], {})._pipe(model, "upper", ("box", "middle"), pipe(0.04094, 0.5, 1.35))
    Network([], {})._pipe(model, "lower", ("middle", "sump"), pipe(0.04094, 0.5, 1.35))
    found = wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(tmp_path / "siphon"))
    assert run.flow(0.7)[0] == pytest.approx(
        float(found.link["flowrate"].iloc[0]["lower"]), rel=5e-3
    )


POINTS = [(0.0, 3.0), (5.6e-4, 2.55), (1.1e-3, 1.65), (1.5e-3, 0.2)]


def test_curve_runs_through_its_points_and_keeps_falling():
    """The catalogue's points are met; between and beyond them the head never rises."""
    curve = PumpCurve.through(POINTS)
    for flow, head in POINTS:
        assert curve.head(flow)[0] == pytest.approx(head)
    heads = [curve.head(2e-3 * i / 1000)[0] for i in range(1001)]
    assert all(a >= b for a, b in pairwise(heads))
    assert heads[-1] == 0.0


def test_curve_agrees_with_the_shape_preserving_cubic_of_others():
    """Source: scipy.interpolate.PchipInterpolator."""
    scipy_interpolate = pytest.importorskip("scipy.interpolate")
    theirs = scipy_interpolate.PchipInterpolator(*zip(*POINTS, strict=True))
    curve = PumpCurve.through(POINTS)
    for i in range(101):
        flow = 1.5e-3 * i / 100
        assert curve.head(flow)[0] == pytest.approx(float(theirs(flow)), rel=1e-9)


def test_curve_of_two_points_is_a_straight_line():
    """And past its end it goes on to no head, not below."""
    curve = PumpCurve.through([(0.0, 2.0), (1e-3, 1.0)])
    assert curve.head(5e-4)[0] == pytest.approx(1.5)
    assert curve.head(1.5e-3)[0] == pytest.approx(0.5)
    assert curve.head(3e-3)[0] == 0.0


@pytest.mark.parametrize(
    "points", [[(0.0, 1.0)], [(0.0, 1.0), (1e-3, 1.0)], [(1e-3, 2.0), (1e-3, 1.0)]]
)
def test_curve_that_does_not_fall_is_refused(points):
    """With a rising stretch a pump could run at two flows at once."""
    with pytest.raises(ValueError, match=r"at least two points|head must fall"):
        PumpCurve.through(points)


def system(branches: dict[str, tuple[float, PipeRun]], trunk: PipeRun | None = None) -> PumpSystem:
    return PumpSystem(
        "pump",
        "sump",
        PumpCurve.through(POINTS),
        trunk,
        {key: PumpBranch(key, end, run) for key, (end, run) in branches.items()},
    )


RISER = pipe(0.035, 1.6, 2.6)
SYSTEM = system({"riser": (1.4, RISER)}, pipe(0.035, 0.4, 0.2))


@given(
    drive=st.tuples(st.floats(-1.0, 1.0), st.floats(0.01, 1.0), st.floats(0.05, 1.2)),
    ends_m=st.lists(st.floats(0.0, 5.0), min_size=1, max_size=4),
    bore_m=st.floats(0.008, 0.06),
    loss_k=st.floats(0.0, 300.0),
    trunk=st.booleans(),
)
@settings(max_examples=150)
def test_operating_point_is_found_and_is_the_only_one(drive, ends_m, bore_m, loss_k, trunk):
    """What is lifted is what the branches take, at any levels; more would find no head, less would
    leave some over."""
    source_m, condition, speed = drive
    run = pipe(bore_m, 2.0, loss_k)
    branches = {f"b{i}": (end, run) for i, end in enumerate(ends_m)}
    net = system(branches, pipe(0.03, 1.0, 2.0) if trunk else None)
    point = net.point(source_m, ends_m, [1.0] * len(ends_m), condition, speed)
    assert point.flow_m3_s == pytest.approx(sum(point.branches.values()), abs=1e-15)
    assert all(flow >= 0.0 for flow in point.branches.values())

    def surplus(q: float) -> float:
        head = speed**2 * net.curve.head(q / (speed * condition))[0]
        at = source_m + head - (net.trunk.loss(q)[0] if net.trunk else 0.0)
        return sum(run.flow(at - end)[0] for end in ends_m) - q

    assert surplus(point.flow_m3_s) == pytest.approx(0.0, abs=1e-9)
    assert surplus(point.flow_m3_s + 1e-6) < 0.0
    if point.flow_m3_s > 1e-6:
        assert surplus(point.flow_m3_s - 1e-6) > 0.0


def test_half_speed_gives_half_the_flow_at_a_quarter_of_the_head():
    """Source: affinity laws, Q ~ n, H ~ n^2, exact when the lift is nothing but v^2 losses."""
    bare = system({"loop": (0.0, PipeRun(0.035, 1e-9, 0.0, 50.0, NU_M2_S))})
    full = bare.point(0.0, [0.0], [1.0], 1.0, 1.0)
    half = bare.point(0.0, [0.0], [1.0], 1.0, 0.5)
    assert half.flow_m3_s == pytest.approx(0.5 * full.flow_m3_s, rel=1e-6)
    assert half.head_m == pytest.approx(0.25 * full.head_m, rel=1e-6)


def test_worn_pump_and_clogged_branch_lift_less():
    """Less condition is less flow, and none at all is none."""
    clean = SYSTEM.point(0.28, [1.4], [1.0], 1.0, 1.0).flow_m3_s
    worn = SYSTEM.point(0.28, [1.4], [1.0], 0.8, 1.0).flow_m3_s
    clogged = SYSTEM.point(0.28, [1.4], [0.5], 1.0, 1.0).flow_m3_s
    assert 0.0 < worn < clean
    assert 0.0 < clogged < clean
    for condition, speed, share in ((0.0, 1.0, 1.0), (1.0, 0.0, 1.0), (1.0, 1.0, 0.0)):
        assert SYSTEM.point(0.28, [1.4], [share], condition, speed).flow_m3_s == 0.0


def test_pump_that_cannot_reach_lifts_nothing_and_water_does_not_run_back():
    """The end stands above its shut-off head: no flow, all branches at zero."""
    point = SYSTEM.point(0.0, [3.5], [1.0], 1.0, 1.0)
    assert point.flow_m3_s == 0.0
    assert point.branches == {"riser": 0.0}
    assert point.head_m == pytest.approx(3.0)


def test_level_that_is_not_a_number_gives_no_figure():
    """A level that is not a number ends in a sentence with the pump's name, not in a figure."""
    with pytest.raises(HydraulicsError, match=r"pump pump: .* not a finite number"):
        SYSTEM.point(float("nan"), [1.4], [1.0], 1.0, 1.0)
    with pytest.raises(HydraulicsError, match="not a finite number"):
        SYSTEM.point(0.28, [1.4], [1.0], 1.0, float("inf"))


def test_pump_that_does_not_settle_says_so(monkeypatch):
    """With too few tries allowed there is a sentence, never the last guess."""
    monkeypatch.setattr(pump, "TRIES", 2)
    with pytest.raises(HydraulicsError, match="pump pump: no flow was found"):
        SYSTEM.point(0.28, [1.4], [1.0], 1.0, 1.0)


BACK = system({"riser": (1.4, RISER), "side": (1.3, pipe(0.02, 1.0, 5.0))}, pipe(0.035, 0.4, 0.2))


def test_back_siphon_agrees_with_epanet(tmp_path):
    """Source: EPANET: the same pipes with the pump taken out and open; rtol 5e-3."""
    levels = {"sump": 0.3, "riser": 1.48, "side": 1.45}
    found = back_siphon_flow(BACK, levels, {"riser": 1.4, "side": 1.3})
    model = wntr.network.WaterNetworkModel()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model.options.hydraulic.headloss = "D-W"
    model.options.hydraulic.inpfile_units = "LPM"
    model.options.hydraulic.accuracy = 1e-7
    model.options.time.duration = 0
    model.add_junction("tee", elevation=0.0)
    for key, level in levels.items():
        model.add_reservoir(key, base_head=level)
    helper = Network([], {})
    helper._pipe(model, "b-riser", ("riser", "tee"), RISER)
    helper._pipe(model, "b-side", ("side", "tee"), BACK.branches["side"].pipe)
    helper._pipe(model, "trunk", ("tee", "sump"), BACK.trunk)
    theirs = wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(tmp_path / "back"))
    flows = theirs.link["flowrate"].iloc[0]
    assert found["riser"] == pytest.approx(float(flows["b-riser"]), rel=5e-3)
    assert found["side"] == pytest.approx(float(flows["b-side"]), rel=5e-3)


def test_back_siphon_stops_at_its_break():
    """A branch runs back only while its own chamber stands over the height where air gets in."""
    levels = {"sump": 0.3, "riser": 1.48, "side": 1.45}
    found = back_siphon_flow(BACK, levels, {"riser": 1.49, "side": 1.3})
    assert found["riser"] == 0.0
    assert found["side"] > 0.0
    assert back_siphon_flow(BACK, levels, {"riser": 1.48, "side": 1.45}) == {
        "riser": 0.0,
        "side": 0.0,
    }


def test_check_valve_that_holds_stops_its_branch():
    """And only that one."""
    levels = {"sump": 0.3, "riser": 1.48, "side": 1.45}
    found = back_siphon_flow(BACK, levels, {"riser": 1.4, "side": 1.3}, held={"riser"})
    assert found["riser"] == 0.0
    assert found["side"] > 0.0


def test_nothing_runs_back_up():
    """A chamber below stands higher than the display: no flow, never below zero."""
    levels = {"sump": 2.0, "riser": 1.48, "side": 1.45}
    assert set(back_siphon_flow(BACK, levels, {"riser": 1.4, "side": 1.3}).values()) == {0.0}
