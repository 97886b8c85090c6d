"""What can run back through a pump that stands still: an upper bound, from the plumbing alone.

A paddle meter reads water that runs back as forward flow, so that flow alone is no sign of a pump
that runs. But only so much can run back: what stands in the chambers that the pump feeds, from the
rim down to the open ends of its branches, with every siphon break plugged; what overflows into
them; and what is in the pipes. More than that was lifted.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.figures import Figures, downstream, edges_m, pipes_m3
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter

RESERVE = 1.1
"""So many times the bound must have passed, over the tolerance of the meter; less is stricter."""


@dataclass(frozen=True, slots=True)
class Back:
    """What tells a pump that runs from water that runs back through it.

    `nominal_m3_s` is what its meter shows while it runs; `most_m3` is the most that can run back;
    `floats` are the spill-edge floats of the chambers that its branches enter, each a place among
    the sensors, and the most that can have run back while it is still wet. `alone` is False where
    another pump feeds these chambers too, for they then never empty.
    """

    nominal_m3_s: float
    most_m3: float
    floats: tuple[tuple[int, float], ...]
    alone: bool


def meter_of(site: Site, figures: Figures, pump: str) -> tuple[int | None, float]:
    """The flow meter that tells a pump's flow, and the share of that flow which passes it."""
    for index, sensor in enumerate(site.sensors.values()):
        if isinstance(sensor, FlowMeter):
            if sensor.on == pump:
                return index, 1.0
            branches = figures.lift(pump).branches
            if sensor.on in branches and branches[sensor.on] > 0:
                return index, branches[sensor.on] / figures.lift(pump).flow_m3_s
    return None, 1.0


def back_of(site: Site, figures: Figures, pump: str, meter: int, share: float) -> Back:
    """The bound of a pump; `meter` is the place of its meter, `share` what of its flow passes it.

    Levels read with a ruler play no part: chambers are taken as full to the rim.
    """
    sensor = list(site.sensors.values())[meter]
    assert isinstance(sensor, FlowMeter)
    factor = RESERVE * (1.0 + sensor.tolerance)
    nominal_m3_s = figures.lift(pump).flow_m3_s * share
    fixed_m3 = pipes_m3(site, pump) + nominal_m3_s * site.pumps[pump].run_on
    fed: dict[str, float] = {}
    for branch in site.branches(pump).values():
        outlet_m = site.chambers[branch.to].above_datum_m(branch.outlet)
        fed[branch.to] = min(outlet_m, fed.get(branch.to, outlet_m))
    above = {key for key in site.chambers if fed.keys() & set(downstream(site, (key,)))}
    room = {key: _over_m3(site, key, height_m) for key, height_m in fed.items()}
    for key in above - fed.keys():
        edges = edges_m(site, key, siphon_breaks=False)
        room[key] = _over_m3(site, key, min(edges.values()))
    most_m3 = fixed_m3 + sum(room.values())
    places = list(site.sensors)
    floats = tuple(
        (places.index(key), factor * (most_m3 - room[other.chamber] + _over_float_m3(site, other)))
        for key, other in site.floats(duty="spill-edge").items()
        if other.chamber in fed
    )
    others = {
        branch.to for key in site.pumps if key != pump for branch in site.branches(key).values()
    }
    alone = not room.keys() & (others | set(downstream(site, tuple(others))))
    return Back(nominal_m3_s, factor * most_m3, floats, alone)


def _over_m3(site: Site, chamber: str, height_m: float) -> float:
    """What a chamber holds between a height above the datum and its rim [m3]."""
    rim_m = site.chambers[chamber].rim_m
    return site.chambers[chamber].between_m3(min(height_m, rim_m), rim_m)


def _over_float_m3(site: Site, sensor: FloatSwitch) -> float:
    """What a chamber holds between a float and its rim [m3]; no more can have left it while the
    float is wet."""
    height_m = site.chambers[sensor.chamber].above_datum_m(sensor.height)
    return _over_m3(site, sensor.chamber, height_m)
