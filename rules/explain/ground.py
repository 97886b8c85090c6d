"""What a derivation is worked from: the plan, its hydraulics, and the doubt of its figures."""

from __future__ import annotations

from functools import cached_property

from rules.assessment.assess import cutting_floats, level_sights, own_highs, stop_of
from rules.assessment.doubt import Doubt, doubt, flow_doubt
from rules.assessment.failures import WAYS, Result, run
from rules.assessment.heights import Place, places
from rules.assessment.own_high import Bounds
from rules.assessment.upkeep import Upkeep, upkeep
from rules.figures import Drained, Figures
from rules.hydraulics.build import systems, viscosity_m2_s
from rules.hydraulics.network import Hydraulics
from rules.hydraulics.pump import PumpSystem
from rules.plan import Plan
from rules.site.model import Site
from rules.site.show import Units
from rules.transient.stepper import Stepper


class Ground:
    """A plan, with the hydraulics that its figures came from built again, each when first asked."""

    def __init__(self, plan: Plan) -> None:
        self.site: Site = plan.site
        self.figures: Figures = plan.figures
        self.units: Units = plan.site.site.units
        self._plan = plan

    @cached_property
    def mean(self) -> Hydraulics:
        """The hydraulics at mean bores: what to expect."""
        return Hydraulics(self.site, bore="mean")

    @cached_property
    def least(self) -> Hydraulics:
        """The hydraulics at the least bores: what to rely on."""
        return Hydraulics(self.site, bore="least")

    @cached_property
    def systems(self) -> dict[str, PumpSystem]:
        """Every pump with its pipes."""
        return systems(self.site, self.viscosity_m2_s)

    @cached_property
    def viscosity_m2_s(self) -> float:
        """Kinematic viscosity of the site's water [m2/s]."""
        return viscosity_m2_s(self.site)

    @cached_property
    def doubt(self) -> Doubt:
        """The bands of the figures."""
        return doubt(self.site, self.figures, self.mean)

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """Where floats should hang."""
        return places(self.site, self.figures, self.doubt, self.blocked_ways, self.own_highs)

    @cached_property
    def own_highs(self) -> dict[str, Bounds]:
        """The bounds of each pump's own high float."""
        stops = tuple(stop_of(self._plan, self.stepper, pump) for pump in self.site.pumps)
        return own_highs(self._plan, self.mean, self.doubt, stops)

    @cached_property
    def stepper(self) -> Stepper:
        """What steps the water in time, from where it stands while all runs."""
        return Stepper(self.site, self.mean, self.figures.running)

    @cached_property
    def blocked_ways(self) -> tuple[Result, ...]:
        """The failures after which a float must leave room for what still runs down, stepped."""
        return run(
            self.site,
            self.figures,
            self.doubt,
            self.stepper,
            cuts=cutting_floats(self._plan),
            sights=level_sights(self._plan),
            sorts=WAYS,
        )

    @cached_property
    def upkeep(self) -> Upkeep:
        """Figures of the whole site."""
        off = max(flow_doubt(self.site, self.mean, pump) for pump in self.site.pumps)
        return upkeep(self.site, self.figures, off)

    @property
    def levels_m(self) -> dict[str, float]:
        """Levels while all runs [m above the datum]."""
        return self.figures.running.levels_m

    @property
    def flows_m3_s(self) -> dict[str, float]:
        """Flows while all runs [m3/s]."""
        return self.figures.running.flows_m3_s

    def drained(self, chamber: str) -> Drained:
        """The figures of one drained chamber."""
        return next(found for found in self.figures.drained if found.chamber == chamber)

    def above_bottom_m(self, chamber: str) -> float:
        """The level of a chamber while all runs [m above its bottom]."""
        return self.levels_m[chamber] - self.site.chambers[chamber].bottom
