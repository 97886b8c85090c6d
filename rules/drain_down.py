"""What runs back through a pump after a stop while its siphon breaks are open, and how much more
when one is plugged.

With the breaks open that is what stands in the pipes, what the pump still gives while it runs down,
and at the most all that stands over the breaks; past a plugged one it goes on down to the mouth of
its branch. `rules.stops` counts what does run back.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.back import back_of
from rules.figures import Figures, pipes_m3
from rules.site.model import Site
from rules.site.sensors import FlowMeter

PART_OF_MORE, PART_OF_OPEN = 0.25, 0.5
"""So much of what a plugged break adds, but no more than so much of what open ones pass, may come
on top of that before it counts; less is stricter."""


@dataclass(frozen=True, slots=True)
class DrainDown:
    """What tells an open siphon break of a pump from a plugged one, at its meter.

    `open_m3` is the most that runs back with all of them open, `limit_m3` from what on one counts
    as plugged; `fits` whether what comes down with all of them plugged fits below.
    """

    open_m3: float
    limit_m3: float
    fits: bool


def drain_down_of(site: Site, figures: Figures, pump: str, meter: int | None) -> DrainDown | None:
    """That of a pump; `meter` is the place of its meter. None where that would tell nothing.

    Where another pump keeps the same tanks full, water may run back for ever, past an open break
    that stands under water too.
    """
    if meter is None or not back_of(site, figures, pump, meter, 1.0).alone:
        return None
    sensor = list(site.sensors.values())[meter]
    assert isinstance(sensor, FlowMeter)
    lift = figures.lift(pump)
    passed = tuple(site.branches(pump)) if sensor.on == pump else (sensor.on,)
    open_m3 = pipes_m3(site, pump) + lift.flow_m3_s * site.pumps[pump].run_on
    more = []
    for key in passed:
        branch = site.branches(pump)[key]
        chamber, level_m = site.chambers[branch.to], figures.running.levels_m[branch.to]
        outlet_m = min(level_m, chamber.above_datum_m(branch.outlet))
        if branch.siphon_break is None:
            open_m3 += chamber.between_m3(outlet_m, level_m)
            continue
        break_m = min(level_m, chamber.above_datum_m(branch.siphon_break))
        open_m3 += chamber.between_m3(break_m, level_m)
        more.append(chamber.between_m3(outlet_m, break_m))
    least_m3 = min(more, default=0.0)
    if least_m3 <= 0.0:
        return None
    beyond_m3 = min(PART_OF_MORE * least_m3, PART_OF_OPEN * open_m3)
    return DrainDown(open_m3, open_m3 + beyond_m3, lift.plugged_m3 <= lift.room_m3)
