"""Faults of drains, edges, screens, branches, tanks and of what feeds them."""

from __future__ import annotations

from dataclasses import replace
from math import inf

from rules.site.model import Site
from rules.site.passages import Branch, Comb, Screen, SiphonDrain, Weir
from simulator.campaign.kinds.base import (
    Dice,
    Fault,
    Happens,
    Kind,
    litres,
    litres_a_minute,
    s,
    share,
)

DRAIN_NAMED = ("drain-fouling", "drain-loss", "drain-capacity", "spill-edge")
SCREEN_NAMED = ("chamber-high", "spill-edge", "dry-run", "screen-clogging")
BRANCH_NAMED = ("flow-lost", "flow-weak", "drain-capacity", "drain-loss")
CLEARED = 0.15  # so often what sat in a passage is gone again before morning


def drains_of(site: Site) -> dict[str, str]:
    """Every drain, with the chamber it leaves."""
    return {
        key: chamber for chamber in site.drained_chambers() for key in site.drains_from(chamber)
    }


def blocked(dice: Dice, kind: str, keys: tuple[str, ...], at_s: float, lost: float) -> Fault:
    """Passages that come to carry less, and sometimes are clear again later."""
    over_s = dice.over_s()
    happens: list[Happens] = [
        {"at": s(at_s), "what": "block", "where": key, "share": share(lost), "over": s(over_s)}
        for key in keys
    ]
    ends_s = inf
    if dice.chance(CLEARED):
        ends_s = round(at_s + over_s + dice.any_size(60.0, 7200.0), 1)
        if ends_s < dice.lasts_s:
            happens += [{"at": s(ends_s), "what": "unblock", "where": key} for key in keys]
        else:
            ends_s = inf
    return Fault(kind, keys, at_s, tuple(happens), ends_s, passages=frozenset(keys))


def drain_fault(dice: Dice, site: Site, key: str) -> Fault:
    """Whatever can befall one drain."""
    if isinstance(site.passages[key], SiphonDrain) and dice.chance(0.2):
        return _of_a_siphon(dice, site, key, "draws air" if dice.chance(0.7) else "loses prime")
    found = blocked(dice, "drain blocked", (key,), dice.onset_s(), dice.lost())
    return _of_a_drain(site, found)


def _of_a_drain(site: Site, fault: Fault) -> Fault:
    """Felt in the chamber that the drain leaves."""
    felt_in = tuple({drains_of(site)[key] for key in fault.passages})
    return replace(fault, named_by=DRAIN_NAMED, felt_in=felt_in)


def _of_a_siphon(dice: Dice, site: Site, key: str, what: str) -> Fault:
    at_s = dice.onset_s()
    happens: Happens = {"at": s(at_s), "what": what, "where": key}
    found = Fault(f"drain {what}", (key,), at_s, (happens,), passages=frozenset({key}))
    return _of_a_drain(site, found)


def _drain_blocked(dice: Dice, site: Site) -> Fault | None:
    drains = list(drains_of(site))
    if not drains:
        return None
    found = blocked(dice, "drain blocked", (dice.one_of(drains),), dice.onset_s(), dice.lost())
    return _of_a_drain(site, found)


def _siphons(site: Site) -> list[str]:
    return [key for key, p in site.passages.items() if isinstance(p, SiphonDrain)]


def _draws_air(dice: Dice, site: Site) -> Fault | None:
    siphons = _siphons(site)
    if not siphons:
        return None
    return _of_a_siphon(dice, site, dice.one_of(siphons), "draws air")


def _loses_prime(dice: Dice, site: Site) -> Fault | None:
    siphons = _siphons(site)
    if not siphons:
        return None
    return _of_a_siphon(dice, site, dice.one_of(siphons), "loses prime")


def _all_drains(dice: Dice, site: Site) -> Fault | None:
    chambers = site.drained_chambers()
    if not chambers:
        return None
    keys = tuple(site.drains_from(dice.one_of(chambers)))
    lost = 1.0 if dice.chance(0.5) else round(dice.between(0.7, 1.0), 3)
    return _of_a_drain(site, blocked(dice, "all drains blocked", keys, dice.onset_s(), lost))


def _way_in(dice: Dice, site: Site) -> Fault | None:
    drained = set(site.drained_chambers())
    edges = [
        key
        for key, p in site.gravity().items()
        if isinstance(p, (Weir, Comb)) and p.to in drained and p.from_ not in drained
    ]
    if not edges:
        return None
    return blocked(dice, "way in blocked", (dice.one_of(edges),), dice.onset_s(), dice.lost())


def _screen(dice: Dice, site: Site) -> Fault | None:
    screens = [key for key, p in site.gravity().items() if isinstance(p, Screen)]
    if not screens:
        return None
    return blocked(dice, "screen clogged", (dice.one_of(screens),), dice.onset_s(), dice.lost())


def _way_on(dice: Dice, site: Site) -> Fault | None:
    """A baffle, slot or hole below the drains; or a screen and whatever leads past it, together."""
    drained, drains = set(site.drained_chambers()), drains_of(site)
    ways = {
        key: p
        for key, p in site.gravity().items()
        if key not in drains and not (isinstance(p, (Weir, Comb)) and p.to in drained)
    }
    screens = [p for p in ways.values() if isinstance(p, Screen)]
    if screens and dice.chance(0.3):
        before = dice.one_of(screens).from_
        keys = tuple(key for key, p in ways.items() if p.from_ == before)
    else:
        open_ways = [key for key, p in ways.items() if not isinstance(p, Screen)]
        if not open_ways:
            return None
        keys = (dice.one_of(open_ways),)
    return blocked(dice, "way on blocked", keys, dice.onset_s(), dice.lost())


def _branches(site: Site) -> dict[str, Branch]:
    return {key: p for key, p in site.passages.items() if isinstance(p, Branch)}


def _branch(dice: Dice, site: Site) -> Fault | None:
    key = dice.one_of(list(_branches(site)))
    return blocked(dice, "branch grown shut", (key,), dice.onset_s(), dice.lost())


def _hose(dice: Dice, site: Site) -> Fault | None:
    key, at_s = dice.one_of(list(_branches(site))), dice.onset_s()
    part = share(dice.any_size(0.01, 1.0))
    happens: list[Happens] = [{"at": s(at_s), "what": "hose slips", "where": key, "share": part}]
    return Fault("hose slips", (key,), at_s, tuple(happens))


def _siphon_break(dice: Dice, site: Site) -> Fault | None:
    """A plugged siphon break does nothing until the pump stops: a feeding pause follows it."""
    breaks = {key: b for key, b in _branches(site).items() if b.siphon_break is not None}
    if not breaks:
        return None
    key, at_s = dice.one_of(list(breaks)), dice.onset_s()
    happens: list[Happens] = [{"at": s(at_s), "what": "plug siphon break", "where": key}]
    if dice.chance(0.7):
        pause_s = at_s + dice.any_size(60.0, 3600.0)
        lasts_s = dice.any_size(60.0, 1800.0)
        if pause_s < dice.lasts_s:
            pump = breaks[key].pump
            happens.append({"at": s(pause_s), "what": "unplug", "where": pump, "lasts": s(lasts_s)})
    return Fault("siphon break plugged", (key,), at_s, tuple(happens))


def _leak(dice: Dice, site: Site) -> Fault | None:
    key, at_s = dice.one_of(list(site.chambers)), dice.onset_s()
    flow = litres_a_minute(dice.any_size(0.05, 20.0) / 6e4)
    happens: list[Happens] = [
        {"at": s(at_s), "what": "leak", "where": key, "flow": flow, "over": s(dice.over_s(3600.0))}
    ]
    return Fault("leak", (key,), at_s, tuple(happens))


def _carried_off(dice: Dice, site: Site) -> Fault | None:
    """A skimmer that foams over into a drain, or a forgotten hose: water goes, onto no floor."""
    if site.top_off is None:
        return None
    reservoir = site.top_off.reservoir
    key = dice.one_of([key for key in site.chambers if key != reservoir])
    at_s = dice.onset_s()
    happens: list[Happens] = [
        {
            "at": s(at_s),
            "what": "lose water",
            "where": key,
            "volume": litres(dice.any_size(0.002, 0.04)),
            "over": s(dice.any_size(60.0, 4 * 3600.0)),
        }
    ]
    return Fault("water carried off", (key,), at_s, tuple(happens))


KINDS = (
    Kind("drain blocked", "drain", _drain_blocked, DRAIN_NAMED),
    Kind("drain draws air", "drain", _draws_air, DRAIN_NAMED),
    Kind("drain loses prime", "drain", _loses_prime, DRAIN_NAMED),
    Kind("all drains blocked", "all drains", _all_drains, DRAIN_NAMED),
    Kind("way in blocked", "way in", _way_in, ("spill-edge", "drain-capacity", "dry-run")),
    Kind("screen clogged", "screen", _screen, SCREEN_NAMED),
    Kind("way on blocked", "screen", _way_on, ("chamber-high", "spill-edge", "dry-run")),
    Kind("branch grown shut", "branch", _branch, BRANCH_NAMED),
    Kind("hose slips", "branch", _hose, ("leak", "dry-run", "top-off-long", "water-lost")),
    Kind("siphon break plugged", "branch", _siphon_break, ("siphon-break", "chamber-high")),
    Kind("leak", "leak", _leak, ("leak", "dry-run", "top-off-long", "water-lost")),
    Kind("water carried off", "leak", _carried_off, ("dry-run", "top-off-long", "water-lost")),
)
