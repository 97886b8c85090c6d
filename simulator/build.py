"""From the site file to the parts of a plant, each with its drawn error."""

from __future__ import annotations

from math import inf, sqrt

from rules.site.chambers import Chamber
from rules.site.model import Site
from rules.site.passages import (
    Branch,
    Comb,
    EmergencyDrain,
    Gravity,
    Hole,
    OpenDrain,
    Screen,
    SiphonDrain,
    Weir,
)
from rules.site.pipes import Pipe
from simulator.drains import OpenPipe, Siphon
from simulator.draw import Draws
from simulator.flows import (
    COMB_SI,
    HOLE_CD,
    LOSSES,
    WEIR_SI,
    Edge,
    RoundHole,
    Run,
    Sponge,
    Way,
    kinematic_viscosity_m2_s,
)
from simulator.lift import SPIN_UP_S, Curve, Lift, Rise

WEIR_SPREAD = 0.04
COMB_SPREAD = 0.08
SPONGE_SPREAD = 0.15
FITTING_SPREAD = 0.12
FRICTION_SPREAD = 0.5  # of the roughness, which moves the flow by less than 1 % in plastic pipe
BORE_SPREAD = 0.01
STACK_SPREAD = 0.10
HEAD_SPREAD = 0.04
PUMP_FLOW_SPREAD = 0.03
PRIME_S = (3.0, 10.0)
DROWN_BORES = (0.7, 1.0)
LOSE_M = (0.001, 0.004)


def rim_length_m(chamber: Chamber) -> float:
    """Length of the edge over which a chamber spills [m]; that of a square when only its area is
    known."""
    if chamber.length is not None and chamber.width is not None:
        return 2.0 * (chamber.length + chamber.width)
    return 4.0 * sqrt(chamber.plan_m2(chamber.rim))


def start_level_m(site: Site, key: str) -> float:
    """Where a chamber stands while nothing runs [m above its bottom]: at its lowest way out."""
    level = site.chambers[key].level
    if level is not None:
        return level
    edges = [
        passage.crest if isinstance(passage, (Weir, Comb)) else passage.mouth
        for passage in site.gravity().values()
        if passage.from_ == key and not isinstance(passage, (Screen, Hole))
    ]
    return min(edges, default=0.0)


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
        areas = {
            "upper_m2": upper.plan_m2(upper.rim),
            "lower_m2": lower.plan_m2(lower.rim),
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
                    self.draws.between(f"{key}/square", 0.3, 0.7),
                    **areas,
                )
            case Hole():
                cd = HOLE_CD * factor(f"{key}/hole", 0.04)
                centre = upper.above_datum_m(passage.centre)
                return RoundHole(cd, centre, passage.diameter / 2.0, **areas)
            case SiphonDrain():
                return Siphon(
                    self._open_pipe(key, passage),
                    drown_m=passage.pipe.bore_m * self.draws.between(f"{key}/drown", *DROWN_BORES),
                    prime_s=self.draws.between(f"{key}/prime", *PRIME_S),
                    lose_m=self.draws.between(f"{key}/lose", *LOSE_M),
                )
            case OpenDrain() | EmergencyDrain():
                return self._open_pipe(key, passage)

    def _open_pipe(self, key: str, drain: SiphonDrain | OpenDrain | EmergencyDrain) -> OpenPipe:
        chambers = self.site.chambers
        return OpenPipe(
            self._run(key, drain.pipe, drain.length, drain.fittings, 0.0, ends_open=True),
            drain.pipe.bore_m,
            chambers[drain.from_].above_datum_m(drain.mouth),
            chambers[drain.to].above_datum_m(drain.outlet),
            lip=self.draws.factor(f"{key}/lip", WEIR_SPREAD),
            stack=self.draws.factor(f"{key}/stack", STACK_SPREAD),
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
        )

    def lift(self, key: str) -> Lift:
        """One pump with its trunk and branches."""
        pump = self.site.pumps[key]
        head = self.draws.factor(f"{key}/head", HEAD_SPREAD)
        flow = self.draws.factor(f"{key}/flow", PUMP_FLOW_SPREAD)
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
        )

    def _rise(self, key: str, branch: Branch) -> Rise:
        to = self.site.chambers[branch.to]
        run = self._run(
            key, branch.pipe, branch.length, branch.fittings, branch.valve_loss, ends_open=True
        )
        hole = None if branch.siphon_break is None else to.above_datum_m(branch.siphon_break)
        return Rise(
            key,
            self.index[branch.to],
            run,
            outlet=to.above_datum_m(branch.outlet),
            hole=hole,
            check_valve="check-valve" in branch.fittings,
        )
