"""Roles: "main drain of the first display" and the like, found on whatever site a drill runs.

A role is `[the] [first | second | ... | main | every] THING [of CHAMBER]`, where THING is one of
the words below and CHAMBER is again a role. Without a number the first is meant. An id of the
site does as well.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Literal

from rules.site.model import Site
from rules.site.passages import (
    Branch,
    Comb,
    EmergencyDrain,
    Hole,
    OpenDrain,
    Passage,
    Screen,
    SiphonDrain,
    UnderBaffle,
    Weir,
)
from rules.site.sensors import FlowMeter, LeakSensor, MainsSensor

Sort = Literal[
    "passage", "branch", "chamber", "pump", "valve", "sensor", "pad", "meter", "level", "input",
    "output",
]  # fmt: skip
"""What sort of thing a role stands for: a sensor is a contact here, an input any kind of sensor."""

NUMBERS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
_PHRASE = re.compile(rf"^(?:the )?(?:({'|'.join(NUMBERS)}|main|every) )?(.+?)(?: of (.+))?$")

DRAIN_RANK: tuple[type[Passage], ...] = (SiphonDrain, OpenDrain, EmergencyDrain)
"""The main drain is a siphon where there is one, else the first open drain."""


LEVEL_KINDS = ("level",)
"""Kinds of sensors that measure a level."""


class NoSuchRoleError(LookupError):
    """This site has nothing that plays the role; the text is a sentence."""

    def __str__(self) -> str:
        return str(self.args[0])


Find = Callable[[Site, tuple[str, ...] | None], list[str]]
"""Everything of one word on a site, in order; of these chambers only where they are given."""


def _displays(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    """Chambers a branch feeds that overflow an edge into a drained chamber; else all fed ones."""
    fed = {p.to for p in site.passages.values() if isinstance(p, Branch)}
    drained = set(site.drained_chambers())
    over = {
        p.from_ for p in site.passages.values() if isinstance(p, (Weir, Comb)) and p.to in drained
    }
    return [key for key in site.chambers if key in (fed & over or fed)]


def _boxes(site: Site, of: tuple[str, ...] | None) -> list[str]:
    displays = set(_displays(site, None))
    return [
        key
        for key in site.drained_chambers()
        if key not in displays
        and any(
            isinstance(p, (Weir, Comb)) and p.to == key and (of is None or p.from_ in of)
            for p in site.passages.values()
        )
    ]


def _inlets(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    boxes = set(_boxes(site, None)) or set(site.drained_chambers())
    reached = {d.to for box in boxes for d in site.drains_from(box).values()}
    return [key for key in site.chambers if key in reached]


def _returns(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    drawn = {pump.from_ for pump in site.pumps.values()}
    return [key for key in site.chambers if key in drawn]


def _reservoirs(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    return [] if site.top_off is None else [site.top_off.reservoir]


def _by_the_way(site: Site) -> list[str]:
    """Chambers on a branch of their own that are no display."""
    displays = set(_displays(site, None))
    fed = {p.to for p in site.passages.values() if isinstance(p, Branch)}
    return [key for key in site.chambers if key in fed - displays]


def _called(site: Site, key: str, word: str) -> bool:
    return word in key or word in site.label(key).lower()


def _refugiums(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    """Those called so; where nothing is, any on a branch that is no display."""
    beside = _by_the_way(site)
    return [key for key in beside if _called(site, key, "refugium")] or beside


def _spares(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    return [key for key in site.chambers if _called(site, key, "spare")]


def _drains(*kinds: type[Passage]) -> Find:
    def find(site: Site, of: tuple[str, ...] | None) -> list[str]:
        leaving = None
        if of is not None:
            leaving = {*of, *_boxes(site, of)}
        found = [
            (key, passage)
            for key, passage in site.passages.items()
            if isinstance(passage, kinds)
            and not isinstance(passage, Branch)
            and (leaving is None or passage.from_ in leaving)
        ]
        found.sort(key=lambda pair: DRAIN_RANK.index(type(pair[1])))
        return [key for key, _ in found]

    return find


def _passages(*kinds: type[Passage]) -> Find:
    def find(site: Site, of: tuple[str, ...] | None) -> list[str]:
        return [
            key
            for key, passage in site.passages.items()
            if isinstance(passage, kinds)
            and (of is None or (passage.to if isinstance(passage, Branch) else passage.from_) in of)
        ]

    return find


def _canisters(site: Site, of: tuple[str, ...] | None) -> list[str]:
    branches = {key: p for key, p in site.passages.items() if isinstance(p, Branch)}
    return [
        key
        for key, branch in branches.items()
        if branch.canister is not None and (of is None or branch.to in of)
    ]


def _baffles(site: Site, of: tuple[str, ...] | None) -> list[str]:
    return [key for key in _passages(Weir)(site, of) if site.passages[key].kind == "baffle"]


def _floats(duty: str | None) -> Find:
    def find(site: Site, of: tuple[str, ...] | None) -> list[str]:
        return [
            key
            for key, switch in site.floats(duty=duty).items()
            if of is None or switch.chamber in of
        ]

    return find


def _inputs(kind: type) -> Find:
    def find(site: Site, _of: tuple[str, ...] | None) -> list[str]:
        return [key for key, sensor in site.sensors.items() if isinstance(sensor, kind)]

    return find


def _meters(site: Site, of: tuple[str, ...] | None) -> list[str]:
    found = []
    for key, sensor in site.sensors.items():
        if isinstance(sensor, FlowMeter):
            branches = site.branches(sensor.on)  # none if it sits on a branch itself
            fed = {p.to for p in branches.values()} or {
                p.to for k, p in site.passages.items() if k == sensor.on and isinstance(p, Branch)
            }
            if of is None or fed & set(of):
                found.append(key)
    return found


def _levels(site: Site, of: tuple[str, ...] | None) -> list[str]:
    return [
        key
        for key, sensor in site.sensors.items()
        if sensor.kind in LEVEL_KINDS and (of is None or getattr(sensor, "chamber", None) in of)
    ]


def _outputs(kind: str) -> Find:
    def find(site: Site, of: tuple[str, ...] | None) -> list[str]:
        return [
            key
            for key, output in site.outputs.items()
            if output.kind == kind and (of is None or _serves(site, key, of))
        ]

    return find


def _serves(site: Site, key: str, of: tuple[str, ...]) -> bool:
    """True if an output has to do with one of these chambers."""
    output = site.outputs[key]
    match output.kind:
        case "pump":
            return any(branch.to in of for branch in site.branches(output.pump).values())
        case "top-off":
            return site.top_off is not None and site.top_off.to in of
        case "spare-pump":
            return output.chamber in of
        case _:
            return False


def _pumps(site: Site, of: tuple[str, ...] | None) -> list[str]:
    return [
        key
        for key in site.pumps
        if of is None or any(branch.to in of for branch in site.branches(key).values())
    ]


def _valves(site: Site, _of: tuple[str, ...] | None) -> list[str]:
    return [key for key, output in site.outputs.items() if output.kind == "top-off"]


_CHAMBERS: dict[str, Find] = {
    "display": _displays,
    "overflow box": _boxes,
    "inlet chamber": _inlets,
    "skimmer chamber": _inlets,  # the skimmer stands where the drains end
    "return chamber": _returns,
    "refugium": _refugiums,
    "spare chamber": _spares,
    "reservoir": _reservoirs,
}
_CONTACTS: dict[str, Find] = {
    "float": _floats(None),
    "high float": _floats("spill-edge"),
    "drain-watch float": _floats("drain-watch"),
    "low float": _floats("dry-run"),
    "top-off float": _floats("top-off"),
    "leak pad": _inputs(LeakSensor),
    "mains-present input": _inputs(MainsSensor),
}
_METERS: dict[str, Find] = {"flow meter": _meters}
_LEVELS: dict[str, Find] = {"level sensor": _levels}
WORDS: dict[Sort, dict[str, Find]] = {
    "chamber": _CHAMBERS,
    "passage": {
        "drain": _drains(SiphonDrain, OpenDrain, EmergencyDrain),
        "siphon drain": _drains(SiphonDrain),
        "open drain": _drains(OpenDrain),
        "emergency drain": _drains(EmergencyDrain),
        "comb": _passages(Comb),
        "weir": _passages(Weir),
        "baffle": _baffles,
        "screen": _passages(Screen),
        "sponge": _passages(Screen),
        "hole": _passages(Hole),
        "under-baffle": _passages(UnderBaffle),
        "branch": _passages(Branch),
        "canister": _canisters,
    },
    "branch": {"branch": _passages(Branch), "canister": _canisters},
    "pump": {"return pump": _pumps},
    "valve": {"top-off valve": _valves},
    "sensor": _CONTACTS,
    "pad": {"leak pad": _inputs(LeakSensor)},
    "meter": _METERS,
    "level": _LEVELS,
    "input": _CONTACTS | _METERS | _LEVELS,
    "output": {
        "pump relay": _outputs("pump"),
        "top-off valve": _outputs("top-off"),
        "spare pump": _outputs("spare-pump"),
        "sounder": _outputs("sounder"),
    },
}


def _ids(site: Site, sort: Sort) -> list[str]:
    """The ids that a role of this sort may name outright."""
    match sort:
        case "chamber":
            return list(site.chambers)
        case "passage":
            return list(site.passages)
        case "branch":
            return [key for key in site.passages if key not in site.gravity()]
        case "pump":
            return list(site.pumps)
        case "valve":
            return _valves(site, None)
        case "meter" | "level":
            return next(iter(WORDS[sort].values()))(site, None)
        case "pad":
            return _inputs(LeakSensor)(site, None)
        case "sensor":
            others = {*_meters(site, None), *_levels(site, None)}
            return [key for key in site.sensors if key not in others]
        case "input":
            return list(site.sensors)
        case "output":
            return [key for key, output in site.outputs.items() if output.kind != "heartbeat"]


def check_phrase(sort: Sort, text: str) -> str:
    """Refuse a role that no site could have: raises ValueError with a sentence.

    One word may be the id of a thing on some site, so it passes.
    """
    if " " not in text.strip():
        return text
    found = _PHRASE.match(text)
    assert found is not None  # anything is at least a thing
    which, thing, owner = found.groups()
    if thing not in WORDS[sort]:
        words = ", ".join(WORDS[sort])
        raise ValueError(f'"{thing}" is no {sort} that a drill can name; it knows {words}')
    if which == "main" and "drain" not in thing:
        raise ValueError(f'only a drain can be the main one; write "first {thing}"')
    if owner is not None:
        check_phrase("chamber", owner)
    return text


def resolve(site: Site, sort: Sort, text: str) -> tuple[str, ...]:
    """The ids that play a role on this site; raises NoSuchRoleError."""
    if text in _ids(site, sort):
        return (text,)
    found = _PHRASE.match(text)
    which, thing, owner = found.groups() if found else (None, text, None)
    find = WORDS[sort].get(thing)
    if find is None:
        raise NoSuchRoleError(f'{site.site.name} has no {sort} called "{text}"')
    of = None if owner is None else resolve(site, "chamber", owner)
    things = find(site, of)
    if which == "every":
        if things:
            return tuple(things)
    else:
        place = NUMBERS.index(which) if which in NUMBERS else 0
        if place < len(things):
            return (things[place],)
    raise NoSuchRoleError(
        f"{site.site.name} has no {text.removeprefix('the ').removeprefix('every ')}"
    )
