"""Whether what a drill states came true, each statement with what was seen."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from math import inf

from rules.site import show
from rules.site.model import Site
from simulator.night.evidence import Evidence
from simulator.story.drill import Drill
from simulator.story.roles import NoSuchRoleError, resolve
from simulator.story.statements import (
    MustAlarm,
    MustArrive,
    MustCut,
    MustName,
    MustPause,
    MustRestart,
    MustRun,
    MustStandOff,
    MustStayUnder,
    MustTopOff,
    NoAlarm,
    NoAlertTwice,
    NoCut,
    NoDryRun,
    NoHunting,
    NoLoss,
    NoPumpOn,
    NoRestart,
    NoSpill,
    NoTopOff,
    Statement,
)

DROP_M3 = 1e-6
"""What went over a rim counts as spilled from one millilitre on: less is rounding, not water."""

RUNNING_SHARE = 0.5
"""A pump runs when it gives this share of what it gave when the drill began."""


NO_DAEMON = "no alert was sent at all: that takes the whole daemon"

AboutPumps = (
    MustCut | MustPause | MustRestart | MustStandOff | MustRun | NoRestart | NoPumpOn | NoHunting
)
"""Statements of what becomes of a pump."""


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
            case MustTopOff():
                resolve(site, "valve", "top-off valve")
            case MustStayUnder():
                resolve(site, "chamber", statement.where)
            case NoSpill() if statement.where is not None:
                resolve(site, "chamber", statement.where)
            case MustName():
                resolve(site, "input", statement.sensor)
            case MustAlarm() if statement.row is not None:
                _own_row(site, statement.row)
            case _:
                if isinstance(statement, MustCut) and statement.row is not None:
                    _own_row(site, statement.row)
                if isinstance(statement, AboutPumps):
                    resolve(site, "pump", statement.where)
    return found


def _own_row(site: Site, key: str) -> None:
    if key not in site.rows:
        raise NoSuchRoleError(f'{site.site.name} has no row "{key}" of its own')


def judge(site: Site, statement: Statement, seen: Evidence) -> Finding:
    """Hold one statement against what was seen."""
    match statement:
        case NoCut():
            at = ", ".join(
                f"{site.label(pump)} at {show.duration(t_s)}"
                + (f" ({why})" if (why := seen.reasons(t_s)) else "")
                for t_s, pump in seen.cuts
            )
            return Finding("no pump is cut", not seen.cuts, at or "none was")
        case MustStayUnder() | NoSpill() | NoLoss() | NoDryRun() | MustTopOff() | NoTopOff():
            return _of_the_water(site, statement, seen)
        case MustAlarm() | MustName() | NoAlarm() | MustArrive() | NoAlertTwice():
            return _of_the_alarms(site, statement, seen)
        case _:
            return _of_the_pumps(site, statement, seen)


def _of_the_water(
    site: Site,
    statement: MustStayUnder | NoSpill | NoLoss | NoDryRun | MustTopOff | NoTopOff,
    seen: Evidence,
) -> Finding:
    match statement:
        case MustStayUnder():
            return _under(site, statement, seen)
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
        case MustTopOff():
            times = len(seen.opened_s)
            said = f"the top-off valve opens at least {statement.times} times"
            return Finding(said, times >= statement.times, f"it opened {times} times")
        case NoTopOff():
            said = "the top-off valve is not opened while a pump stands cut"
            at = ", ".join(show.duration(t_s) for t_s in seen.opened_while_cut_s)
            return Finding(said, not at, f"opened at {at}" if at else "it was not")


def _of_the_alarms(
    site: Site,
    statement: MustAlarm | MustName | NoAlarm | MustArrive | NoAlertTwice,
    seen: Evidence,
) -> Finding:
    match statement:
        case MustAlarm():
            return _alarm(statement, seen)
        case MustName():
            return _names(site, statement, seen)
        case NoAlarm():
            return _silence(statement, seen)
        case MustArrive():
            return _arrives(statement, seen)
        case NoAlertTwice():
            return _arrives_once(statement, seen)


def _of_the_pumps(site: Site, statement: AboutPumps, seen: Evidence) -> Finding:
    match statement:
        case MustCut():
            return _cut(site, statement, seen)
        case MustPause():
            pumps = resolve(site, "pump", statement.where)
            times = [seen.paused_s(pump) for pump in pumps]
            said = f"the {_labels(site, pumps)} is paused{_limit(statement.within)}"
            held = all(_in_time(t_s, statement.within, seen) for t_s in times)
            return Finding(said, held, ", ".join(_after(t_s, seen) for t_s in times))
        case MustRun():
            return _runs(site, statement, seen)
        case MustStandOff():
            pumps = resolve(site, "pump", statement.where)
            on = [site.label(pump) for pump in pumps if seen.plant.powered(pump)]
            detail = f"the {' and '.join(on)} has current" if on else "it has no current"
            return Finding(f"the {_labels(site, pumps)} is off at the end", not on, detail)
        case MustRestart():
            pumps = resolve(site, "pump", statement.where)
            times = [seen.restarted_s(pump) for pump in pumps]
            said = f"the {_labels(site, pumps)} is started again{_limit(statement.within)}"
            held = all(_in_time(t_s, statement.within, seen) for t_s in times)
            return Finding(said, held, ", ".join(_after(t_s, seen) for t_s in times))
        case NoRestart():
            pumps = resolve(site, "pump", statement.where)
            again = [t_s for pump in pumps if (t_s := seen.restarted_s(pump)) is not None]
            detail = ", ".join(show.duration(t_s) for t_s in again)
            said = f"the {_labels(site, pumps)} is not started again"
            return Finding(said, not again, f"it was at {detail}" if again else "it was not")
        case NoPumpOn():
            return _not_on(site, statement, seen)
        case NoHunting():
            pumps = resolve(site, "pump", statement.where)
            starts = {pump: sum(key == pump for _, key in seen.starts) for pump in pumps}
            said = f"the {_labels(site, pumps)} is started no more than {statement.more_than} times"
            detail = ", ".join(f"{number} times" for number in starts.values())
            return Finding(said, max(starts.values()) <= statement.more_than, detail)


def _labels(site: Site, keys: tuple[str, ...]) -> str:
    return " and ".join(site.label(key) for key in keys)


def _in_time(t_s: float | None, within: float | None, seen: Evidence) -> bool:
    if t_s is None:
        return False
    return t_s - (seen.cause_s or 0.0) <= (inf if within is None else within) + 1e-9


def _limit(within: float | None) -> str:
    return "" if within is None else f" within {show.duration(within)} of the cause"


def _after(t_s: float | None, seen: Evidence, never: str = "it never was") -> str:
    if t_s is None:
        return never
    return f"after {show.duration(t_s - (seen.cause_s or 0.0))}"


def _cut(site: Site, statement: MustCut, seen: Evidence) -> Finding:
    pumps = resolve(site, "pump", statement.where)
    times = [seen.first_cut_s(pump) for pump in pumps]
    by = "" if statement.row is None else f" by own.{statement.row}"
    said = f"the {_labels(site, pumps)} is cut{by}{_limit(statement.within)}"
    held = all(_in_time(t_s, statement.within, seen) for t_s in times)
    if statement.row is not None:
        held = held and all(f"own.{statement.row}" in seen.reasons(t) for t in times if t)
    details = [
        _after(t_s, seen) + (f" ({seen.reasons(t_s)})" if t_s is not None else "") for t_s in times
    ]
    return Finding(said, held, ", ".join(details))


def _alarm(statement: MustAlarm, seen: Evidence) -> Finding:
    t_s = seen.first_alarm_s(statement.hazard, statement.row)
    name = statement.hazard if statement.row is None else f"{statement.hazard}.{statement.row}"
    said = f"an alarm {name} is raised{_limit(statement.within)}"
    return Finding(said, _in_time(t_s, statement.within, seen), _after(t_s, seen))


def _names(site: Site, statement: MustName, seen: Evidence) -> Finding:
    keys = resolve(site, "input", statement.sensor)
    said = f"an alarm {statement.hazard} names the {_labels(site, keys)}"
    raised = [
        f"{event.alarm.row}: {event.alarm.saying.what} {event.alarm.saying.where}"
        for event in seen.events
        if event.alarm is not None and event.alarm.hazard == statement.hazard
    ]
    named = {
        key: next((text for text in raised if key in text or site.label(key) in text), None)
        for key in keys
    }
    held = all(text is not None for text in named.values())
    shown = [text for text in named.values() if text is not None] if held else raised
    return Finding(said, held, "; ".join(dict.fromkeys(shown)) or "none was raised")


def _arrives(statement: MustArrive, seen: Evidence) -> Finding:
    said = f"an alert {statement.hazard} arrives{_limit(statement.within)}"
    if seen.arrived is None:
        return Finding(said, False, NO_DAEMON)
    since_s = seen.cause_s or 0.0
    times = (
        alert.t_s
        for alert in seen.arrived
        if alert.hazard == statement.hazard and alert.t_s >= since_s
    )
    t_s = next(times, None)
    return Finding(said, _in_time(t_s, statement.within, seen), _after(t_s, seen, "it never did"))


def _arrives_once(statement: NoAlertTwice, seen: Evidence) -> Finding:
    said = "no alert" + ("" if statement.hazard is None else f" {statement.hazard}")
    said += " arrives twice"
    if seen.arrived is None:
        return Finding(said, False, NO_DAEMON)
    counted = Counter(
        (alert.hazard, alert.key)
        for alert in seen.arrived
        if statement.hazard in (None, alert.hazard)
    )
    twice = ", ".join(
        f"{hazard} {number} times" for (hazard, _), number in counted.items() if number > 1
    )
    return Finding(said, not twice, twice or "none did")


def _not_on(site: Site, statement: NoPumpOn, seen: Evidence) -> Finding:
    pumps = resolve(site, "pump", statement.where)
    said = f"the {_labels(site, pumps)} is not on while what it was cut for stands"
    wrong = [
        f"at {show.duration(t_s)} ({', '.join(sorted(rows))})"
        for t_s, pump in seen.starts
        if pump in pumps and (rows := seen.standing_causes(pump, t_s))
    ]
    return Finding(said, not wrong, ", ".join(wrong) or "it was not")


def _under(site: Site, statement: MustStayUnder, seen: Evidence) -> Finding:
    units = site.site.units
    keys = resolve(site, "chamber", statement.where)
    room = {key: site.chambers[key].rim - seen.highest_m[key] for key in keys}
    details = [
        f"{site.label(key)} at most {show.length(seen.highest_m[key], units)}, rim at "
        f"{show.length(site.chambers[key].rim, units)}"
        for key in keys
    ]
    said = f"the {_labels(site, keys)} {'stays' if len(keys) == 1 else 'stay'} under the rim"
    return Finding(said, min(room.values()) > 0.0, "; ".join(details))


def _runs(site: Site, statement: MustRun, seen: Evidence) -> Finding:
    keys = resolve(site, "pump", statement.where)
    flows = {key: seen.plant.lifts[key].flow_m3_s for key in keys}
    held = all(flow > RUNNING_SHARE * seen.first_flow_m3_s[key] for key, flow in flows.items())
    detail = ", ".join(show.flow(flow, site.site.units) for flow in flows.values())
    return Finding(f"the {_labels(site, keys)} runs at the end", held, f"it gives {detail}")


def _silence(statement: NoAlarm, seen: Evidence) -> Finding:
    raised = [
        (t_s, row) for t_s, hazard, row in seen.alarms() if statement.hazard in (None, hazard)
    ]
    said = "no alarm is raised" if statement.hazard is None else f"no alarm {statement.hazard}"
    if statement.more_than:
        of = "" if statement.hazard is None else f" {statement.hazard}"
        said = f"no more than {statement.more_than} alarms{of} are raised"
    detail = ", ".join(f"{row} at {show.duration(t_s)}" for t_s, row in raised)
    return Finding(said, len(raised) <= statement.more_than, detail or "none was")


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
