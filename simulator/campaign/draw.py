"""One night out of many: by the campaign's seed, the night's number and the site, always alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rules.site import show
from rules.site.model import Site
from simulator.campaign import toml_text
from simulator.campaign.kinds import table, water
from simulator.campaign.kinds.base import Dice, Fault, Happens, s
from simulator.campaign.kinds.healthy import ordinary
from simulator.story.drill import Drill
from simulator.story.drill_file import parse_drill

NIGHT_S = 8 * 3600.0
DRY_MOST_S = 10.0
"""A pump may draw air for so long in a night: what a low float and its filter leave."""

TRIES = 40
MANY = (3, 5)
SAME_CHAMBER = 0.7  # of the pairs of drains
ANSWERED = 0.15  # of the bad nights have somebody who resets, cause gone or not


@dataclass(frozen=True, slots=True)
class DrawnNight:
    """A night as drawn: what goes wrong in it, and the drill that tells it.

    `seed` draws the errors of its plant.
    """

    number: int
    label: str
    seed: int
    faults: tuple[Fault, ...]
    drill: Drill
    text: str
    """The drill's file."""


def _draw_of(dice: Dice, site: Site, group: str | None = None) -> Fault | None:
    """Any fault, or one of a group; None if the site has nothing of the kind."""
    names = list(table.GROUPS)
    for _ in range(TRIES):
        chosen = group or dice.weighted(names, list(table.GROUPS.values()))
        kind = dice.one_of(table.of_group(chosen))
        found = kind.draw(dice, site)
        if found is not None:
            dice.after_s = found.at_s
            return replace(found, named_by=kind.named_by)
    return None


def _one(dice: Dice, site: Site) -> list[Fault]:
    found = _draw_of(dice, site)
    assert found is not None  # every site has a pump, and that can die
    return [found]


def _two_drains(dice: Dice, site: Site) -> list[Fault]:
    chambers: dict[str, list[str]] = {}
    for key, chamber in water.drains_of(site).items():
        chambers.setdefault(chamber, []).append(key)
    together = [drains for drains in chambers.values() if len(drains) > 1]
    every = [key for drains in chambers.values() for key in drains]
    if len(every) < 2:
        return []
    from_one = bool(together) and dice.chance(SAME_CHAMBER)
    first, second = dice.some_of(dice.one_of(together) if from_one else every, 2)
    found = water.drain_fault(dice, site, first)
    dice.after_s = found.at_s
    return [found, water.drain_fault(dice, site, second)]


def _drain_and_sensor(dice: Dice, site: Site) -> list[Fault]:
    groups = ["drain", "sensor"] if dice.chance(0.5) else ["sensor", "drain"]
    found = [_draw_of(dice, site, group) for group in groups]
    faults = [fault for fault in found if fault is not None]
    return faults if len(faults) == 2 else []


def _many(dice: Dice, site: Site) -> list[Fault]:
    count = dice.whole(*MANY)
    found: dict[tuple[str, tuple[str, ...]], Fault] = {}
    for _ in range(TRIES):
        if len(found) == count:
            break
        fault = _draw_of(dice, site)
        if fault is not None:
            found.setdefault((fault.kind, fault.where), fault)
    return list(found.values())


LABELS: dict[str, tuple[float, Callable[[Dice, Site], list[Fault]] | None]] = {
    "healthy": (3.0, None),
    "one": (3.0, _one),
    "two-drains": (1.5, _two_drains),
    "drain-and-sensor": (1.5, _drain_and_sensor),
    "many": (1.0, _many),
}
"""Kinds of nights: how often each is drawn against the others, and how its faults are."""


def draw(
    site: Site,
    seed: int,
    number: int,
    *,
    labels: Sequence[str] = tuple(LABELS),
    lasts_s: float = NIGHT_S,
) -> DrawnNight:
    """Night `number` of a campaign's seed; the same whatever came before it.

    A site that has not what a label needs gets one fault instead.
    """
    dice = Dice(f"night {number} of {seed} on {site.site.id}", lasts_s)
    label = dice.weighted(labels, [LABELS[name][0] for name in labels])
    plant_seed = dice.plant_seed()
    faults_of = LABELS[label][1]
    faults: list[Fault] = []
    if faults_of is not None:
        faults = faults_of(dice, site)
        if not faults:
            label, faults = "one", _one(dice, site)
    dice.after_s = None
    happens = [event for fault in faults for event in fault.happens]
    happens += ordinary(dice, site, pauses=not faults)
    if faults and dice.chance(ANSWERED):
        happens.append({"at": s(dice.onset_s()), "what": "reset"})
    faults.sort(key=lambda fault: fault.at_s)
    told = story(site, label, faults, len(happens))
    title = f"Night {number} of seed {seed}"
    text = toml_text.write(_drill(title, told, happens, lasts_s, healthy=not faults))
    return DrawnNight(number, label, plant_seed, tuple(faults), parse_drill(text, "night"), text)


def _drill(
    title: str, told: str, happens: Sequence[Happens], lasts_s: float, *, healthy: bool
) -> dict[str, Any]:
    must_not: list[Happens] = [
        {"what": "spill"},
        {"what": "dry run", "longer_than": s(DRY_MOST_S)},
    ]
    if healthy:
        must_not.append({"what": "pump cut"})
    return {
        "title": title,
        "story": told,
        "starts_at": "22:00",
        "lasts": s(lasts_s),
        "happens": sorted(happens, key=_at_s),
        "must_not": must_not,
    }


def _at_s(event: Happens) -> float:
    return float(str(event["at"]).split(" ")[0])


def story(site: Site, label: str, faults: Sequence[Fault], events: int) -> str:
    """The night in a sentence or two."""
    if not faults:
        return f"A healthy night; {events} ordinary things happen, and nobody should hear of them."
    told = []
    for fault in faults:
        places = ", ".join(site.label(key) for key in fault.where)
        told.append(
            f"{fault.kind}{f' ({places})' if places else ''} at {show.duration(fault.at_s)}"
        )
    return f"{label}: {'; '.join(told)}."
