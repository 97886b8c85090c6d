"""Out of service: a sensor or a row that is known to be broken, taken out by a person at the guard.

The story: a float hangs, its replacement comes on Tuesday, and until then it would keep the pump
off. It is taken out: nothing is read from it and the rows that go by it neither act nor tell. That
is a protection lost, so the guard says which; it asks every day whether it is still so; and it
refuses where nothing else would cut the pump in its place. What was taken out stays out over a
restart, until a person puts it back.

A contact that is out reads as on a good day, in doubt and for no evidence; a top-off float reads as
wet, so that the valve stays shut; meters and level sensors read as nothing at all.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from math import floor, nan

from rules.figures import feeders
from rules.matrix import Effect, Row
from rules.memory import OutMemory
from rules.plan import Plan
from rules.signals import Observation, OutFigures, Quality, Reading
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LevelSensor

DAY_S = 86400.0
"""How often it is asked whether what is out is still to be out [s]; sooner is stricter."""

WHY = "it is out of service"


# --- in the course of a step ----------------------------------------------------------------------


def masked(plan: Plan, out: tuple[OutMemory, ...], observation: Observation) -> Observation:
    """The observation without what sensors say that are out of service."""
    readings = list(observation.readings)
    for one in out:
        index = plan.sensors.get(one.id)
        if index is None:
            continue
        contact, sensor = plan.contacts.get(one.id), plan.site.sensors[one.id]
        if contact is None or (isinstance(sensor, FloatSwitch) and sensor.duty == "top-off"):
            readings[index] = Reading(nan, Quality.BAD, 0.0, WHY)
        else:
            readings[index] = Reading(float(not contact.worst), Quality.UNCERTAIN, 0.0, WHY)
    return replace(observation, readings=tuple(readings))


def is_out(site: Site, row: Row, out: tuple[OutMemory, ...]) -> bool:
    """True for a row that neither acts nor tells: it, or the sensor that it is about, is out."""
    of = site.rows[row.subject].of if row.hazard == "own" else row.subject
    return any(one.id in (row.id, of) for one in out)


def figures(plan: Plan, out: tuple[OutMemory, ...], t_s: float) -> tuple[OutFigures, ...]:
    """What is out of service, for how long, and what nobody watches meanwhile."""
    return tuple(
        OutFigures(one.id, t_s - one.since_s, tuple(row.id for row in blind(plan, (one.id,))))
        for one in out
    )


def days(out: tuple[OutMemory, ...], t_s: float) -> int:
    """For how many whole days something has been out of service; 0 with nothing out so long."""
    return max((floor((t_s - one.since_s) / DAY_S + 1e-9) for one in out), default=0)


def next_s(one: OutMemory, t_s: float) -> float:
    """When it is next asked after [s]."""
    return one.since_s + (floor((t_s - one.since_s) / DAY_S + 1e-9) + 1) * DAY_S


# --- what is lost, and what remains ---------------------------------------------------------------


def blind(plan: Plan, out: Collection[str]) -> tuple[Row, ...]:
    """The rows that see nothing any more with these sensors and rows out of service."""
    return tuple(row for row in plan.rows if _is_blind(plan.site, row, out))


def _is_blind(site: Site, row: Row, out: Collection[str]) -> bool:
    if row.id in out or row.subject in out:
        return True
    match row.hazard:
        case "drain-capacity" | "drain-loss":
            watches = site.floats(row.subject, "drain-watch")
            eyes: tuple[str, ...] = (*watches, *site.levels(row.subject))
        case "drain-fouling" | "drain-growth":
            eyes = tuple(site.levels(row.subject))
        case "flow-lost" | "flow-weak" | "cut-unanswered":
            metered = (row.subject, *site.branches(row.subject))
            eyes = tuple(
                key
                for key, sensor in site.sensors.items()
                if isinstance(sensor, FlowMeter) and sensor.on in metered
            )
        case "water-lost":
            eyes = tuple(site.floats(duty="top-off"))
        case "own":
            return site.rows[row.subject].of in out
        case _:
            return False
    return bool(eyes) and all(eye in out for eye in eyes)


def lost_words(plan: Plan, out: Collection[str]) -> str:
    """Which protection is lost, in a sentence: signals that tell of themselves left out."""
    lost = [row.cause for row in blind(plan, out) if row.hazard != "signal"]
    if not lost:
        return "No row goes by it alone."
    return f"Nobody watches meanwhile: {'; '.join(lost)}."


def unguarded(plan: Plan, out: Collection[str], thing: str) -> str:
    """What nothing would guard with one thing more out of service, in a sentence; empty if all
    that must be is guarded."""
    after = blind(plan, {*out, thing})
    gone = {row.id for row in after}
    before = {row.id for row in blind(plan, out)}
    for row in after:
        if row.id in before or row.effect is not Effect.CUT_PUMP:
            continue
        if row.hazard in ("lease-lost", "out-of-service"):
            return "it guards the guard itself, and stays in service"
        left = [other for other in plan.rows if other.id not in gone]
        if _must_remain(row) and not any(_stands_in(plan.site, other, row) for other in left):
            return (
                f"nothing else would cut the pump for this: {row.cause}. Mend it, or fit another "
                "beside it first"
            )
    return ""


def _must_remain(row: Row) -> bool:
    """True for a row that something else must stand in for: what it guards spills or runs dry."""
    return row.hazard in ("spill-edge", "chamber-high", "dry-run", "leak", "drain-capacity")


def _stands_in(site: Site, other: Row, row: Row) -> bool:
    """True if another row would cut the same pumps for the same water."""
    if other.effect is not Effect.CUT_PUMP or not set(row.pumps) <= set(other.pumps):
        return False
    if row.hazard == "leak":
        return other.hazard == "leak"
    place = _chamber(site, row)
    if row.hazard == "drain-capacity":
        near = (place, *feeders(site, place)) if place is not None else ()
        return other.hazard == "spill-edge" and _chamber(site, other) in near
    return other.hazard == row.hazard and _chamber(site, other) == place


def _chamber(site: Site, row: Row) -> str | None:
    match site.sensors.get(row.subject):
        case FloatSwitch() | LevelSensor() as sensor:
            return sensor.chamber
        case _:
            return row.subject if row.subject in site.chambers else None
