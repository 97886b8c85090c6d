"""What happens to pumps, the valve, the relays and the supply, done to the plant."""

from __future__ import annotations

from rules.site.model import Site
from simulator.signals.stand import Stand
from simulator.story.acts import Part, at_once, for_a_while, ramp_field, set_to
from simulator.story.happenings import Happening
from simulator.story.happenings_machines import (
    DeadRelay,
    FreeValve,
    MendRelay,
    PowerCut,
    PumpDies,
    PumpRevives,
    StickValve,
    Unplug,
    WearPump,
    WeldRelay,
)
from simulator.story.roles import resolve
from simulator.water.plant import Plant

STUCK = {"open": True, "shut": False, "half open": None}
"""What a valve does whatever its relay does, by the state it sticks in; None if it obeys."""


def to_the_machines(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that are of machines; none if it is of another kind."""
    plant = stand.plant
    match event:
        case WearPump():
            keys = resolve(site, "pump", event.where)
            goal = 1.0 - event.share
            return [ramp_field(plant.lifts[key], "condition", goal, event.over) for key in keys]
        case PumpDies() | PumpRevives():
            seized = isinstance(event, PumpDies)
            keys = resolve(site, "pump", event.where)
            return [set_to(plant.lifts[key], "seized", seized) for key in keys]
        case Unplug():
            keys = resolve(site, "pump", event.where)
            return [part for key in keys for part in _unplug(plant, key, event.lasts)]
        case StickValve() | FreeValve():
            resolve(site, "valve", event.where)
            stuck, share = None, 1.0
            if isinstance(event, StickValve):
                stuck = STUCK[event.state]
                share = event.share if event.state == "half open" else 1.0
            return [set_to(plant, "valve_stuck", stuck), set_to(plant, "valve_share", share)]
        case WeldRelay() | DeadRelay() | MendRelay():
            keys = resolve(site, "output", event.where)
            return [_relay(plant, key, event) for key in keys]
        case PowerCut():
            return for_a_while(
                event.lasts,
                lambda: setattr(plant, "mains", False),
                lambda: setattr(plant, "mains", True),
            )
        case _:
            return []


def _unplug(plant: Plant, pump: str, lasts_s: float | None) -> list[Part]:
    return for_a_while(
        lasts_s, lambda: plant.unplugged.add(pump), lambda: plant.unplugged.discard(pump)
    )


def _relay(plant: Plant, key: str, event: WeldRelay | DeadRelay | MendRelay) -> Part:
    if isinstance(event, MendRelay):
        return at_once(lambda: plant.relay_stuck.pop(key, None))
    welded = isinstance(event, WeldRelay)
    return at_once(lambda: plant.relay_stuck.__setitem__(key, welded))
