"""Whether what a drill states came true, each statement with what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from rules.site import show
from rules.site.model import Site
from simulator.night.evidence import Evidence
from simulator.story.drill import Drill
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.story.statements import (
    MustAlarm,
    MustCut,
    MustRun,
    MustStayUnder,
    MustTopOff,
    NoAlarm,
    NoCut,
    NoDryRun,
    NoLoss,
    NoSpill,
    NoTopOff,
    Statement,
)

DROP_M3 = 1e-6
"""What went over a rim counts as spilled from one millilitre on: less is rounding, not water."""

RUNNING_SHARE = 0.5
"""A pump runs when it gives this share of what it gave when the drill began."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One statement, whether it held, and what was seen."""

    statement: str
    held: bool
    detail: str


def applies(site: Site, statement: Statement) -> bool:
    """True if the statement is made of sites like this one."""
    return (statement.on_sites_with is None or _has(site, statement.on_sites_with)) and not (
        statement.on_sites_without is not None and _has(site, statement.on_sites_without)
    )


def _has(site: Site, role: str) -> bool:
    try:
        resolve(site, "passage", role)
    except NoSuchRoleError:
        return False
    return True


def statements_for(site: Site, drill: Drill) -> tuple[Statement, ...]:
    """The statements that a drill makes of this site; raises NoSuchRoleError."""
    found = tuple(s for s in (*drill.must, *drill.must_not) if applies(site, s))
    for statement in found:
        match statement:
            case MustCut() | MustRun():
                resolve(site, "pump", statement.where)
            case MustTopOff():
                resolve(site, "valve", "top-off valve")
            case MustStayUnder():
                resolve(site, "chamber", statement.where)
            case NoSpill() if statement.where is not None:
                resolve(site, "chamber", statement.where)
    return found


def judge(site: Site, statement: Statement, seen: Evidence) -> Finding:
    """Hold one statement against what was seen."""
    match statement:
        case MustCut():
            return _cut(site, statement, seen)
        case MustAlarm():
            return _alarm(statement, seen)
        case MustStayUnder():
            return _under(site, statement, seen)
        case MustTopOff():
            times = len(seen.opened_s)
            said = f"the top-off valve opens at least {statement.times} times"
            return Finding(said, times >= statement.times, f"it opened {times} times")
        case MustRun():
            return _runs(site, statement, seen)
        case NoCut():
            at = ", ".join(
                f"{site.label(pump)} at {show.duration(t_s)}"
                + (f" ({why})" if (why := seen.reasons(t_s)) else "")
                for t_s, pump in seen.cuts
            )
            return Finding("no pump is cut", not seen.cuts, at or "none was")
        case NoAlarm():
            return _silence(statement, seen)
        case NoSpill():
            return _dry_floor(site, statement, seen)
        case NoLoss():
            units = site.site.units
            said = f"no more than {show.volume(statement.more_than, units)} leak onto the floor"
            lost = seen.plant.leaked_m3
            return Finding(said, lost <= statement.more_than, show.volume(lost, units) + " did")
        case NoDryRun():
            dry_s = seen.plant.dry_s
            said = "no pump draws air"
            if statement.longer_than > 0.0:
                said += f" for longer than {show.duration(statement.longer_than)}"
            return Finding(said, dry_s <= statement.longer_than, f"{show.duration(dry_s)} in all")
        case NoTopOff():
            said = "the top-off valve is not opened while a pump stands cut"
            at = ", ".join(show.duration(t_s) for t_s in seen.opened_while_cut_s)
            return Finding(said, not at, f"opened at {at}" if at else "it was not")


def _in_time(t_s: float | None, within: float | None, seen: Evidence) -> bool:
    if t_s is None:
        return False
    return t_s - (seen.cause_s or 0.0) <= (inf if within is None else within) + 1e-9


def _limit(within: float | None) -> str:
    return "" if within is None else f" within {show.duration(within)} of the cause"


def _after(t_s: float | None, seen: Evidence) -> str:
    if t_s is None:
        return "it never was"
    return f"after {show.duration(t_s - (seen.cause_s or 0.0))}"


def _cut(site: Site, statement: MustCut, seen: Evidence) -> Finding:
    pumps = resolve(site, "pump", statement.where)
    times = [seen.first_cut_s(pump) for pump in pumps]
    names = " and ".join(site.label(pump) for pump in pumps)
    said = f"the {names} is cut{_limit(statement.within)}"
    held = all(_in_time(t_s, statement.within, seen) for t_s in times)
    details = [
        _after(t_s, seen) + (f" ({seen.reasons(t_s)})" if t_s is not None else "") for t_s in times
    ]
    return Finding(said, held, ", ".join(details))


def _alarm(statement: MustAlarm, seen: Evidence) -> Finding:
    t_s = seen.first_alarm_s(statement.hazard)
    said = f"an alarm {statement.hazard} is raised{_limit(statement.within)}"
    return Finding(said, _in_time(t_s, statement.within, seen), _after(t_s, seen))


def _under(site: Site, statement: MustStayUnder, seen: Evidence) -> Finding:
    units = site.site.units
    keys = resolve(site, "chamber", statement.where)
    room = {key: site.chambers[key].rim - seen.highest_m[key] for key in keys}
    names = " and ".join(site.label(key) for key in keys)
    details = [
        f"{site.label(key)} at most {show.length(seen.highest_m[key], units)}, rim at "
        f"{show.length(site.chambers[key].rim, units)}"
        for key in keys
    ]
    said = f"the {names} {'stays' if len(keys) == 1 else 'stay'} under the rim"
    return Finding(said, min(room.values()) > 0.0, "; ".join(details))


def _runs(site: Site, statement: MustRun, seen: Evidence) -> Finding:
    keys = resolve(site, "pump", statement.where)
    flows = {key: seen.plant.lifts[key].flow_m3_s for key in keys}
    held = all(flow > RUNNING_SHARE * seen.first_flow_m3_s[key] for key, flow in flows.items())
    names = " and ".join(site.label(key) for key in keys)
    detail = ", ".join(show.flow(flow, site.site.units) for flow in flows.values())
    return Finding(f"the {names} runs at the end", held, f"it gives {detail}")


def _silence(statement: NoAlarm, seen: Evidence) -> Finding:
    raised = [
        (t_s, row) for t_s, hazard, row in seen.alarms() if statement.hazard in (None, hazard)
    ]
    said = "no alarm is raised" if statement.hazard is None else f"no alarm {statement.hazard}"
    detail = ", ".join(f"{row} at {show.duration(t_s)}" for t_s, row in raised)
    return Finding(said, not raised, detail or "none was")


def _dry_floor(site: Site, statement: NoSpill, seen: Evidence) -> Finding:
    units = site.site.units
    keys = (
        tuple(site.chambers)
        if statement.where is None
        else resolve(site, "chamber", statement.where)
    )
    spilled = {key: seen.plant.spilled_m3[key] for key in keys}
    total = sum(spilled.values())
    where = "" if statement.where is None else f" of {statement.where}"
    if statement.more_than > 0.0:
        said = f"no more than {show.volume(statement.more_than, units)} go over the rim{where}"
    else:
        said = f"nothing spills over the rim{where}" if where else "nothing spills"
    detail = ", ".join(
        f"{show.volume(volume, units)} from the {site.label(key)}"
        for key, volume in spilled.items()
        if volume > DROP_M3
    )
    return Finding(said, total <= statement.more_than + DROP_M3, detail or "nothing did")
