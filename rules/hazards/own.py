"""A row of the site's own.

The story: whoever keeps these tanks knows something that no drawing tells. The skimmer floods its
cup when its chamber rises by a hand; a pump of this make stops being itself long before it stops. A
row of the site file names one quantity of the model, beyond which value and for how long, and what
is done then. It stands beside the rows that the plumbing gives rise to, and takes nothing from
them.

What cannot be known for a while (a meter that cannot be read) leaves the row as it is: it neither
raises it nor lets it go; the row of that signal tells of it. A contact that cannot be read counts
as its worst case, as everywhere. Flow, margin, capacity and times are those of a pump that runs:
what a stop makes of them is no cause.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, cut_words
from rules.matrix import Effect, Row
from rules.signals import DrainFigures, Phase, Priority, Quality, Saying
from rules.site import show
from rules.site.model import Site
from rules.site.own_rows import OwnRow
from rules.tightening import CLEARS, EFFECTS

PRIORITIES = {"low": Priority.LOW, "medium": Priority.MEDIUM, "high": Priority.HIGH}

WORDS = {
    "level": "level of the",
    "return-flow": "flow of the",
    "flow": "flow at the",
    "margin": "margin of the drains of the",
    "capacity": "capacity of the drains of the",
    "spill-time": "time until water spills from the",
    "dry-time": "time until air is drawn by the",
}


def rows(site: Site, _figures: Figures) -> Iterator[Row]:
    """One row for every row that the site file has of its own."""
    for key, own in site.rows.items():
        effect = EFFECTS[own.does]
        yield Row(
            "own",
            key,
            f"{own.name} ({_condition(site, own)})",
            own.for_,
            CLEARS[own.clear],
            effect,
            PRIORITIES[own.priority] if own.priority else priority.of(f"own-{own.does}"),
            own.pumps or (),
        )


def _condition(site: Site, own: OwnRow) -> str:
    """When it is present, in words: "flow of the return pump under 35.0 l/min"."""
    label = site.label(own.of)
    if own.quantity == "reading":
        return f"{label} {own.reads}"
    value, side = (own.above, "over") if own.above is not None else (own.below, "under")
    assert value is not None
    return f"{WORDS[own.quantity]} {label} {side} {_shown(site, own, value)}"


def _shown(site: Site, own: OwnRow, value: float) -> str:
    match own.quantity:
        case "level":
            return show.length(value, site.site.units)
        case "return-flow" | "flow" | "capacity":
            return show.flow(value, site.site.units)
        case "spill-time" | "dry-time":
            return show.duration(value)
        case _:
            return f"{value:.2f}"


def _stands(row: Row, view: View) -> bool:
    """Whether its cause stood at the last tick."""
    index = next(i for i, other in enumerate(view.plan.rows) if other is row)
    return view.memory.rows[index].standing


def present(row: Row, view: View) -> bool:
    """Beyond its value; while nobody can know, as it was."""
    own = view.plan.site.rows[row.subject]
    if own.quantity == "reading":
        return _says(own, view)
    stands = _stands(row, view)
    if own.quantity == "level":
        found = _level(own, view, stands)
    else:
        value = _value(own, view, stands)
        found = None if value is None else _beyond(own, value, stands)
    return stands if found is None else found


def _beyond(own: OwnRow, value: float, stands: bool) -> bool:
    """True for a value on the wrong side; once it stands, until it has passed where it clears."""
    limit = own.above if own.above is not None else own.below
    if stands and own.clears_at is not None:
        limit = own.clears_at
    assert limit is not None
    return value > limit if own.above is not None else value < limit


def _says(own: OwnRow, view: View) -> bool:
    """A contact says what it is waited for, or cannot be read and is taken to say it."""
    return view.wet(own.of) is (own.reads in ("wet", "present"))


def _level(own: OwnRow, view: View, stands: bool) -> bool | None:
    """Whether the level is beyond, by a sensor or by any float that would tell; None: not known.

    A float that does not tell says nothing of the stretch between it and the value: where there is
    a level sensor, only that one can say no.
    """
    plan = view.plan
    sensors = [level.index for level in plan.levels if level.chamber == own.of]
    read = [r for r in map(view.readings.__getitem__, sensors) if r.quality is not Quality.BAD]
    if any(_beyond(own, reading.value, stands) for reading in read):
        return True
    for key, sensor in plan.site.floats(own.of).items():
        if view.out(key):
            continue
        if own.above is not None and sensor.height >= own.above and view.wet(key):
            return True
        if own.below is not None and sensor.height <= own.below and not view.wet(key):
            return True
    return None if sensors and not read else False


def _value(own: OwnRow, view: View, stands: bool) -> float | None:
    """What it watches, as it is now; None while that is not known."""
    match own.quantity:
        case "flow":
            reading = view.reading(own.of)
            return None if reading.quality is Quality.BAD else reading.value
        case "return-flow":
            return _return_flow(own, view)
        case "dry-time":
            pumps = zip(view.plan.pumps, view.dry_s, strict=True)
            return next(dry_s for pump, dry_s in pumps if pump.id == own.of)
        case _:
            return _of_drains(own, view, stands)


def _return_flow(own: OwnRow, view: View) -> float | None:
    """The whole flow of a pump that runs; none of the others is too little or too much."""
    for index, pump in enumerate(view.plan.pumps):
        if pump.id != own.of or pump.meter is None:
            continue
        if view.memory.pumps[index].phase is not Phase.RUNNING:
            return inf if own.below is not None else 0.0
        if view.readings[pump.meter].quality is not Quality.BAD:
            return view.flows[index]
    return None


def _of_drains(own: OwnRow, view: View, stands: bool) -> float | None:
    """Margin, capacity or time to spill of a drained chamber.

    While its drains prime after a start they carry less, as they should. With the pump off nothing
    tells of them: what stood, stands on while water stands where clean drains would not let it.
    """
    for drain, live, at in zip(view.plan.drains, view.drains, view.stands_at, strict=True):
        if drain.chamber != own.of:
            continue
        if view.priming_of(drain):
            return inf
        if not view.fed(drain):
            return None if stands and at is not None else inf
        return _figure(own, live)
    return None


def _figure(own: OwnRow, live: DrainFigures) -> float:
    if own.quantity == "margin":
        return live.margin
    return live.capacity_m3_s if own.quantity == "capacity" else live.spill_s


def clock(row: Row, view: View) -> float:
    """Time to spill of the drained chamber that it is of, if it is of one."""
    own = view.plan.site.rows[row.subject]
    return next((d.spill_s for d in view.drains if d.chamber == own.of), inf)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site = view.plan.site
    own = site.rows[row.subject]
    value = None if own.quantity in ("reading", "level") else _value(own, view, True)
    now = f"; it is {_shown(site, own, value)}" if value is not None and value < inf else ""
    done = "Nothing is switched for this."
    if row.effect is Effect.INHIBIT_TOP_OFF:
        done = "The top-off is shut; the pump runs on."
    elif row.effect is Effect.CUT_PUMP:
        done = cut_words(row, view)
    return Saying(
        what=f"{own.name[:1].upper()}{own.name[1:]}: {_condition(site, own)}{now}",
        where=site.label(own.of),
        done=done,
        do_now=own.do_now or "This is a row of the site's own: see to what it names.",
    )


HAZARD = Hazard("own", rows, present, say, clock)
