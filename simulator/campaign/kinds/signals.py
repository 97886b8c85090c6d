"""Faults of sensors and their cables."""

from __future__ import annotations

from math import inf

from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, MainsSensor
from simulator.campaign.kinds.base import Dice, Fault, Happens, Kind, litres, mm, s, share


def _inputs(site: Site, *kinds: type) -> list[str]:
    return [key for key, sensor in site.sensors.items() if isinstance(sensor, kinds)]


def _contacts(site: Site) -> list[str]:
    return _inputs(site, FloatSwitch, LeakSensor, MainsSensor)


def _bad(
    kind: str, key: str, at_s: float, happens: Happens, ends_s: float = inf, *after: Happens
) -> Fault:
    full: Happens = {"at": s(at_s), **happens}
    return Fault(kind, (key,), at_s, (full, *after), ends_s, sensors=frozenset({key}))


def _stuck(dice: Dice, site: Site) -> Fault | None:
    contacts = _contacts(site)
    if not contacts:
        return None
    key = dice.one_of(contacts)
    supply = isinstance(site.sensors[key], MainsSensor)
    state = dice.one_of(("present", "lost") if supply else ("wet", "dry"))
    happens: Happens = {"what": "stick", "where": key, "state": state}
    return _bad("contact stuck", key, dice.onset_s(), happens)


def _cut(dice: Dice, site: Site) -> Fault | None:
    if not site.sensors:
        return None
    key = dice.one_of(list(site.sensors))
    return _bad("cable cut", key, dice.onset_s(), {"what": "cut cable", "where": key})


def _loose(dice: Dice, site: Site) -> Fault | None:
    if not site.sensors:
        return None
    key, at_s = dice.one_of(list(site.sensors)), dice.onset_s()
    a_minute = round(dice.any_size(0.2, 60.0), 2)
    apart_s = round(min(dice.any_size(0.1, 10.0), 30.0 / a_minute), 1) or 0.1
    lasts_s = round(dice.any_size(60.0, 3600.0), 1)
    happens: Happens = {
        "what": "loose cable",
        "where": key,
        "a_minute": a_minute,
        "for": s(apart_s),
        "lasts": s(lasts_s),
    }
    return _bad("cable loose", key, at_s, happens, at_s + lasts_s)


def _swapped(dice: Dice, site: Site) -> Fault | None:
    floats = list(site.floats())
    if len(floats) < 2:
        return None
    (one, other), at_s = dice.some_of(floats, 2), dice.onset_s()
    happens: Happens = {"at": s(at_s), "what": "swap", "where": one, "with": other}
    both = frozenset({one, other})
    return Fault("floats swapped", (one, other), at_s, (happens,), sensors=both)


def _splashed(dice: Dice, site: Site) -> Fault | None:
    keys = _inputs(site, FloatSwitch, LeakSensor)
    if not keys:
        return None
    key, at_s = dice.one_of(keys), dice.onset_s()
    lasts_s = round(dice.any_size(60.0, 3600.0), 1)
    drops = round(dice.any_size(1.0, 120.0), 1)
    happens: Happens = {"what": "splash", "where": key, "lasts": s(lasts_s), "drops": drops}
    return _bad("contact splashed", key, at_s, happens, at_s + lasts_s)


def _dull(dice: Dice, site: Site) -> Fault | None:
    pads = _inputs(site, LeakSensor)
    if not pads:
        return None
    key, volume = dice.one_of(pads), litres(dice.any_size(0.001, 0.05))
    happens: Happens = {"what": "dull pad", "where": key, "volume": volume}
    return _bad("pad dull", key, dice.onset_s(), happens)


def _silent(dice: Dice, site: Site) -> Fault | None:
    meters = _inputs(site, FlowMeter)
    if not meters:
        return None
    key = dice.one_of(meters)
    return _bad("meter silent", key, dice.onset_s(), {"what": "silence", "where": key})


def _drifts(dice: Dice, site: Site) -> Fault | None:
    meters = _inputs(site, FlowMeter)
    if not meters:
        return None
    key = dice.one_of(meters)
    happens: Happens = {
        "what": "drift",
        "where": key,
        "share": share(dice.between(0.05, 0.5)),
        "to": dice.one_of(("more", "less")),
        "over": s(dice.over_s()),
    }
    return _bad("meter drifts", key, dice.onset_s(), happens)


def _fouled(dice: Dice, site: Site) -> Fault | None:
    meters = _inputs(site, FlowMeter)
    if not meters:
        return None
    key = dice.one_of(meters)
    lost, over = share(dice.between(0.05, 0.9)), s(dice.over_s())
    happens: Happens = {"what": "foul", "where": key, "share": lost, "over": over}
    return _bad("meter fouled", key, dice.onset_s(), happens)


def _noisy(dice: Dice, site: Site) -> Fault | None:
    meters = _inputs(site, FlowMeter)
    if not meters:
        return None
    key, a_second = dice.one_of(meters), round(dice.any_size(1.0, 1000.0), 1)
    at_s = dice.onset_s()
    ends_s = at_s + dice.any_size(60.0, 3600.0)  # while the motor beside it runs
    happens: Happens = {"what": "noise", "where": key, "a_second": a_second}
    if ends_s >= dice.lasts_s:
        return _bad("meter noisy", key, at_s, happens)
    over: Happens = {"at": s(ends_s), "what": "quiet", "where": key}
    return _bad("meter noisy", key, at_s, happens, ends_s, over)


def _level(dice: Dice, site: Site) -> Fault | None:
    levels = [key for key, sensor in site.sensors.items() if sensor.kind == "level"]
    if not levels:
        return None
    key, at_s = dice.one_of(levels), dice.onset_s()
    what = dice.one_of(("offset", "hiss", "drop out", "freeze"))
    happens: Happens = {"what": what, "where": key}
    ends_s = inf
    if what == "offset":
        by, to = mm(dice.any_size(0.002, 0.1)), dice.one_of(("more", "less"))
        happens |= {"by": by, "to": to, "over": s(dice.over_s())}
    elif what == "hiss":
        happens["spread"] = mm(dice.any_size(0.001, 0.03))
    else:
        lasts_s = round(dice.any_size(1.0, 3600.0), 1)
        happens["lasts"] = s(lasts_s)
        ends_s = at_s + lasts_s
    return _bad(f"level sensor: {what}", key, at_s, happens, ends_s)


KINDS = (
    Kind("contact stuck", "sensor", _stuck),
    Kind("cable cut", "sensor", _cut),
    Kind("cable loose", "sensor", _loose),
    Kind("floats swapped", "sensor", _swapped),
    Kind("contact splashed", "sensor", _splashed),
    Kind("pad dull", "sensor", _dull),
    Kind("meter silent", "sensor", _silent, ("flow-lost",)),
    Kind("meter drifts", "sensor", _drifts),
    Kind("meter fouled", "sensor", _fouled, ("flow-lost",)),
    Kind("meter noisy", "sensor", _noisy),
    Kind("level sensor fails", "sensor", _level),
)
"""Any alarm about the sensor itself names it too."""
