"""Planned pauses: a person has the pump stop for a while, and it comes back by itself.

A pause is bounded in time. Its pumps stop at once and come back in the guarded order when it ends,
whether somebody thinks of it or not. It counts as no attempt. While it goes on the top-off stays
shut, and after it until the pump has run for a while. Only alarms that handling is bound to raise,
and that protect nothing while the pump is off, are suppressed, each named here with its reason;
they are in force again the moment it ends, before the pump starts. Whatever tells of water in the
wrong place is never suppressed, and a trip that needs a person takes the pump out of the pause.

A guard that is restarted in a pause comes back without it: see `rules.memory.Kept`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from rules.figures import downstream
from rules.matrix import Row
from rules.memory import Memory, PauseMemory, PumpMemory, RowMemory
from rules.plan import Plan
from rules.signals import (
    AskedPause,
    Command,
    Event,
    EventKind,
    Observation,
    Order,
    Origin,
    PauseFigures,
    Phase,
    Priority,
)
from rules.site import show
from rules.site.model import Site
from rules.site.pauses import LEAST_S, LONGEST_S, PAUSE_KINDS, USUAL_S, PauseKind
from rules.site.sensors import FloatSwitch, FlowMeter, LevelSensor

ORDERS = (Order.PAUSE, Order.END_PAUSE)

NEVER_SUPPRESSED = frozenset({"spill-edge", "chamber-high", "drain-capacity", "leak"})
"""Hazards of water in the wrong place: no pause ever suppresses one of them."""

_OFF = "the pump is off because somebody wants it so"
_HANDS = "hands among floats and cables move them; each speaks again when the pause is over"
_EMPTIED = "its chamber is emptied on purpose, and the pump that would draw air is off"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of pause: its name in words, which hazards it suppresses and why, and whether spare
    pumps stir their chambers meanwhile."""

    name: str
    suppressed: Mapping[str, str]
    stirs: bool = True
    warning: str = ""


KINDS: dict[PauseKind, Kind] = {
    # spare pumps would wash the food over the comb as the return pump does
    "feeding": Kind("feeding", {"pump-off": _OFF}, stirs=False),
    "rinsing": Kind("rinsing a sponge", {"pump-off": _OFF, "signal": _HANDS}),
    "water-change": Kind(
        "the water change", {"pump-off": _OFF, "signal": _HANDS, "dry-run": _EMPTIED}
    ),
    "cleaning": Kind(
        "cleaning a pump",
        {
            "pump-off": _OFF,
            "signal": _HANDS,
            "dry-run": _EMPTIED,
            "mains": "whoever takes a pump apart pulls its plug first",
        },
        warning="Pull its plug before you touch it: it is started by itself when the pause ends.",
    ),
}
"""Every kind; how long each lasts stands in `rules.site.pauses`, and a site may say otherwise."""


def times_s(site: Site, kind: PauseKind) -> tuple[float, float]:
    """How long a kind of pause lasts if nobody says otherwise, and at the longest [s]."""
    own = site.pauses.get(kind)
    usual_s = USUAL_S[kind] if own is None or own.usual is None else own.usual
    longest_s = LONGEST_S[kind] if own is None or own.longest is None else own.longest
    return usual_s, longest_s


def circuit(site: Site, pump: str) -> tuple[str, ...]:
    """A pump and all that move the same water: what one of them lifts reaches another."""
    waters = {key: _water_of(site, key) for key in site.pumps}
    found, last = {pump}, set[str]()
    while found != last:
        last = set(found)
        water = set[str]().union(*(waters[key] for key in found))
        found |= {key for key in site.pumps if waters[key] & water}
    return tuple(key for key in site.pumps if key in found)


def _water_of(site: Site, pump: str) -> set[str]:
    lifted = [branch.to for branch in site.branches(pump).values()]
    return {site.pumps[pump].from_, *lifted, *downstream(site, tuple(lifted))}


def pumps_of(site: Site, kind: PauseKind, pump: str = "") -> tuple[str, ...]:
    """The pumps that stop: those of the circuit of the pump that is named, else what the site says,
    else all if they are of one circuit; empty where one must be named.

    Only pumps that the guard switches.
    """
    own = site.pauses.get(kind)
    if not pump and own is not None and own.pumps is not None:
        return own.pumps
    found = circuit(site, pump or next(iter(site.pumps)))
    if not pump and len(found) < len(site.pumps):
        return ()
    return tuple(key for key in found if site.pump_output(key) is not None)


# --- in the course of a step ----------------------------------------------------------------------


def obey(
    plan: Plan, memory: Memory, rows: tuple[RowMemory, ...], observation: Observation
) -> tuple[PauseMemory | None, tuple[Event, ...]]:
    """Carry out the orders of one tick that are about pauses, and end the one whose time is over.

    Each order is answered by exactly one order-* event.
    """
    pause, events, t_s = memory.pause, list[Event](), observation.t_s
    if pause is not None and t_s >= pause.until_s - 1e-9:
        events.append(_over(plan, pause, t_s, "is over"))
        pause = None
    for command in observation.commands:
        if command.order not in ORDERS:
            continue
        before = replace(memory, pause=pause)
        found = _heard(plan, before, rows, command, t_s)
        if isinstance(found, str):
            events.append(Event(EventKind.ORDER_REFUSED, t_s, command.code, found))
            continue
        if found is None:
            assert pause is not None
            told = _over(plan, pause, t_s, "was ended")
        else:
            told = Event(EventKind.PAUSE_BEGUN, t_s, found.pumps[0], _begins(plan, found))
        events += [Event(EventKind.ORDER_OBEYED, t_s, command.code, told.text), told]
        pause = found
    return pause, tuple(events)


def overtaken(
    plan: Plan,
    pause: PauseMemory | None,
    rows: tuple[RowMemory, ...],
    pumps: tuple[PumpMemory, ...],
    t_s: float,
) -> tuple[PauseMemory | None, tuple[Event, ...]]:
    """The pause after the pumps were stepped: it ends when a trip has taken them all out of it, or
    when what runs back past a plugged siphon break would go over the rim below."""
    if pause is None:
        return None, ()
    floods = {p.id for p in plan.pumps if p.drain_down is not None and not p.drain_down.fits}
    for row, its in zip(plan.rows, rows, strict=True):
        plugged = row.hazard == "siphon-break" and its.standing
        if plugged and row.subject in floods & set(pause.pumps):
            return None, (_over(plan, pause, t_s, "has ended, for its stop floods what is below"),)
    for pump, state in zip(plan.pumps, pumps, strict=True):
        if pump.id in pause.pumps and state.phase is Phase.PAUSED:
            return pause, ()
    return None, (_over(plan, pause, t_s, "has ended in a trip", back=False),)


def suppressed(pause: PauseMemory | None, row: Row) -> bool:
    """True while a row may not raise an alarm; one that stands already stands on."""
    return pause is not None and row.id in pause.suppressed


def stirs(pause: PauseMemory | None) -> bool:
    """False while spare pumps stay off for the sake of the pause."""
    return pause is None or KINDS[pause.kind].stirs


def figures(pause: PauseMemory | None, t_s: float) -> PauseFigures | None:
    """The pause as it is told; None while there is none."""
    if pause is None:
        return None
    left_s = max(0.0, pause.until_s - t_s)
    return PauseFigures(pause.kind, pause.pumps, left_s, _hazards(pause))


# --- what is heard --------------------------------------------------------------------------------


def _heard(
    plan: Plan, memory: Memory, rows: tuple[RowMemory, ...], command: Command, t_s: float
) -> PauseMemory | str | None:
    """What an order comes to: a pause that begins, None where one ends, or why it is refused."""
    if command.origin is not Origin.LOCAL:
        return "a pause stops a pump and starts it again: it is ordered at the guard, not from afar"
    if not memory.contacts:
        return "the guard has only just started and has seen nothing yet; ask again"
    if command.order is Order.END_PAUSE:
        return None if memory.pause is not None else "there is no pause to end"
    try:
        asked = AskedPause.read(command.code)
    except ValueError as error:
        return str(error)
    return _begun(plan, memory, rows, asked, t_s)


def _begun(
    plan: Plan, memory: Memory, rows: tuple[RowMemory, ...], asked: AskedPause, t_s: float
) -> PauseMemory | str:
    site = plan.site
    kind = next((kind for kind in PAUSE_KINDS if kind == asked.kind), None)
    if kind is None:
        return f'"{asked.kind}" is no kind of pause; there are {_listed(PAUSE_KINDS)}'
    if asked.pump and asked.pump not in site.pumps:
        return f'"{asked.pump}" is no pump of this site; its pumps are {_listed(site.pumps)}'
    pumps = pumps_of(site, kind, asked.pump)
    if not pumps:
        switched = [key for key in site.pumps if site.pump_output(key) is not None]
        if asked.pump or not switched:
            return "the guard switches no pump of this circuit, so it can pause none"
        return f"there are several circuits: name a pump of the one meant, of {_listed(switched)}"
    usual_s, longest_s = times_s(site, kind)
    lasts_s = usual_s if asked.lasts_s is None else asked.lasts_s
    if not LEAST_S <= lasts_s <= longest_s:
        least, most = show.duration(LEAST_S), show.duration(longest_s)
        return f"a pause for {KINDS[kind].name} lasts from {least} to {most}"
    if memory.pause is not None:
        left = show.duration(memory.pause.until_s - t_s)
        name = KINDS[memory.pause.kind].name
        return f"there is a pause for {name} already, for another {left}: end it first"
    if why := _not_now(plan, memory, rows, pumps):
        return why
    hidden = tuple(row.id for row in plan.rows if _hidden(site, kind, row, pumps))
    return PauseMemory(kind, pumps, t_s, t_s + lasts_s, hidden)


def _not_now(
    plan: Plan, memory: Memory, rows: tuple[RowMemory, ...], pumps: tuple[str, ...]
) -> str:
    """Why these pumps cannot be paused as things stand; empty if they can."""
    in_force = [
        row
        for row, state in zip(plan.rows, rows, strict=True)
        if (state.standing or state.held) and _about(row, pumps)
    ]
    for pump, state in zip(plan.pumps, memory.pumps, strict=True):
        if pump.id in pumps and state.phase in (Phase.WAITING, Phase.LATCHED):
            causes = "; ".join(row.cause for row in in_force if pump.id in row.pumps)
            why = causes or "it rests before its next start"
            return f"the {plan.site.label(pump.id)} is held off already ({why}): nothing to pause"
    grave = "; ".join(row.cause for row in in_force if row.priority is Priority.HIGH)
    return f"not while this stands: {grave}. See to it first" if grave else ""


def _about(row: Row, pumps: tuple[str, ...]) -> bool:
    """False for a row that is about other pumps than these."""
    return not row.pumps or any(pump in row.pumps for pump in pumps)


def _hidden(site: Site, kind: PauseKind, row: Row, pumps: tuple[str, ...]) -> bool:
    """True for a row that a pause of these pumps suppresses: what is about others is left alone."""
    if row.hazard not in KINDS[kind].suppressed:
        return False
    if row.pumps:
        return all(pump in pumps for pump in row.pumps)
    if row.subject in site.pumps:
        return row.subject in pumps
    match site.sensors.get(row.subject):
        case FloatSwitch() | LevelSensor() as sensor:
            return any(sensor.chamber in _water_of(site, pump) for pump in pumps)
        case FlowMeter() as meter:
            return any(meter.on in (pump, *site.branches(pump)) for pump in pumps)
        case _:
            return False


# --- in words -------------------------------------------------------------------------------------


def _listed(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _hazards(pause: PauseMemory) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.split(".")[0] for row in pause.suppressed))


def _names(plan: Plan, pause: PauseMemory) -> str:
    return _listed(plan.site.label(pump) for pump in pause.pumps)


def _begins(plan: Plan, pause: PauseMemory) -> str:
    kind = KINDS[pause.kind]
    lasts = show.duration(pause.until_s - pause.since_s)
    silent = _listed(_hazards(pause) or ("nothing",))
    does = ("stops", "comes back by itself") if len(pause.pumps) == 1 else ("stop", "come back")
    said = (
        f"Pause for {kind.name}: the {_names(plan, pause)} {does[0]} for {lasts} and {does[1]}. "
        f"Suppressed meanwhile: {silent}; all else stays in force. The top-off is shut."
    )
    return f"{said} {kind.warning}".rstrip()


def _over(plan: Plan, pause: PauseMemory, t_s: float, how: str, *, back: bool = True) -> Event:
    then = ""
    if back:
        one = len(pause.pumps) == 1
        then = f": the {_names(plan, pause)} {'comes' if one else 'come'} back in the guarded order"
    text = f"The pause for {KINDS[pause.kind].name} {how}{then}"
    return Event(EventKind.PAUSE_ENDED, t_s, pause.pumps[0], text)
