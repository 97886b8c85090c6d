"""Tanks and ways between them told to EPA SWMM, through pyswmm: what it makes of the levels.

SWMM takes a weir at one coefficient, usually 1.84; Kindsvater-Carter passes up to 8 % more at heads
of 10 to 25 mm, so a case may give the coefficient that a weir has at the head it settles at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pyswmm import Links, Nodes, Simulation

STEP_S = 0.25
OPTIONS = """[OPTIONS]
FLOW_UNITS CMS
FLOW_ROUTING DYNWAVE
LINK_OFFSETS DEPTH
START_DATE 01/01/2000
START_TIME 00:00:00
END_DATE 01/01/2000
END_TIME {end}
REPORT_STEP 00:00:10
ROUTING_STEP {step}
VARIABLE_STEP 0
INERTIAL_DAMPING NONE
MIN_SURFAREA 1e-6
THREADS 1
"""


Rating = Sequence[tuple[float, float]]


@dataclass
class Tank:
    bottom_m: float
    height_m: float
    area_m2: float
    depth_m: float
    inflow_m3_s: float = 0.0


@dataclass
class Case:
    """A set of tanks and ways between them, told to both sides; "out" is the world outside."""

    seconds: int
    tanks: dict[str, Tank]
    weirs: dict[str, tuple[str, str, float, float]] = field(default_factory=dict)  # crest, width
    holes: dict[str, tuple[str, str, float, float]] = field(default_factory=dict)  # centre, bore
    pump: tuple[str, str, list[tuple[float, float]]] | None = None  # from, to, (flow, head)
    blocked_from: dict[str, float] = field(default_factory=dict)  # way: second
    coefficient: float = 1.84  # of SWMM's weirs
    coefficients: dict[str, float] = field(default_factory=dict)  # of single weirs
    drains: dict[str, tuple[str, str, float, Rating]] = field(default_factory=dict)
    """From, to, height of the mouth, (depth over the mouth, flow); a free outlet."""
    lifts: dict[str, tuple[str, str, Rating]] = field(default_factory=dict)
    """Pumps from, to, by (depth they draw from, flow)."""
    share_left: dict[str, float] = field(default_factory=dict)  # of a drain that is blocked
    step_s: float = STEP_S

    def swmm(self, folder: Path) -> list[dict[str, float]]:
        """Level of each tank above the datum after each ten seconds."""
        file = folder / "case.inp"
        file.write_text("\n".join(self._text()) + "\n", encoding="ascii")
        seen: list[dict[str, float]] = []
        with Simulation(str(file)) as run:
            nodes, links = Nodes(run), Links(run)
            for _ in run:
                at = (run.current_time - run.start_time).total_seconds()
                for way, second in self.blocked_from.items():
                    if at >= second:
                        links[way].target_setting = self.share_left.get(way, 0.0)
                if at >= 10.0 * (len(seen) + 1) - 1e-3:
                    seen.append({k: t.bottom_m + nodes[k].depth for k, t in self.tanks.items()})
        return seen

    def _text(self) -> Iterator[str]:
        minutes, seconds = divmod(self.seconds, 60)
        yield OPTIONS.format(
            end=f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}", step=self.step_s
        )
        yield "[STORAGE]"
        for key, tank in self.tanks.items():
            yield (
                f"{key} {tank.bottom_m} {tank.height_m} {tank.depth_m} "
                f"FUNCTIONAL 0 0 {tank.area_m2} 0 0"
            )
        yield "aside 0 1 0 FUNCTIONAL 0 0 1 0 0"
        yield "[OUTFALLS]"
        # each takes one way only, and there must be one: a closed circuit has a dry tank aside
        leaving = [k for k, way in (self.weirs | self.holes).items() if way[1] == "out"]
        for key in [*leaving, "aside"]:
            yield f"out-{key} -10 FREE NO"
        yield from self._edges()
        yield from self._machines()
        yield "[INFLOWS]"
        for key, tank in self.tanks.items():
            if tank.inflow_m3_s:
                yield f'{key} FLOW "" FLOW 1.0 1.0 {tank.inflow_m3_s}'

    def _edges(self) -> Iterator[str]:
        def to(way: str, end: str) -> str:
            return f"out-{way}" if end == "out" else end

        yield "[WEIRS]"
        yield "aside-edge aside out-aside TRANSVERSE 0.5 1.84 NO 0 0 YES"
        for key, (start, end, crest, _) in self.weirs.items():
            coefficient = self.coefficients.get(key, self.coefficient)
            yield f"{key} {start} {to(key, end)} TRANSVERSE {crest} {coefficient} NO 0 0 YES"
        yield "[ORIFICES]"
        for key, (start, end, centre, bore) in self.holes.items():
            yield f"{key} {start} {to(key, end)} SIDE {centre - bore / 2} 0.61 NO 0"
        yield "[XSECTIONS]"
        yield "aside-edge RECT_OPEN 0.5 1 0 0"
        for key, (start, _, crest, width) in self.weirs.items():
            yield f"{key} RECT_OPEN {self.tanks[start].height_m - crest} {width} 0 0"
        for key, (_, _, _, bore) in self.holes.items():
            yield f"{key} CIRCULAR {bore} 0 0 0"

    def _machines(self) -> Iterator[str]:
        """What goes by a table: pumps, and drains as rated outlets."""
        curves: dict[str, tuple[str, Rating]] = {}
        yield "[PUMPS]"
        if self.pump is not None:
            start, end, points = self.pump
            curves["pump"] = ("PUMP3", sorted((head, flow) for flow, head in points))
            yield f"pump {start} {end} curve-pump ON 0 0"
        for key, (start, end, rating) in self.lifts.items():
            curves[key] = ("PUMP4", rating)
            yield f"{key} {start} {end} curve-{key} ON 0 0"
        yield "[OUTLETS]"
        for key, (start, end, mouth, rating) in self.drains.items():
            curves[key] = ("RATING", rating)
            yield f"{key} {start} {end} {mouth} TABULAR/DEPTH curve-{key} NO"
        yield "[CURVES]"
        for key, (kind, rating) in curves.items():
            for i, (x, y) in enumerate(rating):
                yield f"curve-{key} {kind if i == 0 else ''} {x} {y}"
