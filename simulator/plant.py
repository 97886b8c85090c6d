"""The plant: chambers, the water in them, and everything that moves it, stepped in time.

It has its own equations and its own coefficients, drawn around the nominal ones from a seed, so
that it can prove the rules wrong. No water appears or vanishes: see `total_m3`.
"""

from __future__ import annotations

from math import ceil, inf, sqrt

from rules.site.model import Site
from simulator.build import Builder, rim_length_m, start_level_m
from simulator.draw import Draws
from simulator.flows import WEIR_SI, Way
from simulator.lift import Lift, Rise
from simulator.settling import settle

STEP_S = 0.05
STEP_LEAST_S = 0.002
STEP_RISE_M = 0.002  # no level may move further in one step
SMALL_M2 = 0.02  # a site with a smaller chamber is stepped finer
DAY_S = 86400.0
TIMER_S = 2.0  # the external timer relay opens when the heartbeat has stood still for so long


class Plant:
    """One site's water, and the faults it can be given.

    With `exact`, every drawn error is nought. With `timer_relay`, and a heartbeat output in the
    site, an external relay in series with the pumps opens when the heartbeat stands still.
    """

    def __init__(
        self, site: Site, seed: int, *, exact: bool = False, timer_relay: bool = False
    ) -> None:
        self.site = site
        self.seed = seed
        self.draws = Draws(seed, exact=exact)
        self.t_s = 0.0
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
        self._outputs(site, timer_relay)
        self._top_off(site)
        self._healthy()
        self.forget()

    def _shape(self, site: Site) -> None:
        self.area_m2 = [chamber.plan_m2(chamber.rim) for chamber in site.chambers.values()]
        self.bottom_m = [chamber.bottom for chamber in site.chambers.values()]
        self.rim_m = [chamber.rim_m for chamber in site.chambers.values()]
        self._rim_k = [WEIR_SI * rim_length_m(chamber) for chamber in site.chambers.values()]
        self.volume_m3 = [
            area * start_level_m(site, key)
            for area, key in zip(self.area_m2, self.index, strict=True)
        ]
        self._step_most_s = STEP_S * min(1.0, min(self.area_m2) / SMALL_M2)
        self._fastest_m_s = inf
        self._flows = [0.0] * len(self.ways)
        self._branches = [
            (rise, lift.source, rise.to) for lift in self.lifts.values() for rise in lift.rises
        ]

    def _outputs(self, site: Site, timer_relay: bool) -> None:
        self.on: dict[str, bool] = dict.fromkeys(site.outputs, False)
        self._relay = {
            pump: site.pump_output(pump)
            for pump in site.pumps  # a pump without a relay is always on
        }
        beats = [key for key, output in site.outputs.items() if output.kind == "heartbeat"]
        self._heartbeat = beats[0] if beats and timer_relay else None
        self._beat_s = -inf
        valves = [key for key, output in site.outputs.items() if output.kind == "top-off"]
        self._valve = valves[0] if valves else None

    def _top_off(self, site: Site) -> None:
        self._reservoir = self._filled = -1
        self._rate_m3_s = 0.0
        self.top_off_m3_s = 0.0
        if site.top_off is not None:
            self._reservoir = self.index[site.top_off.reservoir]
            self._filled = self.index[site.top_off.to]
            self._rate_m3_s = site.top_off.rate * self.draws.factor("top-off/rate", 0.05)
        self._day = site.water.evaporation * self.draws.factor("evaporation", 0.3)
        self._open_m2 = [
            0.0 if i == self._reservoir else area for i, area in enumerate(self.area_m2)
        ]
        self.evaporating_m3_s = 0.0

    def _healthy(self) -> None:
        """No fault anywhere; faults are set on these."""
        self.condition: dict[str, float] = dict.fromkeys(self.site.gravity(), 1.0)
        self.mains = True
        self.valve_stuck: bool | None = None
        self.leak_m3_s: dict[str, float] = {}
        self.stream_m3_s: dict[str, float] = {}  # brought in; carried off when below zero

    def forget(self) -> None:
        """Begin the accounts and the clock anew; levels stay."""
        self.t_s = 0.0
        self.keep_beating()
        self.spilled_m3: dict[str, float] = dict.fromkeys(self.index, 0.0)
        self.leaked_m3 = 0.0
        self.evaporated_m3 = 0.0
        self.brought_m3 = 0.0  # what people or faults added, less what they carried off
        for lift in self.lifts.values():
            lift.dry_s = 0.0

    def settle(self) -> None:
        """Bring it to where it stands on a good day: pumps on, primed, valves set, levels still."""
        settle(self)
        self.dry_air(self._day)
        self.forget()

    # --- what can be read ---------------------------------------------------------------------

    def levels_m(self) -> dict[str, float]:
        """The level of every chamber [m above its bottom]."""
        return {key: self.level_m(key) for key in self.index}

    def level_m(self, chamber: str) -> float:
        """The level of one chamber [m above its bottom]."""
        i = self.index[chamber]
        return self.volume_m3[i] / self.area_m2[i]

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

    def powered(self, pump: str) -> bool:
        """True while a pump gets current: mains there, relay closed, timer relay closed."""
        relay = self._relay[pump]
        if not self.mains or (relay is not None and not self.on[relay]):
            return False
        return self._heartbeat is None or self.t_s - self._beat_s < TIMER_S

    @property
    def valve_open(self) -> bool:
        """True while the top-off valve is open."""
        if self.valve_stuck is not None:
            return self.valve_stuck
        return self.mains and self._valve is not None and self.on[self._valve]

    # --- what can be done to it ---------------------------------------------------------------

    def command(self, output: str, on: bool) -> None:
        """Put one output on or off."""
        if output == self._heartbeat and on != self.on[output]:
            self._beat_s = self.t_s
        self.on[output] = on

    def dry_air(self, share_a_day: float) -> None:
        """Let this share of all the water but the reservoir's evaporate in a day."""
        volume = sum(v for i, v in enumerate(self.volume_m3) if i != self._reservoir)
        self.evaporating_m3_s = volume * share_a_day / DAY_S

    def keep_beating(self) -> None:
        """Hold the timer relay closed, as a heartbeat would."""
        self._beat_s = self.t_s

    def advance(self, dt_s: float) -> None:
        """Let `dt_s` seconds pass."""
        finest = max(STEP_LEAST_S, min(self._step_most_s, STEP_RISE_M / self._fastest_m_s))
        steps = max(1, ceil(dt_s / finest - 1e-9))
        step_s = dt_s / steps
        for _ in range(steps):
            self._step(step_s)
            self.t_s += step_s

    def _step(self, dt_s: float) -> None:
        levels = [
            bottom + volume / area
            for bottom, volume, area in zip(
                self.bottom_m, self.volume_m3, self.area_m2, strict=True
            )
        ]
        net = [0.0] * len(levels)
        condition, flows = self.condition, self._flows
        for i, (key, way, upper, lower) in enumerate(self.ways):
            flow = way.advance(levels[upper], levels[lower], condition[key], dt_s)
            flows[i] = flow
            net[upper] -= flow
            net[lower] += flow
        for lift in self.lifts.values():
            lift.turn(self.powered(lift.key), levels, dt_s)
            lift.solve(levels)
            lift.count(dt_s)
        for rise, source, to in self._branches:
            flow = rise.flow_m3_s
            net[source] -= flow
            if rise.beside and flow > 0.0:
                self.leaked_m3 += flow * rise.beside * dt_s
                flow -= flow * rise.beside
            net[to] += flow
        fastest = 1e-9
        for i, area in enumerate(self.area_m2):
            change = net[i]
            if change:
                self.volume_m3[i] += change * dt_s
                speed = abs(change) / area
                fastest = max(fastest, speed)
        self._fastest_m_s = fastest
        if min(self.volume_m3) < 0.0:
            self._refill(dt_s)
        self._outside(dt_s)

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
            f"{min(self.area_m2)} m2"
        )

    def _outside(self, dt_s: float) -> None:
        """Water that leaves the tanks or comes into them: rims, top-off, air, leaks, people."""
        volumes = self.volume_m3
        for i, (key, volume) in enumerate(zip(self.index, volumes, strict=True)):
            head = self.bottom_m[i] + volume / self.area_m2[i] - self.rim_m[i]
            if head > 0.0:
                over = self._rim_k[i] * head * sqrt(head) * dt_s
                over = min(over, 0.5 * head * self.area_m2[i])
                volumes[i] -= over
                self.spilled_m3[key] += over
        self.top_off_m3_s = 0.0
        if self._filled >= 0 and self.valve_open:
            added = min(self._rate_m3_s * dt_s, volumes[self._reservoir])
            volumes[self._reservoir] -= added
            volumes[self._filled] += added
            self.top_off_m3_s = added / dt_s
        if self.evaporating_m3_s > 0.0:
            self._evaporate(self.evaporating_m3_s * dt_s)
        for key, flow in self.leak_m3_s.items():
            lost = min(flow * dt_s, volumes[self.index[key]])
            volumes[self.index[key]] -= lost
            self.leaked_m3 += lost
        for key, flow in self.stream_m3_s.items():
            self.bring(key, flow * dt_s)

    def _evaporate(self, amount_m3: float) -> None:
        share = amount_m3 / sum(self._open_m2)
        for i, area in enumerate(self._open_m2):
            lost = min(share * area, self.volume_m3[i])
            self.volume_m3[i] -= lost
            self.evaporated_m3 += lost

    def bring(self, chamber: str, amount_m3: float) -> None:
        """Pour water into a chamber at once, or carry it off when below zero [m3]."""
        i = self.index[chamber]
        amount = max(amount_m3, -self.volume_m3[i])
        self.volume_m3[i] += amount
        self.brought_m3 += amount
