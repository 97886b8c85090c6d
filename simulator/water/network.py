"""Everything that water moves through, together: passages, pumps with their branches, rims."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from rules.site.model import Site
from simulator.water.build import Builder
from simulator.water.drains import Siphon
from simulator.water.drift import Ends, Slopes, slopes_between
from simulator.water.flows import WEIR_SI, Way
from simulator.water.lift import Lift, Rise
from simulator.water.shapes import Shapes, rim_length_m
from simulator.water.waves import WAVE_M, over_rim


class Network:
    """The flows of a site at the levels given, in one list: passages, branches, pipes, rims.

    `ends` has for each flow the places of the chambers that it leaves and reaches; the floor comes
    after the last chamber, and the pipes of the branches, which fill and run down, after that.
    """

    def __init__(self, site: Site, builder: Builder, shapes: Shapes) -> None:
        index = builder.index
        self.floor = len(index)
        self.ways: list[tuple[str, Way, int, int]] = [
            (key, builder.way(key, p), index[p.from_], index[p.to])
            for key, p in site.gravity().items()
        ]
        self.lifts: dict[str, Lift] = {key: builder.lift(key) for key in site.pumps}
        self.rises: dict[str, Rise] = {
            rise.key: rise for lift in self.lifts.values() for rise in lift.rises
        }
        self.siphons = {key: way for key, way, _, _ in self.ways if isinstance(way, Siphon)}
        self._branches = [(rise, lift) for lift in self.lifts.values() for rise in lift.rises]
        self._rim_m = shapes.rim_m
        self._rim_plan_m2 = shapes.rim_plan_m2
        self._wave_m = [
            builder.draws.between(f"{key}/wave", *WAVE_M)
            if any(rise.to == place for rise in self.rises.values())
            else 0.0
            for key, place in index.items()
        ]
        self._waves_m = [0.0] * self.floor  # as they now are
        self._places = index
        self._rim_k = [WEIR_SI * rim_length_m(chamber) for chamber in site.chambers.values()]
        self.ends: list[Ends] = [(upper, lower) for _, _, upper, lower in self.ways]
        self.ends += [(lift.source, rise.to) for rise, lift in self._branches]
        pipes = self.floor + 1
        self._first_fill = len(self.ends)
        self.ends += [(lift.source, pipes) for _, lift in self._branches]
        self.first_rim = len(self.ends)
        self.ends += [(place, self.floor) for place in range(self.floor)]

    def edges_m(self) -> list[list[float]]:
        """The heights at each chamber where some flow begins or ends [m above the datum]."""
        edges: list[list[float]] = [
            [rim, rim - wave] for rim, wave in zip(self._rim_m, self._wave_m, strict=True)
        ]
        for _, way, upper, _ in self.ways:
            if isinstance(way, Siphon):
                mouth = way.pipe.mouth
                edges[upper] += [mouth, mouth + way.lose_m, mouth + way.gulp_m, mouth + way.drown_m]
        for lift in self.lifts.values():
            edges[lift.source].append(lift.intake)
        return edges

    @property
    def quiet(self) -> bool:
        """True while no pump changes its speed and no air is on its way in a siphon."""
        return all(lift.steady for lift in self.lifts.values()) and not any(
            siphon.filling for siphon in self.siphons.values()
        )

    def flows_m3_s(
        self,
        levels: Sequence[float],
        condition: Mapping[str, float],
        powered: Callable[[str], bool],
        stirred_m: Mapping[str, float],
        dt_s: float,
    ) -> list[float]:
        """Every flow, after a step of `dt_s` at these levels."""
        flows = [
            way.advance(levels[upper], levels[lower], condition[key], dt_s)
            for key, way, upper, lower in self.ways
        ]
        for key, lift in self.lifts.items():
            lift.turn(powered(key), levels, dt_s)
            lift.solve(levels, dt_s)
        flows += [rise.gives_m3_s for rise, _ in self._branches]
        flows += [rise.fill_m3_s for rise, _ in self._branches]
        self._stir(stirred_m)
        flows += [
            self._over(place, level - rim, dt_s) if level > rim - wave else 0.0
            for place, (level, rim, wave) in enumerate(
                zip(levels, self._rim_m, self._waves_m, strict=True)
            )
        ]
        return flows

    def _stir(self, stirred_m: Mapping[str, float]) -> None:
        """Waves where a pump's water comes in, and where somebody stirs."""
        waves_m = [0.0] * self.floor
        for rise, _ in self._branches:
            if rise.gives_m3_s > 0.0:
                waves_m[rise.to] = self._wave_m[rise.to]
        for key, height_m in stirred_m.items():
            waves_m[self._places[key]] += height_m
        self._waves_m = waves_m

    def _over(self, place: int, head: float, dt_s: float) -> float:
        """What goes over a rim, as over a weir all round, and what waves throw over it [m3/s]."""
        wave = self._waves_m[place]
        if head <= -wave:
            return 0.0
        flow = self._rim_k[place] * over_rim(head, wave)
        return min(flow, 0.5 * (head + wave) * self._rim_plan_m2[place] / dt_s)

    def hold(self, flows_m3_s: Sequence[float]) -> None:
        """Let the branches carry these flows."""
        for (rise, _), flow in zip(
            self._branches, flows_m3_s[len(self.ways) : self._first_fill], strict=True
        ):
            rise.flow_m3_s = flow
        for lift in self.lifts.values():
            lift.flow_m3_s = sum(rise.flow_m3_s for rise in lift.rises)

    def net_m3_s(self, flows_m3_s: Sequence[float]) -> list[float]:
        """What comes to each chamber, less what leaves it; then to the floor, and to the pipes."""
        net = [0.0] * (self.floor + 2)
        for (upper, lower), flow in zip(self.ends, flows_m3_s, strict=True):
            if flow:
                net[upper] -= flow
                net[lower] += flow
        for rise, _ in self._branches:
            if rise.beside:
                net[rise.to] -= rise.lost_m3_s
                net[self.floor] += rise.lost_m3_s
        return net

    def slopes(
        self, levels: Sequence[float], condition: Mapping[str, float], dt_s: float
    ) -> list[Slopes]:
        """How each flow changes with the levels."""
        found: list[Slopes] = []
        for key, way, upper, lower in self.ways:
            share = condition[key]

            def flow(up: float, down: float, way: Way = way, share: float = share) -> float:
                return way.still(up, down, share, dt_s)

            found.append(slopes_between(flow, levels[upper], levels[lower], upper, lower))
        for lift in self.lifts.values():
            found += lift.slopes(levels)
        found += [[] for _ in self._branches]  # no pipe fills
        for place, level in enumerate(levels):

            def over(up: float, _: float, place: int = place) -> float:
                return self._over(place, up - self._rim_m[place], dt_s)

            found.append(slopes_between(over, level, 0.0, place, self.floor))
        return found

    def refill(self, volumes_m3: list[float], flows_m3_s: Sequence[float], dt_s: float) -> None:
        """Take back from the chambers downstream what a chamber gave but did not have."""
        away = [
            (a, b, flow) if flow > 0.0 else (b, a, -flow)
            for (a, b), flow in zip(self.ends[: self.first_rim], flows_m3_s, strict=False)
            if flow
        ]
        content = [*volumes_m3, 0.0, 0.0]
        for _ in range(self.floor):
            short = [i for i, volume in enumerate(content[: self.floor]) if volume < 0.0]
            if not short:
                break
            for i in short:
                given = sum(flow for a, _, flow in away if a == i)
                lack = -content[i]
                for a, b, flow in away:
                    if a == i:
                        content[b] -= lack * flow / given
                content[i] = 0.0
        else:
            raise ArithmeticError(f"a step of {dt_s} s is too long for the chambers of this site")
        volumes_m3[:] = content[: self.floor]
        filled = sum(rise.fill_m3_s for rise, _ in self._branches if rise.fill_m3_s > 0.0)
        for rise, _ in self._branches:
            if rise.fill_m3_s > 0.0:
                rise.held_m3 += content[-1] * rise.fill_m3_s / filled
