"""What the assessment said of a site before the first night, and what it so promises of a night.

A plain table: whoever runs a campaign fills it from the rules, which the simulator does not ask.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.site.model import Site
from simulator.campaign.kinds.base import Fault


@dataclass(frozen=True, slots=True)
class Promise:
    """One failure of the plumbing: these passages blocked.

    `carried` if no water leaves a tank even at worst and with no guard. `in_time` are the sensors
    of which each by itself cuts the pump in time, at worst.
    """

    title: str
    passages: frozenset[str]
    carried: bool
    in_time: tuple[str, ...]

    def kept_without(self, sensors: frozenset[str]) -> bool:
        """True if it holds although these sensors cannot be believed."""
        return self.carried or any(sensor not in sensors for sensor in self.in_time)


@dataclass(frozen=True, slots=True)
class Promises:
    """All that a site's assessment says about water on the floor, each at worst.

    Whether what runs down after a stop fits below; with plugged siphon breaks, by pump; whether a
    whole reservoir fits, and whether a stop still fits after it.
    """

    blocked: tuple[Promise, ...]
    stop_fits: bool
    plugged_stop_fits: dict[str, bool]
    reservoir_fits: bool
    stop_after_reservoir_fits: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """What may be asked of the guard in one night.

    `dry_floor`: no water over a rim. `never_dry`: no pump draws air for longer than its low float
    leaves. `why` says why not, as the assessment does.
    """

    dry_floor: bool
    never_dry: bool
    why: str = ""


WAYS = ("way in blocked", "screen clogged", "way on blocked")
"""Faults of ways that are no drains, for each of which the assessment has an answer."""

MANY_SAID = "several things fail at once, which no assessment covers"


def asked(site: Site, promises: Promises, label: str, faults: Sequence[Fault]) -> Asked:
    """What the assessment promises of a night with these faults."""
    bad = frozenset(key for fault in faults for key in fault.sensors)
    stuck = frozenset(key for fault in faults for key in fault.outputs)
    never_dry = label != "many" and _never_dry(site, bad, stuck, faults)
    why = MANY_SAID if label == "many" else _why_not(site, promises, faults, bad)
    return Asked(not why, never_dry, why)


def _never_dry(
    site: Site, bad: frozenset[str], stuck: frozenset[str], faults: Sequence[Fault]
) -> bool:
    """True if every pump has a relay that obeys and a low float that can be believed."""
    if any(fault.kind.startswith("guard ") for fault in faults):
        return False
    for pump, what in site.pumps.items():
        relay = site.pump_output(pump)
        lows = site.floats(what.from_, "dry-run")
        if relay is None or relay in stuck or not lows or not (lows.keys() - bad):
            return False
    return True


def _why_not(site: Site, promises: Promises, faults: Sequence[Fault], bad: frozenset[str]) -> str:
    """Why water on the floor was to be expected; empty if it was not."""
    if not promises.stop_fits:
        return "every stop of the pump spills"
    for chamber in site.drained_chambers():
        drains = frozenset(site.drains_from(chamber))
        hit = frozenset(key for fault in faults for key in fault.passages if key in drains)
        if hit and (why := _broken(promises, hit, bad)):
            return why
    drains = frozenset(k for c in site.drained_chambers() for k in site.drains_from(c))
    for fault in faults:
        if fault.kind in WAYS and (why := _broken(promises, fault.passages - drains, bad)):
            return why
        if fault.kind == "siphon break plugged":
            pumps = {getattr(site.passages[key], "pump", "") for key in fault.where}
            if not all(promises.plugged_stop_fits.get(pump, False) for pump in pumps):
                return "a stop with a plugged siphon break spills"
        if _lets_in(site, fault):
            if not promises.reservoir_fits:
                return "the whole reservoir does not fit in the sump"
            if len(faults) > 1 and not promises.stop_after_reservoir_fits:
                return "a stop after the whole reservoir has run in spills"
    return ""


def _lets_in(site: Site, fault: Fault) -> bool:
    """True if nothing shuts the top-off any more."""
    valve = any(site.outputs[key].kind == "top-off" for key in fault.outputs)
    return valve and fault.kind != "relay dead"


def _broken(promises: Promises, hit: frozenset[str], bad: frozenset[str]) -> str:
    """Why a set of blocked passages is not promised to be held; empty if it is."""
    covering = [promise for promise in promises.blocked if hit <= promise.passages]
    if not covering:
        return "the assessment says nothing of it"
    nearest = min(covering, key=lambda promise: len(promise.passages))
    if nearest.kept_without(bad):
        return ""
    if nearest.kept_without(frozenset()):
        return f"{nearest.title}: only what cannot be believed would see it in time"
    return f"{nearest.title}: the guard comes too late for it"
