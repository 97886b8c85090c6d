"""Faults of the guard itself: killed, hung, rebooted, without power, replaced."""

from __future__ import annotations

from rules.site.model import Site
from simulator.campaign.kinds.base import Dice, Fault, Happens, Kind, s


def _away(kind: str, dice: Dice, happens: Happens, away_s: float) -> Fault:
    at_s = dice.onset_s()
    full: Happens = {"at": s(at_s), **happens}
    return Fault(kind, (), at_s, (full,), at_s + away_s)


def _killed(dice: Dice, site: Site) -> Fault | None:
    del site
    away_s, pins = round(dice.any_size(2.0, 120.0), 1), dice.one_of(("held", "let go"))
    happens: Happens = {"what": "guard killed", "back_after": s(away_s), "pins": pins}
    return _away("guard killed", dice, happens, away_s)


def _hangs(dice: Dice, site: Site) -> Fault | None:
    del site
    away_s, pins = round(dice.any_size(0.5, 60.0), 1), dice.one_of(("held", "let go"))
    happens: Happens = {"what": "guard hangs", "lasts": s(away_s), "pins": pins}
    return _away("guard hangs", dice, happens, away_s)


def _reboots(dice: Dice, site: Site) -> Fault | None:
    del site
    away_s = round(dice.between(20.0, 90.0), 1)
    return _away("guard reboots", dice, {"what": "guard reboots", "back_after": s(away_s)}, away_s)


def _unpowered(dice: Dice, site: Site) -> Fault | None:
    del site
    away_s = round(dice.any_size(1.0, 3600.0), 1)
    happens: Happens = {"what": "guard without power", "lasts": s(away_s)}
    return _away("guard without power", dice, happens, away_s + 60.0)


def _upgraded(dice: Dice, site: Site) -> Fault | None:
    del site
    away_s = round(dice.between(4.0, 30.0), 1)
    return _away(
        "guard upgraded", dice, {"what": "guard upgraded", "back_after": s(away_s)}, away_s
    )


KINDS = (
    Kind("guard killed", "guard", _killed, ("lease-lost",)),
    Kind("guard hangs", "guard", _hangs, ("lease-lost",)),
    Kind("guard reboots", "guard", _reboots),
    Kind("guard without power", "guard", _unpowered),
    Kind("guard upgraded", "guard", _upgraded),
)
