"""What happens to sensors and their cables, done to what stands for them."""

from __future__ import annotations

from rules.site.model import Site
from simulator.signals.cable import Cable
from simulator.signals.contacts import Contact, Pad
from simulator.signals.levels import Level
from simulator.signals.sensing import Sensors
from simulator.signals.stand import Stand
from simulator.story.acts import Part, at_once, for_a_while, ramp_field, set_to
from simulator.story.happenings import Happening
from simulator.story.happenings_signals import (
    CutCable,
    DriftMeter,
    DullPad,
    FoulMeter,
    FreeSensor,
    LevelDropsOut,
    LevelFreezes,
    LevelHiss,
    LevelOffset,
    LooseCable,
    MendCable,
    NoisyMeter,
    QuietMeter,
    ReviveMeter,
    SilenceMeter,
    Splash,
    StickSensor,
    Swap,
    Unswap,
)
from simulator.story.roles import NoSuchRoleError, resolve


def to_the_contacts(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that are of contacts; none if it is of another kind."""
    sensors = stand.sensors
    match event:
        case StickSensor() | FreeSensor():
            stuck = event.state in ("wet", "present") if isinstance(event, StickSensor) else None
            keys = resolve(site, "sensor", event.where)
            return [set_to(sensors.contacts[key], "stuck", stuck) for key in keys]
        case Swap():
            (one, *_), (other, *_) = (
                resolve(site, "sensor", event.where), resolve(site, "sensor", event.with_)
            )  # fmt: skip
            if one == other:
                raise NoSuchRoleError(
                    f"{site.site.name} has one {site.label(one)} only: there is nothing to swap"
                )
            return [at_once(lambda: sensors.swap(one, other))]
        case Unswap():
            return [at_once(sensors.unswap)]
        case Splash():
            keys = resolve(site, "sensor", event.where)
            wettable = [key for key in keys if sensors.contacts[key].watched.drop_s is not None]
            if not wettable:
                raise NoSuchRoleError(f"no water reaches the {site.label(keys[0])}")
            return [
                part
                for key in wettable
                for part in _splash(sensors.contacts[key], event.drops, event.lasts)
            ]
        case DullPad():
            pads = (sensors.contacts[key].watched for key in resolve(site, "pad", event.where))
            return [set_to(pad, "least_m3", event.volume) for pad in pads if isinstance(pad, Pad)]
        case _:
            return []


def to_the_cables(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that are of cables; none if it is of another kind."""
    match event:
        case CutCable():
            wired = _wired(site, stand.sensors, event.where)
            return [set_to(sensor, "cable_cut", True) for sensor in wired]
        case MendCable():
            return [at_once(sensor.mend) for sensor in _wired(site, stand.sensors, event.where)]
        case LooseCable():
            return [
                part
                for sensor in _wired(site, stand.sensors, event.where)
                for part in _loosen(sensor, event)
            ]
        case _:
            return []


def to_the_meters(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that are of flow meters; none if it is of another kind."""
    if not isinstance(
        event, SilenceMeter | ReviveMeter | DriftMeter | FoulMeter | NoisyMeter | QuietMeter
    ):
        return []
    meters = [stand.sensors.meters[key] for key in resolve(site, "meter", event.where)]
    match event:
        case SilenceMeter():
            return [set_to(meter, "silent", True) for meter in meters]
        case ReviveMeter():
            return [
                set_to(meter, field, value)
                for meter in meters
                for field, value in (("silent", False), ("fouled", 0.0))
            ]
        case DriftMeter():
            goal = event.share if event.to == "more" else -event.share
            return [ramp_field(meter, "drift", goal, event.over) for meter in meters]
        case FoulMeter():
            return [ramp_field(meter, "fouled", event.share, event.over) for meter in meters]
        case NoisyMeter():
            return [set_to(meter, "noise_hz", event.a_second) for meter in meters]
        case QuietMeter():
            return [set_to(meter, "noise_hz", 0.0) for meter in meters]


def to_the_levels(site: Site, stand: Stand, event: Happening) -> list[Part]:
    """The parts of a happening that are of level sensors; none if it is of another kind."""
    if not isinstance(event, LevelOffset | LevelHiss | LevelDropsOut | LevelFreezes):
        return []
    levels = [stand.sensors.levels[key] for key in resolve(site, "level", event.where)]
    match event:
        case LevelOffset():
            goal = event.by if event.to == "more" else -event.by
            return [ramp_field(level, "off_m", goal, event.over) for level in levels]
        case LevelHiss():
            return [set_to(level, "hiss_m", event.spread) for level in levels]
        case LevelDropsOut():
            return [part for level in levels for part in _flag(level, "lost", event.lasts)]
        case LevelFreezes():
            return [part for level in levels for part in _flag(level, "frozen", event.lasts)]


def _wired(site: Site, sensors: Sensors, where: str) -> list[Cable]:
    everything: dict[str, Cable] = {**sensors.contacts, **sensors.meters, **sensors.levels}
    return [everything[key] for key in resolve(site, "input", where)]


def _splash(contact: Contact, drops: float, lasts_s: float) -> list[Part]:
    return for_a_while(lasts_s, lambda: contact.splash(drops), lambda: contact.splash(0.0))


def _loosen(sensor: Cable, event: LooseCable) -> list[Part]:
    return for_a_while(event.lasts, lambda: sensor.loosen(event.a_minute, event.for_), sensor.mend)


def _flag(level: Level, field: str, lasts_s: float | None) -> list[Part]:
    return for_a_while(
        lasts_s, lambda: setattr(level, field, True), lambda: setattr(level, field, False)
    )
