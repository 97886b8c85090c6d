"""The plant: chambers, the water in them, and everything that moves it, stepped in time.

It has its own equations and its own coefficients, drawn around the nominal ones from a seed, so
that it can prove the rules wrong. No water appears or vanishes: see `total_m3`.
"""

from __future__ import annotations

from math import ceil, inf, sqrt
from operator import gt, sub

from rules.site.model import Site
from simulator.water.build import Builder, start_level_m
from simulator.water.drains import Siphon
from simulator.water.draw import Draws
from simulator.water.flows import WEIR_SI, Way
from simulator.water.lift import Lift, Rise
from simulator.water.outside import DAY_S, Air, top_off, water_change
from simulator.water.settling import settle
from simulator.water.shapes import Shapes, rim_length_m
from simulator.water.wiring import Wired

STEP_S = 0.05
STEP_LEAST_S = 0.002
STEP_RISE_M = 0.002  # no level may move further in one step
SMALL_M2 = 0.02  # a site with a smaller chamber is stepped finer
COAST_S = (0.05, 1.0)  # flows may stand for so long, longer and longer while they prove true
COAST_M = 1e-5  # and no longer than until a level has moved so far: no sensor sees it
COAST_ERROR_M = 1e-6  # by so much a level may be off because they stood


class Plant(Wired):
    """One site's water, and the faults it can be given.

    With `exact`, every drawn error is nought; for `timer_relay` see `Wired`.

    While next to nothing moves it coasts: water goes on moving at the flows last computed. Any
    fault, any relay and any level that moves ends that at once.
    """

    def __init__(
        self, site: Site, seed: int, *, exact: bool = False, timer_relay: bool = False
    ) -> None:
        super().__init__(site, timer_relay=timer_relay)
        self.seed = seed
        self.draws = Draws(seed, exact=exact)
        builder = Builder(site, self.draws)
        self.index = builder.index
        self.ways: list[tuple[str, Way, int, int]] = [
            (key, builder.way(key, p), self.index[p.from_], self.index[p.to])
            for key, p in site.gravity().items()
        ]
        self.lifts: dict[str, Lift] = {key: builder.lift(key) for key in site.pumps}
        self.rises: dict[str, Rise] = {
            rise.key: rise for lift in self.lifts.values() for rise in lift.rises
        }
        self._shape(site)
        self._outer_world(site)
        self._healthy()
        self.forget()

    def _shape(self, site: Site) -> None:
        chambers = site.chambers.values()
        self.shapes = Shapes(chambers)
        self._rim_k = [WEIR_SI * rim_length_m(chamber) for chamber in chambers]
        starts_m = [start_level_m(site, key) for key in site.chambers]
        self.volume_m3 = [self.shapes.volume_m3(i, level) for i, level in enumerate(starts_m)]
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)  # above the datum
        self._smallest_m2 = min(
            min(chamber.plan_m2(level), chamber.plan_m2(chamber.rim))
            for chamber, level in zip(chambers, starts_m, strict=True)
        )
        self.step_most_s = STEP_S * min(1.0, self._smallest_m2 / SMALL_M2)
        self._siphons = {key: way for key, way, _, _ in self.ways if isinstance(way, Siphon)}
        self._branches = [
            (rise, lift.source, rise.to) for lift in self.lifts.values() for rise in lift.rises
        ]
        self._flows = [0.0] * len(self.ways)
        self._net_m3_s = [0.0] * len(self.volume_m3)
        self._beside_m3_s = 0.0
        self._fastest_m_s = inf
        self._coast_s = COAST_S[0]
        self._coasted_m = 0.0
        self._seen: list[float] = []
        self.wake()

    def _outer_world(self, site: Site) -> None:
        self._top_off = top_off(site, self.index, self.draws)
        self.top_off_m3_s = 0.0
        self.water_change = water_change(site, self.index, self.draws)
        reservoir = -1 if self._top_off is None else self._top_off.reservoir
        self._air = Air(site, self.shapes.rim_plan_m2, reservoir, self.draws)
        self.evaporating_m3_s = 0.0

    def _healthy(self) -> None:
        """No fault anywhere; faults are set on these."""
        self.condition: dict[str, float] = dict.fromkeys(self.site.gravity(), 1.0)
        self.stirred_m: dict[str, float] = {}  # height of waves above a chamber's mean level
        self.leak_m3_s: dict[str, float] = {}
        self.stream_m3_s: dict[str, float] = {}  # brought in; carried off when below zero

    def forget(self) -> None:
        """Begin the accounts and the clock anew; levels stay."""
        self.t_s = self._beat_s = 0.0
        self.spilled_m3: dict[str, float] = dict.fromkeys(self.index, 0.0)
        self.leaked_m3 = 0.0
        self.evaporated_m3 = 0.0
        self.brought_m3 = 0.0  # what people or faults added, less what they carried off
        for lift in self.lifts.values():
            lift.dry_s = 0.0

    def settle(self) -> None:
        """Bring it to where it stands on a good day: pumps on, primed, valves set, levels still."""
        settle(self)
        self.dry_air(self._air.usual_a_day)
        self.forget()

    # --- what can be read ---------------------------------------------------------------------

    def levels_m(self) -> dict[str, float]:
        """The level of every chamber [m above its bottom]."""
        return {key: self.level_m(key) for key in self.index}

    def level_m(self, chamber: str) -> float:
        """The level of one chamber [m above its bottom]."""
        i = self.index[chamber]
        return self.surface_m[i] - self.shapes.bottom_m[i]

    def siphon(self, key: str) -> Siphon:
        """The siphon drain with this id; a KeyError if the site has none."""
        return self._siphons[key]

    @property
    def flows_m3_s(self) -> dict[str, float]:
        """The flow of every passage, of every pump's trunk, and of the top-off [m3/s]."""
        flows = {way[0]: flow for way, flow in zip(self.ways, self._flows, strict=True)}
        flows.update((key, rise.flow_m3_s) for key, rise in self.rises.items())
        flows.update((key, lift.flow_m3_s) for key, lift in self.lifts.items())
        flows["top-off"] = self.top_off_m3_s
        return flows

    @property
    def spilled_total_m3(self) -> float:
        """All that went over a rim [m3]."""
        return sum(self.spilled_m3.values())

    @property
    def floor_m3(self) -> float:
        """Water on the floor: spilled and leaked [m3]."""
        return self.spilled_total_m3 + self.leaked_m3

    @property
    def dry_s(self) -> float:
        """Seconds that pumps ran under power while they drew air."""
        return sum(lift.dry_s for lift in self.lifts.values())

    @property
    def total_m3(self) -> float:
        """All the water there is or was, less what was brought in [m3]; it never changes."""
        return sum(self.volume_m3) + self.floor_m3 + self.evaporated_m3 - self.brought_m3

    # --- what can be done to it ---------------------------------------------------------------

    def dry_air(self, share_a_day: float) -> None:
        """Let this share of all the water but the reservoir's evaporate in a day."""
        self.evaporating_m3_s = self._air.open_m3(self.volume_m3) * share_a_day / DAY_S

    def fill_to(self, chamber: str, level_m: float) -> None:
        """Let a chamber stand at a level, wherever the water is from or goes [m above its bottom].

        It is in no account: only for bringing a plant to where it begins.
        """
        i = self.index[chamber]
        self.volume_m3[i] = self.shapes.volume_m3(i, level_m)
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)

    def bring(self, chamber: str, amount_m3: float) -> None:
        """Pour water into a chamber at once, or carry it off when below zero [m3]."""
        self._pour(self.index[chamber], amount_m3)
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)
        self.wake()

    def wake(self) -> None:
        """End coasting: something was changed that is not among the faults."""
        self._coasted_s = inf

    # --- time ---------------------------------------------------------------------------------

    def advance(self, dt_s: float) -> None:
        """Let `dt_s` seconds pass."""
        left_s = dt_s
        while left_s > 1e-9:
            step_s = min(left_s, self._coast_s, self.timer_left_s)
            if self._coasts(step_s):
                self._coasted_s += step_s
                self._coasted_m += step_s * self._fastest_m_s
            else:
                finest = min(self.step_most_s, STEP_RISE_M / self._fastest_m_s)
                step_s = left_s / ceil(left_s / max(finest, STEP_LEAST_S) - 1e-9)
                self._flow(step_s)
            self._move(step_s)
            left_s -= step_s

    def _coasts(self, dt_s: float) -> bool:
        """True if flows may stay as they are for so long."""
        return (
            self._coasted_s + dt_s <= self._coast_s
            and self._coasted_m + dt_s * self._fastest_m_s <= COAST_M
            and self._inputs() == self._seen
        )

    def _inputs(self) -> list[float]:
        """All that decides on flows but levels."""
        seen = [*self.condition.values()]
        for lift in self.lifts.values():
            seen += (lift.condition, lift.seized, self.powered(lift.key))
            for rise in lift.rises:
                seen += (rise.condition, rise.plugged, rise.beside)
        for siphon in self._siphons.values():
            seen += (siphon.primed, siphon.draws_air)
        seen += (*self.leak_m3_s.values(), *self.stream_m3_s.values(), *self.stirred_m.values())
        return seen

    def _flow(self, dt_s: float) -> None:
        """Compute every flow at the levels as they are."""
        levels = self.surface_m
        net = [0.0] * len(levels)
        condition, flows = self.condition, self._flows
        for i, (key, way, upper, lower) in enumerate(self.ways):
            flow = way.advance(levels[upper], levels[lower], condition[key], dt_s)
            flows[i] = flow
            net[upper] -= flow
            net[lower] += flow
        steady = True
        for lift in self.lifts.values():
            lift.turn(self.powered(lift.key), levels, dt_s)
            lift.solve(levels)
            steady = steady and lift.steady
        lost = 0.0
        for rise, source, to in self._branches:
            flow = rise.flow_m3_s
            net[source] -= flow
            if rise.beside and flow > 0.0:
                lost += flow * rise.beside
                flow -= flow * rise.beside
            net[to] += flow
        self._judge_coasting(net)
        self._net_m3_s, self._beside_m3_s = net, lost
        if steady and not any(siphon.filling for siphon in self._siphons.values()):
            self._coasted_s, self._seen = 0.0, self._inputs()

    def _judge_coasting(self, net: list[float]) -> None:
        """Coast for longer or not so long, by what holding the flows did to the last stretch."""
        if 0.0 < self._coasted_s < inf:
            off_m3_s = max(map(abs, map(sub, net, self._net_m3_s)))
            off_m = off_m3_s / self._smallest_m2 * self._coasted_s
            longer_s = self._coast_s * (1.25 if off_m < COAST_ERROR_M else 0.5)
            self._coast_s = min(max(longer_s, COAST_S[0]), COAST_S[1])
        self._coasted_m, self._coasted_s = 0.0, inf

    def _move(self, dt_s: float) -> None:
        """Move the water by the flows as computed, and by all that comes and goes outside."""
        before = self.surface_m
        self.volume_m3 = [
            volume + net * dt_s for volume, net in zip(self.volume_m3, self._net_m3_s, strict=True)
        ]
        self.leaked_m3 += self._beside_m3_s * dt_s
        for lift in self.lifts.values():
            lift.count(dt_s)
        if min(self.volume_m3) < 0.0:
            self._refill(dt_s)
        self._outside(dt_s)
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)
        if any(map(gt, self.surface_m, self.shapes.rim_m)):
            self._spill(dt_s)
        self._fastest_m_s = max(1e-9, *map(abs, map(sub, self.surface_m, before))) / dt_s
        self.t_s += dt_s

    def _refill(self, dt_s: float) -> None:
        """Take back from the chambers downstream what a chamber gave but did not have."""
        moved = [
            (upper, lower, flow)
            for (_, _, upper, lower), flow in zip(self.ways, self._flows, strict=True)
        ]
        moved += [(source, to, rise.flow_m3_s) for rise, source, to in self._branches]
        away = [(a, b, q) if q > 0.0 else (b, a, -q) for a, b, q in moved if q != 0.0]
        for _ in range(len(self.volume_m3)):
            short = [i for i, volume in enumerate(self.volume_m3) if volume < 0.0]
            if not short:
                return
            for i in short:
                given = sum(q for a, _, q in away if a == i)
                lack = -self.volume_m3[i]
                for a, b, q in away:
                    if a == i:
                        self.volume_m3[b] -= lack * q / given
                self.volume_m3[i] = 0.0
        raise ArithmeticError(
            f"a step of {dt_s} s is too long for the chambers of this site; the smallest has "
            f"{self._smallest_m2} m2"
        )

    def _spill(self, dt_s: float) -> None:
        """What stands over a rim goes over it, as over a weir all round."""
        shapes, volumes = self.shapes, self.volume_m3
        for i, (key, surface) in enumerate(zip(self.index, self.surface_m, strict=True)):
            head = surface - shapes.rim_m[i]
            if head > 0.0:
                over = self._rim_k[i] * head * sqrt(head) * dt_s
                over = min(over, 0.5 * head * shapes.rim_plan_m2[i])
                volumes[i] -= over
                self.spilled_m3[key] += over
        self.surface_m = shapes.surfaces_m(volumes)

    def _outside(self, dt_s: float) -> None:
        """Water that comes into the tanks or leaves them: top-off, air, leaks, people."""
        volumes = self.volume_m3
        self.top_off_m3_s = 0.0
        filling, change = self._top_off, self.water_change
        if filling is not None and self.valve_open:
            added = min(filling.rate_m3_s * self.valve_share * dt_s, volumes[filling.reservoir])
            volumes[filling.reservoir] -= added
            volumes[filling.to] += added
            self.top_off_m3_s = added / dt_s
        if self.evaporating_m3_s > 0.0:
            self.evaporated_m3 += self._air.take(volumes, self.evaporating_m3_s * dt_s)
        for key, flow in self.leak_m3_s.items():
            lost = min(flow * dt_s, volumes[self.index[key]])
            volumes[self.index[key]] -= lost
            self.leaked_m3 += lost
        for key, flow in self.stream_m3_s.items():
            self._pour(self.index[key], flow * dt_s)
        if change is not None and self.mains:
            self._pour(change.into, change.coming_m3_s * dt_s)
            self._pour(change.out_of, -change.going_m3_s * dt_s)

    def _pour(self, place: int, amount_m3: float) -> None:
        amount = max(amount_m3, -self.volume_m3[place])
        self.volume_m3[place] += amount
        self.brought_m3 += amount
