"""From the site file to the parts of a plant, each with its drawn error."""

from __future__ import annotations

from math import inf

from rules.site.model import Site
from rules.site.passages import (
    Branch,
    Comb,
    Drain,
    EmergencyDrain,
    Gravity,
    Hole,
    OpenDrain,
    Screen,
    SiphonDrain,
    UnderBaffle,
    Weir,
)
from rules.site.pipes import Pipe
from simulator.water.drains import OpenPipe, Siphon, gate_loss, level_limit_m3_s
from simulator.water.draw import Draws
from simulator.water.flows import (
    COMB_SI,
    HOLE_CD,
    LOSSES,
    WEIR_SI,
    Bed,
    Edge,
    RoundHole,
    Run,
    Slot,
    Sponge,
    Way,
    kinematic_viscosity_m2_s,
    slot_cd,
)
from simulator.water.lift import SPIN_UP_S, Curve, Lift, Rise
from simulator.water.shapes import least_plan_m2

WEIR_SPREAD = 0.04
COMB_SPREAD = 0.08
SPONGE_SPREAD = 0.15
SQUARE = (0.3, 0.7)  # share of a sponge's or a bed's loss that grows with the flow squared
SLOT_SPREAD = 0.06
FITTING_SPREAD = 0.12
FRICTION_SPREAD = 0.5  # of the roughness, which moves the flow by less than 1 % in plastic pipe
BORE_SPREAD = 0.01
STACK_SPREAD = 0.10
HEAD_SPREAD = 0.04
PUMP_FLOW_SPREAD = 0.03
MANNING_N = (0.009, 0.013)  # of plastic pipe, clean and not so clean
PRIME_S = (3.0, 10.0)
DROWN_BORES = (0.7, 1.0)
GULP = (0.3, 0.5)  # share of its flow that a siphon loses to air before it loses prime
GULP_M = (0.008, 0.020)
LOSE_M = (0.001, 0.004)
DEEP_BORES = (1.0, 2.0)  # a pipe that was meant to stay open primes later, or not at all
UNWANTED_S = (4.0, 15.0)
VENTED = {"open-drain": 0.75, "emergency-drain": 0.5}
"""How many have a hole for air at the top, or draw air some other way; common practice, no source.
The plant as drawn has one in each: what no keeper can count on is not counted on."""
LEAK_S = (5.0, 20.0)  # a siphon with a leaking joint has gathered its air in so long


def start_level_m(site: Site, key: str) -> float:
    """Where a chamber stands while nothing runs [m above its bottom]: at its lowest way out.

    Through a screen, a hole or a slot it stands level with what lies beyond, where that is higher.
    """
    chamber = site.chambers[key]
    if chamber.level is not None:
        return chamber.level
    heights = []
    for passage in site.gravity().values():
        if passage.from_ != key:
            continue
        height = _lower_edge_m(passage)
        if isinstance(passage, (Screen, Hole, UnderBaffle)):
            beyond = site.chambers[passage.to]
            surface = beyond.above_datum_m(start_level_m(site, passage.to))
            height = max(height, surface - chamber.bottom)
        heights.append(min(height, chamber.rim))
    return min(heights, default=0.0)


def _lower_edge_m(passage: Gravity) -> float:
    """The level at which a passage begins to carry water [m above the bottom of `from`]."""
    match passage:
        case Weir() | Comb():
            return passage.crest
        case Screen() | UnderBaffle():
            return passage.bottom
        case Hole():
            return passage.centre - passage.diameter / 2.0
        case SiphonDrain() | OpenDrain() | EmergencyDrain():
            return passage.mouth


class Builder:
    """Makes the parts of one site's plant."""

    def __init__(self, site: Site, draws: Draws) -> None:
        self.site = site
        self.draws = draws
        self.index = {key: i for i, key in enumerate(site.chambers)}
        self._nu = kinematic_viscosity_m2_s(site.water.temperature, site.water.salinity)

    def way(self, key: str, passage: Gravity) -> Way:
        """The way of one passage that needs no pump."""
        upper, lower = self.site.chambers[passage.from_], self.site.chambers[passage.to]
        edge_m = _lower_edge_m(passage)
        areas = {
            "upper_m2": least_plan_m2(upper, edge_m),
            "lower_m2": least_plan_m2(lower, upper.above_datum_m(edge_m) - lower.bottom),
        }
        factor = self.draws.factor
        match passage:
            case Weir():
                coefficient = WEIR_SI * factor(f"{key}/weir", WEIR_SPREAD)
                crest = upper.above_datum_m(passage.crest)
                return Edge(coefficient, crest, passage.width, inf, **areas)
            case Comb():
                coefficient = COMB_SI * factor(f"{key}/comb", COMB_SPREAD)
                crest = upper.above_datum_m(passage.crest)
                width = passage.slots * passage.slot_width
                return Edge(coefficient, crest, width, passage.slot_height, **areas)
            case Screen():
                return Sponge(
                    upper.above_datum_m(passage.bottom),
                    upper.above_datum_m(passage.top),
                    passage.clean_loss * factor(f"{key}/loss", SPONGE_SPREAD),
                    passage.at_flow,
                    self.draws.between(f"{key}/square", *SQUARE),
                    **areas,
                )
            case Hole():
                cd = HOLE_CD * factor(f"{key}/hole", 0.04)
                centre = upper.above_datum_m(passage.centre)
                return RoundHole(cd, centre, passage.diameter / 2.0, **areas)
            case UnderBaffle():
                cd = slot_cd(passage.gap, passage.width, passage.bottom <= 0.0)
                cd *= factor(f"{key}/slot", SLOT_SPREAD)
                bottom = upper.above_datum_m(passage.bottom)
                return Slot(cd, bottom, passage.gap, passage.width, **areas)
            case SiphonDrain():
                return self._throttled(key, passage)
            case OpenDrain() | EmergencyDrain():
                return self._drain(key, passage, DEEP_BORES, UNWANTED_S, VENTED[passage.kind])

    def _drain(
        self,
        key: str,
        drain: Drain,
        drown_bores: tuple[float, float],
        prime_s: tuple[float, float],
        vented: float,
    ) -> Siphon:
        between = self.draws.between
        return Siphon(
            self._open_pipe(key, drain),
            drown_m=drain.pipe.bore_m * between(f"{key}/drown", *drown_bores),
            prime_s=between(f"{key}/prime", *prime_s),
            gulp=between(f"{key}/gulp", *GULP),
            gulp_m=between(f"{key}/gulps", *GULP_M),
            lose_m=between(f"{key}/lose", *LOSE_M),
            leak_s=between(f"{key}/leak", *LEAK_S),
            vented=between(f"{key}/opening", 0.0, 1.0) <= vented,
        )

    def _throttled(self, key: str, drain: SiphonDrain) -> Siphon:
        siphon = self._drain(key, drain, DROWN_BORES, PRIME_S, 0.0)
        if drain.valve_open is not None:
            loss = gate_loss(drain.valve_open, self.draws.between(f"{key}/valve", 0.0, 1.0))
            if "gate-valve" in drain.fittings:
                loss = max(0.0, loss - LOSSES["gate-valve"])  # which is in the run already
            siphon.pipe.run.throttle(siphon.open_loss + loss)
        return siphon

    def _open_pipe(self, key: str, drain: Drain) -> OpenPipe:
        chambers, level, level_m3_s = self.site.chambers, drain.level_run, inf
        length_m = drain.length
        if level is not None:
            length_m += level.length
            level_m3_s = level_limit_m3_s(
                drain.pipe.bore_m * self.draws.factor(f"{key}/bore", BORE_SPREAD),
                level.fall / level.length,
                self.draws.between(f"{key}/manning", *MANNING_N),
            )
        return OpenPipe(
            self._run(key, drain.pipe, length_m, drain.fittings, 0.0, ends_open=True),
            drain.pipe.bore_m,
            chambers[drain.from_].above_datum_m(drain.mouth),
            chambers[drain.to].above_datum_m(drain.outlet),
            lip=self.draws.factor(f"{key}/lip", WEIR_SPREAD),
            stack=self.draws.factor(f"{key}/stack", STACK_SPREAD),
            level_m3_s=level_m3_s,
        )

    def _run(
        self,
        key: str,
        pipe: Pipe,
        length_m: float,
        fittings: tuple[str, ...],
        valve_loss: float,
        *,
        ends_open: bool,
        bed: Bed | None = None,
    ) -> Run:
        loss = sum(LOSSES[name] for name in fittings) + valve_loss
        if ends_open and "exit" not in fittings:
            loss += LOSSES["exit"]  # its velocity is lost whether or not anybody wrote it down
        return Run(
            pipe.bore_m * self.draws.factor(f"{key}/bore", BORE_SPREAD),
            length_m,
            loss * self.draws.factor(f"{key}/fittings", FITTING_SPREAD),
            pipe.roughness_m * self.draws.factor(f"{key}/roughness", FRICTION_SPREAD),
            self._nu,
            bed=bed,
        )

    def lift(self, key: str) -> Lift:
        """One pump with its trunk and branches."""
        pump = self.site.pumps[key]
        head = self.draws.factor(f"{key}/head", HEAD_SPREAD)
        flow = self.draws.factor(f"{key}/flow", PUMP_FLOW_SPREAD) * (1.0 - pump.worn)
        trunk = None
        if pump.trunk is not None:
            trunk = self._run(
                f"{key}/trunk",
                pump.trunk.pipe,
                pump.trunk.length,
                pump.trunk.fittings,
                0.0,
                ends_open=False,
            )
        return Lift(
            key,
            self.index[pump.from_],
            Curve([(point.flow * flow, point.head * head) for point in pump.curve]),
            trunk,
            [self._rise(name, branch) for name, branch in self.site.branches(key).items()],
            intake=self.site.chambers[pump.from_].above_datum_m(pump.intake),
            run_on_s=pump.run_on,
            spin_up_s=SPIN_UP_S * self.draws.factor(f"{key}/spin-up", 0.2),
            full_speed=pump.speed,
        )

    def _rise(self, key: str, branch: Branch) -> Rise:
        to = self.site.chambers[branch.to]
        bed = None
        if branch.canister is not None:
            bed = Bed(
                branch.canister.loss * self.draws.factor(f"{key}/canister", SPONGE_SPREAD),
                branch.canister.at_flow,
                self.draws.between(f"{key}/bed", *SQUARE),
            )
        run = self._run(
            key,
            branch.pipe,
            branch.length,
            branch.fittings,
            branch.valve_loss,
            ends_open=True,
            bed=bed,
        )
        hole = None if branch.siphon_break is None else to.above_datum_m(branch.siphon_break)
        below = self.site.chambers[self.site.pumps[branch.pump].from_]
        lift_m = to.above_datum_m(branch.outlet) - below.above_datum_m(
            start_level_m(self.site, self.site.pumps[branch.pump].from_)
        )
        return Rise(
            key,
            self.index[branch.to],
            run,
            outlet=to.above_datum_m(branch.outlet),
            hole=hole,
            check_valve="check-valve" in branch.fittings,
            stands_m3=run.area_m2 * max(0.0, min(lift_m, branch.length)),
        )
