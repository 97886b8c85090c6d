"""What happens in a drill, done to the plant and its sensors at its time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

from rules.site.model import Site
from simulator.signals.stand import Stand
from simulator.story.drill import Drill
from simulator.story.happenings import Happening
from simulator.story.happenings_machines import (
    FreeValve,
    PowerCut,
    PumpDies,
    PumpRevives,
    StickValve,
    WearPump,
)
from simulator.story.happenings_signals import (
    CutCable,
    DriftMeter,
    FreeSensor,
    SilenceMeter,
    StickSensor,
)
from simulator.story.happenings_water import (
    AddWater,
    Block,
    ChangeDiffers,
    ClearBreak,
    DryAir,
    HoseSlips,
    Leak,
    LoseWater,
    PlugBreak,
    Unblock,
)
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.water.plant import Plant

Act = Callable[[float], None]
"""Does something as far as it has come: from 0, where it begins, to 1, where it is complete."""

Part = tuple[float, Act]
"""How long it takes to come about [s], and the act."""


@dataclass(slots=True)
class Fault:
    """One thing that happens, from when until when [s]."""

    at_s: float
    until_s: float
    act: Act
    done: bool = False


def _ramp(read: Callable[[], float], write: Callable[[float], None], goal: float) -> Act:
    """Move a value in a straight line to `goal` from where it stands when this begins."""
    begun: list[float] = []

    def act(share: float) -> None:
        if not begun:
            begun.append(read())
        write(goal if share >= 1.0 else begun[0] + (goal - begun[0]) * share)

    return act


def _ramp_field(thing: object, field: str, goal: float) -> Act:
    return _ramp(lambda: getattr(thing, field), lambda value: setattr(thing, field, value), goal)


def _ramp_entry(table: dict[str, float], key: str, goal: float) -> Act:
    return _ramp(lambda: table[key], lambda value: table.__setitem__(key, value), goal)


def _set(thing: object, field: str, value: object) -> Part:
    return 0.0, lambda _share: setattr(thing, field, value)


def _stream(stand: Stand, chamber: str, volume: float | None, over_s: float, sign: float) -> Part:
    """Water carried off or poured in, evenly over a time; all there is when no volume is given."""
    plant = stand.plant

    def act(share: float) -> None:
        whole = plant.volume_m3[plant.index[chamber]] if volume is None else volume
        if over_s <= 0.0:
            plant.bring(chamber, sign * whole)
        elif share < 1.0:
            plant.stream_m3_s.setdefault(chamber, sign * whole / over_s)
        else:
            plant.stream_m3_s.pop(chamber, None)

    return over_s, act


def _leak(plant: Plant, chamber: str, flow: float) -> Act:
    def act(share: float) -> None:
        if share < 1.0:
            plant.leak_m3_s[chamber] = flow
        else:
            plant.leak_m3_s.pop(chamber, None)

    return act


def _of_the_water(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """What happens to passages and chambers."""
    plant = stand.plant
    match event:
        case Block() | Unblock():
            goal = 1.0 - event.share if isinstance(event, Block) else 1.0
            keys = resolve(site, "passage", event.where)
            return [
                (event.over, _ramp_field(plant.rises[key], "condition", goal))
                if key in plant.rises
                else (event.over, _ramp_entry(plant.condition, key, goal))
                for key in keys
            ]
        case LoseWater() | AddWater():
            sign = -1.0 if isinstance(event, LoseWater) else 1.0
            keys = resolve(site, "chamber", event.where)
            return [_stream(stand, key, event.volume, event.over, sign) for key in keys]
        case DryAir():
            return [(0.0, lambda _share: plant.dry_air(event.a_day))]
        case ChangeDiffers():
            if plant.water_change is None:
                raise NoSuchRoleError(f"{site.site.name} has no water change")
            goal = event.share if event.more == "in" else -event.share
            return [(event.over, _ramp_field(plant.water_change, "differs", goal))]
        case Leak():
            lasts_s = inf if event.mended_after is None else event.mended_after
            keys = resolve(site, "chamber", event.where)
            return [(lasts_s, _leak(plant, key, event.flow)) for key in keys]
        case HoseSlips():
            keys = resolve(site, "branch", event.where)
            return [_set(plant.rises[key], "beside", event.share) for key in keys]
        case PlugBreak() | ClearBreak():
            plugged = isinstance(event, PlugBreak)
            keys = resolve(site, "branch", event.where)
            return [_set(plant.rises[key], "plugged", plugged) for key in keys]
        case _:
            return []


def _of_the_machines(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """What happens to pumps, the valve and the supply."""
    plant = stand.plant
    match event:
        case WearPump():
            keys = resolve(site, "pump", event.where)
            goal = 1.0 - event.share
            return [(event.over, _ramp_field(plant.lifts[key], "condition", goal)) for key in keys]
        case PumpDies() | PumpRevives():
            seized = isinstance(event, PumpDies)
            keys = resolve(site, "pump", event.where)
            return [_set(plant.lifts[key], "seized", seized) for key in keys]
        case StickValve() | FreeValve():
            stuck = event.state == "open" if isinstance(event, StickValve) else None
            return [_set(plant, "valve_stuck", stuck) for _ in resolve(site, "valve", event.where)]
        case PowerCut():
            lasts_s = inf if event.lasts is None else event.lasts
            return [(lasts_s, lambda share: setattr(plant, "mains", share >= 1.0))]
        case _:
            return []


def _of_the_sensors(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """What happens to contacts and meters."""
    sensors = stand.sensors
    match event:
        case StickSensor() | FreeSensor():
            stuck = event.state in ("wet", "present") if isinstance(event, StickSensor) else None
            keys = resolve(site, "sensor", event.where)
            return [_set(sensors.contacts[key], "stuck", stuck) for key in keys]
        case CutCable():
            keys = resolve(site, "sensor", event.where)
            return [_set(sensors.contacts[key], "cable_cut", True) for key in keys]
        case SilenceMeter():
            keys = resolve(site, "meter", event.where)
            return [_set(sensors.meters[key], "silent", True) for key in keys]
        case DriftMeter():
            goal = event.share if event.to == "more" else -event.share
            keys = resolve(site, "meter", event.where)
            return [(event.over, _ramp_field(sensors.meters[key], "drift", goal)) for key in keys]
        case _:
            return []


class Script:
    """All that happens in one drill on one stand.

    Raises NoSuchRoleError when the site has nothing that it could happen to.
    """

    def __init__(self, site: Site, stand: Stand, drill: Drill) -> None:
        self._faults = [
            Fault(event.at, event.at + lasts_s, act)
            for event in drill.happens
            for kind in (_of_the_water, _of_the_machines, _of_the_sensors)
            for lasts_s, act in kind(site, stand, event)
        ]

    def advance(self, t_s: float) -> None:
        """Do what is due at `t_s` from the start of the drill."""
        for fault in self._faults:
            if fault.done or t_s < fault.at_s:
                continue
            fault.done = t_s >= fault.until_s
            if fault.done:
                fault.act(1.0)
            else:
                fault.act((t_s - fault.at_s) / (fault.until_s - fault.at_s))
