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

Sort = Literal["passage", "branch", "chamber", "pump", "valve", "sensor", "meter"]
"""What sort of thing a role stands for."""

NUMBERS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
_PHRASE = re.compile(rf"^(?:the )?(?:({'|'.join(NUMBERS)}|main|every) )?(.+?)(?: of (.+))?$")

DRAIN_RANK: tuple[type[Passage], ...] = (SiphonDrain, OpenDrain, EmergencyDrain)
"""The main drain is a siphon where there is one, else the first open drain."""


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
    "return chamber": _returns,
    "reservoir": _reservoirs,
}
WORDS: dict[Sort, dict[str, Find]] = {
    "chamber": _CHAMBERS,
    "passage": {
        "drain": _drains(SiphonDrain, OpenDrain, EmergencyDrain),
        "siphon drain": _drains(SiphonDrain),
        "open drain": _drains(OpenDrain),
        "emergency drain": _drains(EmergencyDrain),
        "comb": _passages(Comb),
        "weir": _passages(Weir),
        "screen": _passages(Screen),
        "hole": _passages(Hole),
        "under-baffle": _passages(UnderBaffle),
        "branch": _passages(Branch),
    },
    "branch": {"branch": _passages(Branch)},
    "pump": {"return pump": _pumps},
    "valve": {"top-off valve": _valves},
    "sensor": {
        "high float": _floats("spill-edge"),
        "drain-watch float": _floats("drain-watch"),
        "low float": _floats("dry-run"),
        "top-off float": _floats("top-off"),
        "leak pad": _inputs(LeakSensor),
        "mains-present input": _inputs(MainsSensor),
    },
    "meter": {"flow meter": _inputs(FlowMeter)},
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
        case "meter":
            return _inputs(FlowMeter)(site, None)
        case "sensor":
            meters = _inputs(FlowMeter)(site, None)
            return [key for key in site.sensors if key not in meters]


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
