"""From the tables of a site to passages and pumps that can be computed."""

from __future__ import annotations

from math import inf
from typing import Literal, Protocol

from rules.hydraulics.drains import OpenDrainFlow, SiphonDrainFlow, annular_capacity
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.fittings import drain_k, run_k, sum_k
from rules.hydraulics.friction import PipeRun
from rules.hydraulics.hole import HoleFlow
from rules.hydraulics.opening import UnderBaffleFlow
from rules.hydraulics.partfull import full_run_flow
from rules.hydraulics.pump import PumpBranch, PumpCurve, PumpSystem
from rules.hydraulics.screen import ScreenFlow
from rules.hydraulics.valves import observed_k, valve_k
from rules.hydraulics.water import sea_water
from rules.hydraulics.weir import CONTRACTED, FULL_WIDTH, CombFlow, WeirFlow
from rules.site.model import Site
from rules.site.passages import (
    Branch,
    Comb,
    Drain,
    Gravity,
    Hole,
    Screen,
    SiphonDrain,
    UnderBaffle,
    Weir,
)
from rules.site.pipes import Pipe

Bore = Literal["mean", "least"]


class PassageFlow(Protocol):
    """What every gravity passage can tell: its flow, and how far to believe it."""

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, both heights above the site's datum.

        `condition` is the share of clean conductance, 1 = clean, 0 = blocked. Grows with `up_m`,
        falls with `down_m`, is continuous, and zero where the levels are equal. Below zero where
        an edge, a hole or a screen lets water back; a drain never does.
        """

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """How far that flow may be off either way, as a share of it."""


def viscosity_m2_s(site: Site) -> float:
    """Kinematic viscosity of the site's water [m2/s]."""
    try:
        return sea_water(site.water.temperature, site.water.salinity).kinematic_m2_s
    except ValueError as error:
        raise HydraulicsError(str(error)) from None


def _pipe_of(drain: Drain, bore: Bore, kinematic_m2_s: float) -> PipeRun:
    bore_m = drain.pipe.bore_m if bore == "mean" else drain.pipe.bore_least_m
    level_m = drain.level_run.length if drain.level_run is not None else 0.0
    return PipeRun(
        bore_m=bore_m,
        length_m=drain.length + level_m,
        roughness_m=drain.pipe.roughness_m,
        loss_k=drain_k(drain.fittings, bore_m),
        kinematic_m2_s=kinematic_m2_s,
    )


def _passage(site: Site, passage: Gravity, bore: Bore, kinematic_m2_s: float) -> PassageFlow:
    upper, lower = site.chambers[passage.from_], site.chambers[passage.to]
    above = upper.above_datum_m
    match passage:
        case Weir():
            crest = above(passage.crest)
            return WeirFlow(
                crest_m=crest,
                width_m=passage.width,
                upper_height_m=passage.crest,
                lower_height_m=max(0.0, crest - lower.bottom),
                kind=FULL_WIDTH if passage.kind == "baffle" else CONTRACTED,
            )
        case Comb():
            return CombFlow(
                above(passage.crest), passage.slots, passage.slot_width, passage.slot_height
            )
        case Screen():
            return ScreenFlow.seen(
                above(passage.bottom), above(passage.top), passage.clean_loss, passage.at_flow
            )
        case Hole():
            return HoleFlow.round(above(passage.centre), passage.diameter)
        case UnderBaffle():
            bottom = above(passage.bottom)
            return UnderBaffleFlow(bottom, bottom + passage.gap, passage.width)
    return _drain(
        passage,
        above(passage.mouth),
        lower.above_datum_m(passage.outlet),
        _pipe_of(passage, bore, kinematic_m2_s),
    )


def _drain(drain: Drain, mouth_m: float, outlet_m: float, pipe: PipeRun) -> PassageFlow:
    most = inf
    if drain.level_run is not None:
        most = full_run_flow(pipe.bore_m, drain.level_run.fall / drain.level_run.length)
    if isinstance(drain, SiphonDrain):
        valve = 0.0 if drain.valve_open is None else valve_k("gate-valve", drain.valve_open)
        return SiphonDrainFlow(mouth_m, outlet_m, pipe, valve)
    return OpenDrainFlow(mouth_m, outlet_m, pipe, min(most, annular_capacity(pipe.bore_m)))


def passages(site: Site, bore: Bore, kinematic_m2_s: float) -> dict[str, PassageFlow]:
    """Every gravity passage of a site, valves fully open, in the order of the site file."""
    found: dict[str, PassageFlow] = {}
    for key, passage in site.gravity().items():
        try:
            found[key] = _passage(site, passage, bore, kinematic_m2_s)
        except (ValueError, ZeroDivisionError) as error:
            raise HydraulicsError(f"passage {key}: {error}") from None
    return found


def _system(site: Site, key: str, kinematic_m2_s: float) -> PumpSystem:
    pump = site.pumps[key]

    def run(pipe: Pipe, length_m: float, loss_k: float) -> PipeRun:
        return PipeRun(pipe.bore_m, length_m, pipe.roughness_m, loss_k, kinematic_m2_s)

    trunk, shared = pump.trunk, None
    if trunk is not None:
        shared = run(trunk.pipe, trunk.length, sum_k(trunk.fittings, trunk.pipe.bore_m))
    branches = {
        name: PumpBranch(
            to=branch.to,
            outlet_m=site.chambers[branch.to].above_datum_m(branch.outlet),
            pipe=run(
                branch.pipe,
                branch.length,
                run_k(branch.fittings, branch.pipe.bore_m)
                + branch.valve_loss
                + _canister_k(branch),
            ),
        )
        for name, branch in site.branches(key).items()
    }
    return PumpSystem(
        pump=key,
        source=pump.from_,
        curve=PumpCurve.through([(point.flow, point.head) for point in pump.curve]),
        trunk=shared,
        branches=branches,
    )


def _canister_k(branch: Branch) -> float:
    if branch.canister is None:
        return 0.0
    return observed_k(branch.canister.loss, branch.canister.at_flow, branch.pipe.bore_m)


def systems(site: Site, kinematic_m2_s: float) -> dict[str, PumpSystem]:
    """Every pump of a site with its trunk and branches, at the mean bore."""
    found = {}
    for key in site.pumps:
        try:
            found[key] = _system(site, key, kinematic_m2_s)
        except ValueError as error:
            raise HydraulicsError(f"pump {key}: {error}") from None
    return found
