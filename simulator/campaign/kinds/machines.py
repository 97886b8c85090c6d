"""Faults of pumps, top-off, water change, supply and relays."""

from __future__ import annotations

from rules.site.model import Site
from simulator.campaign.kinds.base import Dice, Fault, Happens, Kind, s, share


def _dies(dice: Dice, site: Site) -> Fault | None:
    key, at_s = dice.one_of(list(site.pumps)), dice.onset_s()
    return Fault("pump dies", (key,), at_s, ({"at": s(at_s), "what": "pump dies", "where": key},))


def _worn(dice: Dice, site: Site) -> Fault | None:
    key, at_s = dice.one_of(list(site.pumps)), dice.onset_s()
    happens: Happens = {
        "at": s(at_s),
        "what": "wear",
        "where": key,
        "share": share(dice.between(0.1, 0.8)),
        "over": s(dice.over_s()),
    }
    return Fault("pump worn", (key,), at_s, (happens,))


def _unplugged(dice: Dice, site: Site) -> Fault | None:
    """Somebody forgot to put the plug back."""
    key, at_s = dice.one_of(list(site.pumps)), dice.onset_s()
    happens: Happens = {"at": s(at_s), "what": "unplug", "where": key}
    return Fault("pump unplugged", (key,), at_s, (happens,))


def _valve(dice: Dice, site: Site) -> Fault | None:
    valves = [key for key, output in site.outputs.items() if output.kind == "top-off"]
    if site.top_off is None or not valves:
        return None
    at_s, state = dice.onset_s(), dice.one_of(("open", "half open", "shut"))
    happens: Happens = {"at": s(at_s), "what": "stick valve", "state": state}
    if state == "half open":
        happens["share"] = share(dice.between(0.1, 0.9))
    outputs = frozenset(valves) if state == "open" else frozenset[str]()
    return Fault(f"top-off stuck {state}", (valves[0],), at_s, (happens,), outputs=outputs)


def _change(dice: Dice, site: Site) -> Fault | None:
    if site.water_change is None:
        return None
    at_s = dice.onset_s()
    happens: Happens = {
        "at": s(at_s),
        "what": "water change differs",
        "share": share(dice.between(0.05, 1.0)),
        "more": dice.one_of(("in", "out")),
        "over": s(dice.over_s()),
    }
    return Fault("water change differs", (), at_s, (happens,))


def _power(dice: Dice, site: Site) -> Fault | None:
    del site
    at_s, lasts_s = dice.onset_s(), round(dice.any_size(1.0, 4 * 3600.0), 1)
    happens: Happens = {"at": s(at_s), "what": "power cut", "lasts": s(lasts_s)}
    return Fault("power cut", (), at_s, (happens,), at_s + lasts_s)


def _flickers(dice: Dice, site: Site) -> Fault | None:
    """The mains come and go a few times."""
    del site
    at_s = t_s = dice.onset_s()
    happens: list[Happens] = []
    for _ in range(dice.whole(2, 5)):
        lasts_s = round(dice.any_size(0.5, 60.0), 1)
        happens.append({"at": s(t_s), "what": "power cut", "lasts": s(lasts_s)})
        t_s = round(t_s + lasts_s + dice.any_size(2.0, 120.0), 1)
    happens = [h for h in happens if float(str(h["at"]).split(" ")[0]) < dice.lasts_s]
    return Fault("power flickers", (), at_s, tuple(happens), t_s)


def _relay(dice: Dice, site: Site) -> Fault | None:
    outputs = [key for key, output in site.outputs.items() if output.kind in ("pump", "top-off")]
    if not outputs:
        return None
    key, at_s = dice.one_of(outputs), dice.onset_s()
    what = dice.one_of(("weld relay", "dead relay"))
    happens: Happens = {"at": s(at_s), "what": what, "where": key}
    kind = "relay welded" if what == "weld relay" else "relay dead"
    return Fault(kind, (key,), at_s, (happens,), outputs=frozenset({key}))


KINDS = (
    Kind("pump dies", "pump", _dies, ("flow-lost",)),
    Kind("pump worn", "pump", _worn, ("flow-lost", "flow-weak")),
    Kind("pump unplugged", "pump", _unplugged, ("flow-lost",)),
    Kind("top-off stuck", "top-off", _valve, ("top-off-long", "chamber-high", "dry-run")),
    Kind("water change differs", "water change", _change, ("chamber-high", "dry-run")),
    Kind("power cut", "power", _power, ("mains", "flow-lost")),
    Kind("power flickers", "power", _flickers, ("mains", "flow-lost")),
    Kind(
        "relay fails",
        "output",
        _relay,
        ("flow-lost", "cut-unanswered", "top-off-long", "chamber-high"),
    ),
)
