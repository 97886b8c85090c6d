"""What relied on a sensor, and what still protects without it: no protection goes in silence."""

from __future__ import annotations

from collections.abc import Iterator

from rules.figures import downstream
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, LevelSensor, MainsSensor

SPOKEN = {
    "spill-edge": "the last float before the {place} runs over",
    "drain-watch": "the watch over the drains of the {place}",
    "dry-run": "what keeps the pump from drawing air",
    "top-off": "the top-off",
}


def relied(site: Site, key: str) -> str:
    """What relied on a sensor, in a clause."""
    sensor = site.sensors[key]
    match sensor:
        case FloatSwitch():
            return SPOKEN[sensor.duty].format(place=site.label(sensor.chamber))
        case FlowMeter():
            return "what tells that the pump lifts"
        case LeakSensor():
            return f"what tells of water on {sensor.place}"
        case MainsSensor():
            return "what tells that the supply is gone"
        case LevelSensor():
            return f"the early word on the level of the {site.label(sensor.chamber)}"


def others(site: Site, key: str) -> tuple[str, ...]:
    """The sensors that would trip in its stead, by what the plumbing leads to next."""
    return tuple(name for name in dict.fromkeys(_others(site, key)) if name != key)


def _others(site: Site, key: str) -> Iterator[str]:
    sensor = site.sensors[key]
    match sensor:
        case FloatSwitch(duty="drain-watch"):
            yield from site.levels(sensor.chamber)
            above = (sensor.chamber, *_feeding(site, sensor.chamber))
            for chamber in above:
                yield from site.floats(chamber, "spill-edge")
            yield from _low_floats(site, sensor.chamber)
        case FloatSwitch(duty="spill-edge"):
            yield from site.floats(sensor.chamber, "spill-edge")
            near = (sensor.chamber, *_fed_by(site, sensor.chamber))
            for chamber in near:
                yield from site.floats(chamber, "drain-watch")
                yield from site.levels(chamber)
            yield from _low_floats(site, sensor.chamber)
        case FloatSwitch(duty="dry-run"):
            yield from site.floats(sensor.chamber, "dry-run")
            if site.floats(sensor.chamber, "top-off"):
                yield from _meters(site, sensor.chamber)
        case FloatSwitch():
            yield from site.floats(sensor.chamber, "dry-run")
            yield from site.floats(sensor.chamber, "spill-edge")
        case FlowMeter() | LevelSensor():
            yield from site.floats(duty="drain-watch")
            yield from site.floats(duty="dry-run")
        case LeakSensor() | MainsSensor():
            yield from (k for k, s in site.sensors.items() if type(s) is type(sensor))


def _fed_by(site: Site, chamber: str) -> tuple[str, ...]:
    return tuple(p.to for p in site.gravity().values() if p.from_ == chamber)


def _feeding(site: Site, chamber: str) -> tuple[str, ...]:
    return tuple(p.from_ for p in site.gravity().values() if p.to == chamber)


def _low_floats(site: Site, chamber: str) -> Iterator[str]:
    """What stays above is missing from the chamber of the pump that lifted it."""
    for pump in site.pumps.values():
        if pump.from_ in downstream(site, (chamber,)):
            yield from site.floats(pump.from_, "dry-run")


def _meters(site: Site, chamber: str) -> Iterator[str]:
    for key, sensor in site.sensors.items():
        if isinstance(sensor, FlowMeter):
            for name, pump in site.pumps.items():
                if pump.from_ == chamber and sensor.on in (name, *site.branches(name)):
                    yield key


def sentence(site: Site, key: str) -> str:
    """What relied on it and what guards on, for a person."""
    left = others(site, key)
    names = " and ".join(f"the {site.label(other)}" for other in left[:3])
    guard = (
        f"{names} guard{'s' if len(left[:3]) == 1 else ''} on"
        if left
        else ("nothing else stands in for it")
    )
    return f"{relied(site, key)[0].upper()}{relied(site, key)[1:]} relied on it; {guard}."
