"""What happens on healthy nights, and should disturb nobody."""

from __future__ import annotations

from rules.site.model import Site
from rules.site.passages import Branch
from rules.site.sensors import FlowMeter
from simulator.campaign.kinds.base import Dice, Happens, litres, mm, s, share

MOST = 4  # of such things in a night


def _open_chambers(site: Site) -> list[str]:
    """Where people put their hands: what the pumps feed."""
    return list(dict.fromkeys(p.to for p in site.passages.values() if isinstance(p, Branch)))


def _hand(dice: Dice, site: Site) -> list[Happens]:
    """A hand in the tank: small waves, and an arm's volume."""
    where, at_s = dice.one_of(_open_chambers(site)), dice.onset_s()
    lasts = s(dice.any_size(5.0, 300.0))
    # an arm is a litre or two, and less in a small tank
    most_m3 = min(0.002, 0.002 * site.chambers[where].plan_m2(site.chambers[where].rim))
    volume = litres(dice.between(0.2, 1.0) * most_m3)
    waves = mm(dice.between(0.001, 0.004))
    return [
        {"at": s(at_s), "what": "stir", "where": where, "height": waves, "lasts": lasts},
        {"at": s(at_s), "what": "displace", "where": where, "volume": volume, "lasts": lasts},
    ]


def _waves(dice: Dice, site: Site) -> list[Happens]:
    """A pump in the tank that makes waves for a while."""
    where, height = dice.one_of(_open_chambers(site)), mm(dice.between(0.001, 0.005))
    lasts = s(dice.any_size(60.0, 7200.0))
    at = s(dice.onset_s())
    return [{"at": at, "what": "stir", "where": where, "height": height, "lasts": lasts}]


def _dry_air(dice: Dice, site: Site) -> list[Happens]:
    del site
    return [{"at": s(dice.onset_s()), "what": "dry air", "a_day": share(dice.between(0.01, 0.06))}]


def _feeding(dice: Dice, site: Site) -> list[Happens]:
    """The pump is unplugged for a meal, and plugged in again."""
    where, lasts = dice.one_of(list(site.pumps)), s(dice.any_size(60.0, 1800.0))
    return [{"at": s(dice.onset_s()), "what": "unplug", "where": where, "lasts": lasts}]


def _pause(dice: Dice, site: Site) -> list[Happens]:
    """A pause as it should be: ordered at the guard, which ends it by itself."""
    kind, lasts = dice.one_of(("feeding", "rinsing", "cleaning")), s(dice.any_size(60.0, 600.0))
    where = dice.one_of(list(site.pumps))
    at = s(dice.onset_s())
    return [{"at": at, "what": "pause", "kind": kind, "for": lasts, "where": where}]


def _meter(dice: Dice, site: Site) -> list[Happens]:
    """A meter wanders a little, as all do."""
    meters = [key for key, sensor in site.sensors.items() if isinstance(sensor, FlowMeter)]
    if not meters:
        return []
    return [
        {
            "at": s(dice.onset_s()),
            "what": "drift",
            "where": dice.one_of(meters),
            "share": share(dice.between(0.002, 0.02)),
            "to": dice.one_of(("more", "less")),
            "over": s(dice.any_size(600.0, 4 * 3600.0)),
        }
    ]


def _noise(dice: Dice, site: Site) -> list[Happens]:
    """A few pulses from the lamp's switch, now and then."""
    meters = [key for key, sensor in site.sensors.items() if isinstance(sensor, FlowMeter)]
    if not meters:
        return []
    where, at_s = dice.one_of(meters), dice.onset_s()
    a_second = round(dice.any_size(0.05, 2.0), 2)
    return [{"at": s(at_s), "what": "noise", "where": where, "a_second": a_second}]


def _scoop(dice: Dice, site: Site) -> list[Happens]:
    """Somebody takes a jug of water for a test."""
    where, volume = dice.one_of(_open_chambers(site)), litres(dice.between(0.0001, 0.001))
    return [{"at": s(dice.onset_s()), "what": "lose water", "where": where, "volume": volume}]


PAUSES = (_feeding, _pause)
ORDINARY = (_hand, _waves, _dry_air, *PAUSES, _meter, _noise, _scoop)


def ordinary(dice: Dice, site: Site, *, pauses: bool = True) -> list[Happens]:
    """What else happens on a night, a few things at most.

    Pauses are left out where they would hide in which order things went wrong.
    """
    kinds = [kind for kind in ORDINARY if pauses or kind not in PAUSES]
    chosen = dice.some_of(kinds, dice.whole(0, MOST))
    return [happens for kind in chosen for happens in kind(dice, site)]
