"""Checks of a site's own rows: each watches what this site can know, and cuts what it may."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rules.site.finding import Finding
from rules.site.model import Site
from rules.site.own_rows import OwnRow
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, MainsSensor
from rules.site.show import length

OF_WHAT = {
    "level": "chambers",
    "margin": "chambers",
    "capacity": "chambers",
    "spill-time": "chambers",
    "return-flow": "pumps",
    "dry-time": "pumps",
    "flow": "sensors",
    "reading": "sensors",
}
"""Which table of the site holds what a quantity is of."""

SAYS = {FloatSwitch: ("wet", "dry"), LeakSensor: ("wet", "dry"), MainsSensor: ("present", "lost")}


def own_rows(site: Site) -> Iterator[Finding]:
    """What each own row is of exists, and is told by a sensor; what it does can be done."""
    for key, row in site.rows.items():
        table, things = f"rows.{key}", getattr(site, OF_WHAT[row.quantity])
        if row.of not in things:
            noun = OF_WHAT[row.quantity].removesuffix("s")
            known = ", ".join(things)
            yield (
                table,
                "of",
                f'"{row.of}" is no {noun} of this site, and a {row.quantity} is of one; its '
                f"{noun}s are {known}",
            )
            continue
        yield from ((table, key_, why) for key_, why in _unknown(site, row))
        yield from ((table, key_, why) for key_, why in _cannot(site, row))


def _unknown(site: Site, row: OwnRow) -> Iterator[tuple[str, str]]:
    """Why this site cannot know what a row watches: key and sentence."""
    match row.quantity:
        case "level":
            yield from _unknown_level(site, row)
        case "return-flow":
            metered = {s.on for s in site.sensors.values() if isinstance(s, FlowMeter)}
            if not metered & {row.of, *site.branches(row.of)}:
                yield (
                    "of",
                    f"no flow meter tells what {row.of} lifts, and what is only computed never "
                    "changes: fit a flow meter, or watch something else",
                )
        case "flow":
            if not isinstance(site.sensors[row.of], FlowMeter):
                yield "of", f"{row.of} is no flow meter; {_those(site, (FlowMeter,))}"
        case "reading":
            yield from _unknown_contact(site, row)
        case "dry-time":
            if not any(_watched(site, chamber) for chamber in _drained_by(site, row.of)):
                yield "of", f"no chamber that {row.of} fills tells how its drains fare: {_FIT}"
        case _:
            if not site.drains_from(row.of):
                known = ", ".join(site.drained_chambers())
                yield "of", f"no drains leave {row.of}; drains leave {known}"
            elif not _watched(site, row.of):
                yield "of", f"nothing tells how the drains of {row.of} fare: {_FIT}"


_FIT = "fit a float of duty drain-watch or a level sensor there"


def _watched(site: Site, chamber: str) -> bool:
    return bool(site.floats(chamber, "drain-watch") or site.levels(chamber))


def _drained_by(site: Site, pump: str) -> list[str]:
    """The drained chambers that the water of a pump reaches."""
    ahead, seen = [branch.to for branch in site.branches(pump).values()], set[str]()
    while ahead:
        chamber = ahead.pop()
        if chamber not in seen:
            seen.add(chamber)
            ahead += [p.to for p in site.gravity().values() if p.from_ == chamber]
    return [chamber for chamber in site.drained_chambers() if chamber in seen]


def _unknown_level(site: Site, row: OwnRow) -> Iterator[tuple[str, str]]:
    key, value = ("above", row.above) if row.above is not None else ("below", row.below)
    assert value is not None
    rim, units = site.chambers[row.of].rim, site.site.units
    if not 0.0 < value < rim:
        where = "at or above the rim" if value > 0.0 else "at the bottom"
        yield key, f"{length(value, units)} lies {where} of {row.of} (rim at {length(rim, units)})"
    elif not site.levels(row.of):
        heights = [sensor.height for sensor in site.floats(row.of).values()]
        if not any(h >= value if key == "above" else h <= value for h in heights):
            side = "or higher" if key == "above" else "or lower"
            yield (
                key,
                f"nothing tells that the level of {row.of} is {key} {length(value, units)}: fit a "
                f"level sensor there, or a float at that height {side}",
            )


def _unknown_contact(site: Site, row: OwnRow) -> Iterator[tuple[str, str]]:
    words = SAYS.get(type(site.sensors[row.of]))
    if words is None:
        yield "of", f"{row.of} is no contact; {_those(site, tuple(SAYS))}"
    elif row.reads not in words:
        yield "reads", f'{row.of} reads "{words[0]}" or "{words[1]}"'


def _those(site: Site, kinds: tuple[type, ...]) -> str:
    known = [key for key, sensor in site.sensors.items() if isinstance(sensor, kinds)]
    return f"there are {', '.join(known)}" if known else "this site has none"


def _cannot(site: Site, row: OwnRow) -> Iterator[tuple[str, str]]:
    """Why a row cannot do what it says, or must not: key and sentence."""
    if row.does == "shut-top-off" and site.top_off is None:
        yield "does", "there is no [top_off] table: this site has no top-off to shut"
    yield from no_pumps_to_cut(site, row.pumps or ())
    chamber = row.of
    sensor = site.sensors.get(row.of)
    high = row.above is not None
    if row.quantity == "reading" and isinstance(sensor, FloatSwitch):
        chamber, high = sensor.chamber, row.reads == "wet"
    elif row.quantity != "level":
        return
    for pump in row.pumps or ():
        if high and pump in site.pumps and site.pumps[pump].from_ == chamber:
            yield (
                "pumps",
                f"{pump} draws from {chamber}: when that is high, a stop sends more water down "
                'into it; does = "shut-top-off" would be right',
            )


def no_pumps_to_cut(site: Site, pumps: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Which of these are no pumps that the guard can cut: key and sentence."""
    for pump in pumps:
        if pump not in site.pumps:
            yield (
                "pumps",
                f'"{pump}" is no pump of this site; its pumps are {", ".join(site.pumps)}',
            )
        elif site.pump_output(pump) is None:
            yield "pumps", f"no output powers {pump}: the guard cannot cut it"
