"""Checks that need more than one table: ids, pins, heights, and ways for the water."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from rules.site.finding import Finding
from rules.site.model import Site
from rules.site.own_checks import own_rows
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
from rules.site.pause_checks import pauses
from rules.site.sensors import FloatSwitch, FlowMeter, LevelSensor
from rules.site.show import length
from rules.site.votes import told_votes
from rules.site.wiring import converters, level_points, pins, pump_outputs

TABLES = ("chambers", "passages", "pumps", "rows", "measured", "sensors", "outputs", "people")
"""Tables in which each thing has an id."""


def _unique_ids(site: Site) -> Iterator[Finding]:
    seen: dict[str, str] = {}
    for table in TABLES:
        for key in getattr(site, table):
            if key in seen:
                yield (
                    table,
                    key,
                    f"the id is used in [{seen[key]}] already; each thing needs its own",
                )
            seen.setdefault(key, table)


def _known(site: Site, key: str, table: str) -> str | None:
    things = getattr(site, table)
    if key in things:
        return None
    noun = table.removesuffix("s")
    known = ", ".join(things)
    return f'"{key}" is no {noun} of this site; its {table} are {known}'


def _passage_ends(site: Site) -> Iterator[Finding]:
    for key, passage in site.passages.items():
        wanted = [("to", passage.to, "chambers")]
        if isinstance(passage, Branch):
            wanted.append(("pump", passage.pump, "pumps"))
        else:
            wanted.append(("from", passage.from_, "chambers"))
            if passage.from_ == passage.to:
                yield f"passages.{key}", "to", "a passage must lead to another chamber"
        for field, target, table in wanted:
            if sentence := _known(site, target, table):
                yield f"passages.{key}", field, sentence
    for key, pump in site.pumps.items():
        if sentence := _known(site, pump.from_, "chambers"):
            yield f"pumps.{key}", "from", sentence
        if not site.branches(key):
            yield f"pumps.{key}", "", f'no branch says pump = "{key}": it lifts water nowhere'


def _sensor_places(site: Site) -> Iterator[Finding]:
    branches = [key for key, p in site.passages.items() if isinstance(p, Branch)]
    for key, sensor in site.sensors.items():
        if isinstance(sensor, (FloatSwitch, LevelSensor)) and (
            s := _known(site, sensor.chamber, "chambers")
        ):
            yield f"sensors.{key}", "chamber", s
        if isinstance(sensor, FlowMeter) and sensor.on not in [*branches, *site.pumps]:
            known = ", ".join([*branches, *site.pumps])
            sentence = (
                f'"{sensor.on}" is neither a branch nor a pump; a meter sits on one of {known}'
            )
            yield f"sensors.{key}", "on", sentence


def _output_targets(site: Site) -> Iterator[Finding]:
    for key, output in site.outputs.items():
        if output.kind == "pump" and (s := _known(site, output.pump, "pumps")):
            yield f"outputs.{key}", "pump", s
        if output.kind == "spare-pump" and (s := _known(site, output.chamber, "chambers")):
            yield f"outputs.{key}", "chamber", s
        if output.kind == "top-off" and site.top_off is None:
            yield f"outputs.{key}", "", "there is no [top_off] table for this valve to belong to"
    wanted = []
    if site.top_off is not None:
        wanted += [
            ("top_off", "reservoir", site.top_off.reservoir),
            ("top_off", "to", site.top_off.to),
        ]
    if (change := site.water_change) is not None:
        wanted += [("water_change", "out_of", change.out_of), ("water_change", "into", change.into)]
    for table, field, target in wanted:
        if s := _known(site, target, "chambers"):
            yield table, field, s


def _measured_things(site: Site) -> Iterator[Finding]:
    ways = site.gravity()
    for key, measured in site.measured.items():
        table, of = f"measured.{key}", measured.of
        if of not in site.pumps and of not in site.passages:
            known = ", ".join([*site.pumps, *site.passages])
            sentence = f'"{of}" is neither a pump nor a passage; the site has {known}'
            yield table, "of", sentence
        elif of in ways and measured.level is None:
            sentence = f"missing; it gives the level in {ways[of].from_} while this was measured"
            yield table, "level", sentence
        elif of not in ways and measured.level is not None:
            yield table, "level", f"a pump drives {of}, whatever the level above it: leave it out"


def _measured_once(site: Site) -> Iterator[Finding]:
    newer: dict[str, str] = {}
    newest_first = sorted(site.measured.items(), key=lambda item: item[1].date, reverse=True)
    for key, measured in newest_first:
        passage = site.passages.get(measured.of)
        thing = passage.pump if isinstance(passage, Branch) else measured.of
        if thing in newer:
            other = site.measured[newer[thing]]
            once = "it" if thing not in site.pumps else f"{thing} with all its branches"
            yield (
                f"measured.{key}",
                "of",
                f"[measured.{newer[thing]}] of {other.date} has the flow of {other.of} already, "
                f"and {once} can have one measurement only: keep the newer, delete the older",
            )
        newer.setdefault(thing, key)


def _edges(passage: Passage) -> Iterator[tuple[str, float]]:
    """The heights of a passage in the chamber it leaves, by key."""
    match passage:
        case Weir() | Comb():
            yield "crest", passage.crest
        case SiphonDrain() | OpenDrain() | EmergencyDrain():
            yield "mouth", passage.mouth
        case Screen():
            yield "bottom", passage.bottom
            yield "top", passage.top
        case UnderBaffle():
            yield "bottom", passage.bottom
        case Hole():
            yield "centre", passage.centre
        case Branch():
            return


def _runs_dry(passage: Passage) -> float:
    """The height down to which a passage lets its upper chamber run [m above its bottom]."""
    if isinstance(passage, Hole):
        return passage.centre - passage.diameter / 2
    return min(height for _, height in _edges(passage))


def _measured_levels(site: Site) -> Iterator[Finding]:
    units, ways = site.site.units, site.gravity()
    for key, measured in site.measured.items():
        if measured.level is None:
            continue
        passage = ways[measured.of]
        rim, edge = site.chambers[passage.from_].rim, _runs_dry(passage)
        if not edge < measured.level <= rim:
            yield (
                f"measured.{key}",
                "level",
                f"{length(measured.level, units)} must lie above {length(edge, units)}, where "
                f"{measured.of} begins to carry water, and not above the rim of {passage.from_} "
                f"({length(rim, units)})",
            )


def _passage_heights(site: Site) -> Iterator[Finding]:
    units = site.site.units
    for key, passage in site.gravity().items():
        upper, table = site.chambers[passage.from_], f"passages.{key}"
        for field, height in _edges(passage):
            if not 0.0 <= height <= upper.rim:
                where = "above the rim" if height > 0 else "below the bottom"
                yield (
                    table,
                    field,
                    f"{length(height, units)} lies {where} of {passage.from_} (rim at "
                    f"{length(upper.rim, units)}): no water can ever reach it",
                )
        if isinstance(passage, (SiphonDrain, OpenDrain, EmergencyDrain)):
            lower = site.chambers[passage.to]
            drop = upper.above_datum_m(passage.mouth) - lower.above_datum_m(passage.outlet)
            if drop <= 0:
                yield (
                    table,
                    "outlet",
                    f"the drain's end lies {length(-drop, units)} above its mouth: water does not "
                    "run up; check the bottom heights of both chambers",
                )
        if isinstance(passage, Screen) and passage.top <= passage.bottom:
            yield table, "top", "the upper edge of a screen must lie above its lower edge"


def _float_heights(site: Site) -> Iterator[Finding]:
    units = site.site.units
    for key, sensor in site.floats().items():
        rim = site.chambers[sensor.chamber].rim
        if not 0.0 < sensor.height < rim:
            where = "at or above the rim" if sensor.height > 0 else "at or below the bottom"
            yield (
                f"sensors.{key}",
                "height",
                f"{length(sensor.height, units)} lies {where} of {sensor.chamber} (rim at "
                f"{length(rim, units)}): it would speak too late or never",
            )


def _pump_heights(site: Site) -> Iterator[Finding]:
    units = site.site.units
    for key, pump in site.pumps.items():
        chamber = site.chambers[pump.from_]
        if not 0.0 <= pump.intake < chamber.rim:
            yield f"pumps.{key}", "intake", f"must lie inside {pump.from_}, under its rim"
        elif chamber.level is None:
            yield (
                f"chambers.{pump.from_}",
                "level",
                f"missing; {key} draws from here, and no passage holds this level: say where it "
                "stands while all runs",
            )
        elif chamber.level <= pump.intake:
            yield (
                f"chambers.{pump.from_}",
                "level",
                f"{length(chamber.level, units)} is not above the intake of {key} "
                f"({length(pump.intake, units)}): it would draw air",
            )


def _dead_ends(site: Site) -> Iterator[Finding]:
    leaves = {p.from_ for p in site.gravity().values()} | {p.from_ for p in site.pumps.values()}
    reached = {p.to for p in site.passages.values()}
    if site.top_off is not None:
        leaves.add(site.top_off.reservoir)
        reached.add(site.top_off.to)
    for key in site.chambers:
        if key in reached and key not in leaves:
            yield (
                f"chambers.{key}",
                "",
                "water reaches this chamber and none can leave it: name the passage or the pump "
                "that takes it away",
            )


def _reached(site: Site, chambers: Iterable[str]) -> set[str]:
    """The chambers themselves and all that gravity leads to from them."""
    ahead, seen = list(chambers), set[str]()
    while ahead:
        chamber = ahead.pop()
        if chamber not in seen:
            seen.add(chamber)
            ahead.extend(p.to for p in site.gravity().values() if p.from_ == chamber)
    return seen


def _ways(site: Site) -> Iterator[Finding]:
    for key, passage in site.gravity().items():
        if passage.from_ in _reached(site, [passage.to]):
            yield (
                f"passages.{key}",
                "to",
                f"from {passage.to} water finds its way back to {passage.from_} without a pump: "
                "turn one of these passages round",
            )
    lifted = [branch.to for pump in site.pumps for branch in site.branches(pump).values()]
    fed = _reached(site, lifted)
    for key in site.drained_chambers():
        if key not in fed:
            yield (
                f"chambers.{key}",
                "",
                "drains leave this chamber and no pump lifts water to it: name the branch, or the "
                "passage, that feeds it",
            )
    for name, pump in site.pumps.items():
        if pump.from_ not in _reached(site, [b.to for b in site.branches(name).values()]):
            yield (
                f"pumps.{name}",
                "",
                f"what it lifts never comes back to {pump.from_}: a passage is missing on the way",
            )


def _tuning(site: Site) -> Iterator[Finding]:
    for chamber in site.drained_chambers():
        drains = site.drains_from(chamber)
        tuned = {
            k: d.tuned_share
            for k, d in drains.items()
            if isinstance(d, SiphonDrain) and d.tuned_share is not None
        }
        if tuned and not any(isinstance(d, OpenDrain) for d in drains.values()):
            for key in tuned:
                yield (
                    f"passages.{key}",
                    "tuned_share",
                    f"{chamber} has no open drain to carry the rest, so no valve can be set so",
                )
        if sum(tuned.values()) >= 1.0:
            key = next(iter(tuned))
            yield (
                f"passages.{key}",
                "tuned_share",
                f"the shares of the siphon drains of {chamber} must add up to less than 100 %",
            )


def _top_off_float(site: Site) -> Iterator[Finding]:
    for key, sensor in site.floats(duty="top-off").items():
        if site.top_off is None:
            yield f"sensors.{key}", "duty", "there is no [top_off] table for this float to serve"
        elif sensor.chamber != site.top_off.to:
            yield (
                f"sensors.{key}",
                "chamber",
                f"the top-off adds water to {site.top_off.to}; its float must hang there",
            )
    if site.top_off is not None and site.chambers[site.top_off.reservoir].level is None:
        yield (
            f"chambers.{site.top_off.reservoir}",
            "level",
            "missing; it is the reservoir: say how high the fresh water stands when full",
        )


STAGES: tuple[tuple[Callable[[Site], Iterator[Finding]], ...], ...] = (
    (
        _unique_ids,
        _passage_ends,
        _sensor_places,
        _output_targets,
        _measured_things,
        pins,
        converters,
        pump_outputs,
        pauses,
    ),
    (
        _passage_heights,
        _float_heights,
        told_votes,
        level_points,
        _pump_heights,
        _dead_ends,
        _ways,
        _tuning,
        _top_off_float,
        _measured_once,
        _measured_levels,
        own_rows,
    ),
)
"""Checks in stages: a later stage may rely on what the earlier one found in order."""


def findings(site: Site) -> list[Finding]:
    """Everything wrong with a site whose tables are each valid; empty when all is well."""
    for stage in STAGES:
        found = [finding for check in stage for finding in check(site)]
        if found:
            return found
    return []


__all__ = ["Finding", "findings"]
