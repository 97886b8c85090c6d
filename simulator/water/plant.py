"""The plant: chambers, the water in them, and everything that moves it, stepped in time.

It has its own equations and its own coefficients, drawn around the nominal ones from a seed, so
that it can prove the rules wrong. No water appears or vanishes: see `total_m3`.
"""

from __future__ import annotations

from math import ceil, inf
from operator import add, sub

from rules.site.model import Site
from simulator.water.build import Builder, start_level_m
from simulator.water.drains import Siphon
from simulator.water.draw import Draws
from simulator.water.drift import MOST_M, RUNGS_S, Drift
from simulator.water.lift import STEP_S
from simulator.water.network import Network
from simulator.water.outside import DAY_S, Air, top_off, water_change
from simulator.water.settling import settle
from simulator.water.shapes import Shapes
from simulator.water.wiring import Wired

STEP_LEAST_S = 0.002
STEP_RISE_M = 0.002  # no level may move further in one step
SMALL_M2 = 0.02  # a site with a smaller chamber is stepped finer


class Plant(Wired):
    """One site's water, and the faults it can be given.

    With `exact`, every drawn error is nought; for `timer_relay` see `Wired`.

    While next to nothing moves it coasts: water goes on moving for up to a minute at flows that
    `Drift` foresaw. Any fault, any relay and any level that moves faster ends that at once.
    """

    def __init__(
        self, site: Site, seed: int, *, exact: bool = False, timer_relay: bool = False
    ) -> None:
        super().__init__(site, timer_relay=timer_relay)
        self.seed = seed
        self.draws = Draws(seed, exact=exact)
        builder = Builder(site, self.draws)
        self.index = builder.index
        self.shapes = Shapes(site.chambers.values())
        self._network = Network(site, builder, self.shapes)
        self.ways, self.lifts = self._network.ways, self._network.lifts
        self.rises = self._network.rises
        self._fill(site)
        self._outer_world(site)
        self._healthy()
        self.forget()

    def _fill(self, site: Site) -> None:
        """Water up to where each chamber begins, and nothing moving."""
        starts_m = [start_level_m(site, key) for key in site.chambers]
        self.volume_m3 = [self.shapes.volume_m3(i, level) for i, level in enumerate(starts_m)]
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)  # above the datum
        smallest_m2 = min(
            min(chamber.plan_m2(level), chamber.plan_m2(chamber.rim))
            for chamber, level in zip(site.chambers.values(), starts_m, strict=True)
        )
        self.step_most_s = STEP_S * min(1.0, smallest_m2 / SMALL_M2)
        self._flows = [0.0] * len(self._network.ends)
        self._net_m3_s = [0.0] * len(starts_m)
        self._outer_m3_s = [0.0] * len(starts_m)  # net, of all that comes and goes outside
        self._fastest_m_s = inf
        self._drift = Drift(self._network.edges_m())
        self._held_s = 0.0  # for so long flows may stay as they are
        self._seen: list[float] = []

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
        """The drain with this id, whichever kind: what goes on in it; a KeyError if none."""
        return self._network.siphons[key]

    @property
    def flows_m3_s(self) -> dict[str, float]:
        """The flow of every passage, of every pump's trunk, and of the top-off [m3/s]."""
        flows = {way[0]: flow for way, flow in zip(self.ways, self._flows, strict=False)}
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
        inside_m3 = sum(self.volume_m3) + sum(rise.held_m3 for rise in self.rises.values())
        return inside_m3 + self.floor_m3 + self.evaporated_m3 - self.brought_m3

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
        self._drift.forget()

    def bring(self, chamber: str, amount_m3: float) -> None:
        """Pour water into a chamber at once, or carry it off when below zero [m3]."""
        self._pour(self.index[chamber], amount_m3)
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)
        self.wake()

    def wake(self) -> None:
        """End coasting: something was changed that is not among the faults."""
        self._seen = []

    # --- time ---------------------------------------------------------------------------------

    @property
    def fastest_m_s(self) -> float:
        """How fast the level moves that moves fastest, up or down [m/s]."""
        return self._fastest_m_s

    def advance(self, dt_s: float, most_m_s: float = inf) -> None:
        """Let `dt_s` seconds pass; fewer if a level comes to move faster than `most_m_s`."""
        left_s = dt_s
        while left_s > 1e-9:
            if not self._coasts():
                finest = min(self.step_most_s, STEP_RISE_M / self._fastest_m_s)
                step_s = left_s / ceil(left_s / max(finest, STEP_LEAST_S) - 1e-9)
                self._flow(step_s)
            step_s = min(left_s, self._held_s, self.timer_left_s)
            self._move(step_s)
            self._held_s -= step_s
            left_s -= step_s
            if self._fastest_m_s > most_m_s:
                return

    def _coasts(self) -> bool:
        """True if flows may stay as they are for now."""
        return self._held_s > 1e-9 and self._inputs() == self._seen

    def _inputs(self) -> list[float]:
        """All that decides on flows but levels."""
        seen = [*self.condition.values()]
        for lift in self.lifts.values():
            seen += (lift.condition, lift.seized, self.powered(lift.key))
            for rise in lift.rises:
                seen += (rise.condition, rise.plugged, rise.beside)
        for siphon in self._network.siphons.values():
            seen += (siphon.primed, siphon.draws_air)
        seen += (self.valve_open, self.valve_share, self.mains, self.evaporating_m3_s)
        seen += (*self.leak_m3_s.values(), *self.stream_m3_s.values(), *self.stirred_m.values())
        return seen

    def _flow(self, dt_s: float) -> None:
        """Compute every flow at the levels as they are, and for how long it may stay so."""
        network, inputs = self._network, self._inputs()
        changed, self._seen = inputs != self._seen, inputs
        if changed or self._held_s > 1e-9:
            self._drift.forget()
        flows = network.flows_m3_s(
            self.surface_m, self.condition, self.powered, self.stirred_m, dt_s
        )
        net = network.net_m3_s(flows)
        self._held_s = dt_s
        if not changed and self._fastest_m_s * RUNGS_S[0] <= MOST_M and network.quiet:
            flows, net = self._stretch(flows, net)
        self._flows, self._net_m3_s = flows, net

    def _stretch(self, flows: list[float], net: list[float]) -> tuple[list[float], list[float]]:
        """Flows that may stay for longer than a step, if levels allow it."""
        network, drift = self._network, self._drift
        whole = list(
            map(add, net, self._outer_m3_s)
        )  # floor and pipes, last in `net`, have no level
        if not drift.judge(whole):
            slopes = network.slopes(self.surface_m, self.condition, self.step_most_s)
            drift.look(network.ends, slopes, self.shapes.plans_m2(self.surface_m))
        lasts_s, moves_m = drift.stretch(self.surface_m, whole, self.timer_left_s)
        if lasts_s < self._held_s:
            return flows, net
        self._held_s = lasts_s
        flows = drift.then(flows, moves_m)
        network.hold(flows)
        net = network.net_m3_s(flows)
        drift.foresee(list(map(add, net, self._outer_m3_s)))
        return flows, net

    def _move(self, dt_s: float) -> None:
        """Move the water by the flows as computed, and by all that comes and goes outside."""
        before, net = self.surface_m, self._net_m3_s
        self.volume_m3 = [
            volume + come * dt_s for volume, come in zip(self.volume_m3, net, strict=False)
        ]
        if net[self._network.floor]:
            self._account(dt_s)
        for lift in self.lifts.values():
            lift.count(dt_s)
        if min(self.volume_m3) < 0.0:
            self._network.refill(self.volume_m3, self._flows, dt_s)
        inside = list(self.volume_m3)
        self._outside(dt_s)
        self._outer_m3_s = [(b - a) / dt_s for a, b in zip(inside, self.volume_m3, strict=True)]
        self.surface_m = self.shapes.surfaces_m(self.volume_m3)
        self._fastest_m_s = max(1e-9, *map(abs, map(sub, self.surface_m, before))) / dt_s
        self.t_s += dt_s

    def _account(self, dt_s: float) -> None:
        """Add what goes to the floor to its accounts: over rims, and beside."""
        for key, flow in zip(self.index, self._flows[self._network.first_rim :], strict=True):
            self.spilled_m3[key] += flow * dt_s
        for rise in self.rises.values():
            self.leaked_m3 += rise.lost_m3_s * dt_s

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
