"""Rows that the plumbing gives rise to, made stricter by the site file; an attempt to loosen one is
refused with a sentence.

Stricter is: a shorter delay, an end that takes a person, a graver effect. Some effects are no
stricter but wrong, whatever a file says: see `NO_CUT`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rules.matrix import Clear, Effect, Row
from rules.site import show
from rules.site.model import Site
from rules.site.own_checks import no_pumps_to_cut
from rules.site.own_rows import Stricter
from rules.site.problems import Problem, SiteError

CLEARS = {
    "when-clear": Clear.WHEN_CLEAR,
    "on-acknowledge": Clear.ON_ACKNOWLEDGE,
    "on-reset": Clear.ON_RESET,
}
"""How the file writes what ends a row; from the easiest to the strictest."""

EFFECTS = {
    "alarm": Effect.ALARM_ONLY,
    "shut-top-off": Effect.INHIBIT_TOP_OFF,
    "cut-pumps": Effect.CUT_PUMP,
}
"""How the file writes what a row does; from the least to the most."""

NO_CUT = {
    "chamber-high": "the pump takes water out of this chamber, and a stop would send more down",
    "pump-off": "it tells that a pump is off already, and would keep it from ever coming back",
    "lease-lost": "it is over at once, and has cut its own pump already",
}
"""Hazards for which a cut would be no stricter but wrong, each with the reason."""

_ORDER = tuple(CLEARS.values())


def tightened(site: Site, rows: tuple[Row, ...], file: str = "the site file") -> tuple[Row, ...]:
    """The rows with what the site makes stricter; `file` is only its name, for messages.

    Raises SiteError with every row that is not there, or would be loosened.
    """
    if not site.stricter:
        return rows
    problems = [Problem(file, *finding) for finding in _findings(site, rows)]
    if problems:
        raise SiteError(problems)
    return tuple(_tightened(row, _of(site, row)) for row in rows)


def _of(site: Site, row: Row) -> Stricter | None:
    return site.stricter.get(row.hazard, {}).get(row.subject)


def _tightened(row: Row, wish: Stricter | None) -> Row:
    if wish is None:
        return row
    changed = []
    if wish.delay is not None:
        row = replace(row, delay_s=wish.delay)
        changed.append("delay")
    if wish.clear is not None:
        row = replace(row, clear=CLEARS[wish.clear])
        changed.append("clear")
    if wish.effect is not None:
        row = replace(row, effect=EFFECTS[wish.effect], pumps=wish.pumps or ())
        changed.append("effect")
    return replace(row, stricter=tuple(changed))


def _findings(site: Site, rows: tuple[Row, ...]) -> Iterator[tuple[str, str, str]]:
    by_place = {(row.hazard, row.subject): row for row in rows}
    known = {row.hazard for row in rows}
    for hazard, places in site.stricter.items():
        for subject, wish in places.items():
            table = f"stricter.{hazard}.{subject}"
            row = by_place.get((hazard, subject))
            if hazard == "own":
                yield table, "", f"set it in [rows.{subject}] itself"
            elif row is not None:
                yield from ((table, key, why) for key, why in _looser(site, row, wish))
            elif hazard in known:
                there = ", ".join(row.subject for row in rows if row.hazard == hazard)
                yield table, "", f"{hazard} has no row for {subject}; it has rows for {there}"
            else:
                there = ", ".join(dict.fromkeys(row.hazard for row in rows if row.hazard != "own"))
                yield table, "", f"no row of this site is called {hazard}; there are {there}"


def _looser(site: Site, row: Row, wish: Stricter) -> Iterator[tuple[str, str]]:
    """What would make a row looser, or not stricter: key and sentence."""
    if wish.delay is not None and wish.delay >= row.delay_s:
        if row.delay_s == 0.0:
            yield "delay", "it acts at once already: leave it out"
        else:
            own = show.duration(row.delay_s)
            yield "delay", f"of itself it waits {own}; give less: a row is never made looser"
    if wish.clear is not None and _ORDER.index(CLEARS[wish.clear]) <= _ORDER.index(row.clear):
        stricter = [key for key, clear in CLEARS.items() if _is_stricter(clear, row.clear)]
        right = f"give {' or '.join(stricter)}" if stricter else "leave it out"
        yield "clear", f"of itself it ends {row.clear.value}; {right}: a row is never made looser"
    if wish.effect is None:
        return
    if EFFECTS[wish.effect] <= row.effect:
        graver = [key for key, effect in EFFECTS.items() if effect > row.effect]
        right = f"give {' or '.join(graver)}" if graver else "leave it out"
        yield "effect", f"it does that or more of itself; {right}: a row is never made looser"
    elif wish.effect == "cut-pumps" and row.hazard in NO_CUT:
        yield "effect", f"it must not cut: {NO_CUT[row.hazard]}; leave it out"
    elif wish.effect == "shut-top-off" and site.top_off is None:
        yield "effect", "there is no [top_off] table: this site has no top-off to shut"
    yield from no_pumps_to_cut(site, wish.pumps or ())


def _is_stricter(clear: Clear, than: Clear) -> bool:
    return _ORDER.index(clear) > _ORDER.index(than)
