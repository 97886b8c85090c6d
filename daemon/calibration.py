"""What `calibrate` works out and says: the measured, the computed, and what changes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import count
from math import ceil, hypot
from pathlib import Path

from daemon import sitetext
from daemon.errors import InputError
from rules.assessment.doubt import doubt
from rules.bucket import METER_BELIEVED, RULER_READING_M, Found, flow_of, pulses_of
from rules.figures import compute
from rules.hydraulics.network import Hydraulics
from rules.site import show
from rules.site.measured import TOLERANCE_MOST
from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.passages import Branch
from rules.site.quantities import read
from rules.site.sensors import FlowMeter
from rules.site.show import GALLON_M3, Units

ID_LONGEST = 40


@dataclass(frozen=True, slots=True)
class Given:
    """A site file as it was given: its text, and where it lies (nowhere for a demo site)."""

    name: str
    path: Path | None
    text: str
    site: Site


@dataclass(frozen=True, slots=True)
class Outcome:
    """What to print, and the site file's new text."""

    lines: list[str]
    text: str


def flow(
    given: Given, of: str, runs: Sequence[Sequence[str]], level: str | None, today: date
) -> Outcome:
    """A measured flow of a pump or a branch, or, with the level above it, of another passage."""
    site, units = given.site, given.site.site.units
    _check_kind(site, of, level is not None)
    found = flow_of([(_volume(volume), _seconds(seconds)) for volume, seconds in runs])
    older = next((key for key, table in site.measured.items() if table.of == of), None)
    others = {key: table for key, table in site.measured.items() if key != older}
    before = site.model_copy(update={"measured": others})
    if level is None:
        computed, off = _running(Hydraulics(before), of)
    else:
        computed, off, ruler = _at_level(Hydraulics(before), of, level)
        found = found.also("ruler", ruler)
    tolerance = _tolerance(found)
    key = older or _free_id(site, of)
    values = {
        "of": json.dumps(of),
        "flow": json.dumps(_flow_text(found.value, units)),
        "tolerance": json.dumps(_percent(tolerance)),
        "date": today.isoformat(),
        **({} if level is None else {"level": json.dumps(level)}),
        "how": json.dumps(f"a bucket and a clock, {_runs(found)}"),
    }
    text = sitetext.with_table(given.text, f"measured.{key}", values)
    after = parse_site(text, given.name)
    lines = [
        f"{of}: measured {show.flow(found.value, units)}, give or take {_percent(tolerance)}, "
        f"from {_runs(found)}",
        f"  computed {show.flow(computed, units)}, give or take {_percent(off)}: "
        + _compared(found.value, tolerance, computed, off),
        *_doubts(found),
    ]
    if older is not None:
        told = site.measured[older]
        lines.append(f"  takes the place of {show.flow(told.flow, units)} of {told.date}")
    lines += ["", *_changes(before, after, of)]
    return Outcome([*lines, "", *_table(f"measured.{key}", values)], text)


def meter(given: Given, of: str, runs: Sequence[Sequence[str]], today: date) -> Outcome:
    """A flow meter's pulses a volume."""
    sensors, units = given.site.sensors, given.site.site.units
    sensor = sensors.get(of)
    if not isinstance(sensor, FlowMeter):
        meters = [key for key, one in sensors.items() if isinstance(one, FlowMeter)]
        known = f"its flow meters are {', '.join(meters)}" if meters else "it has none"
        raise InputError(f'--of: "{of}" is no flow meter of this site; {known}')
    found = pulses_of([(_volume(volume), _count(count)) for volume, count in runs])
    tolerance, ratio = _tolerance(found), found.value / sensor.pulses
    least, most = METER_BELIEVED
    if not least <= ratio <= most:
        raise InputError(
            f"{of}: {_pulses_text(found.value, units)} counted, and the site file says "
            f"{_pulses_text(sensor.pulses, units)}: pulses or water were missed, or it is another "
            "meter. Run it again, or set pulses by hand"
        )
    values = {
        "pulses": json.dumps(_pulses_text(found.value, units))
        + f"  # a bucket, {_runs(found)}, {today.isoformat()}",
        "tolerance": json.dumps(_percent(tolerance)),
    }
    text = sitetext.with_table(given.text, f"sensors.{of}", values)
    parse_site(text, given.name)
    change = 1.0 / ratio - 1.0
    lines = [
        f"{of}: measured {_pulses_text(found.value, units)}, give or take {_percent(tolerance)}, "
        f"from {_runs(found)}",
        f"  the site file says {_pulses_text(sensor.pulses, units)}, give or take "
        f"{_percent(sensor.tolerance)}",
        *_doubts(found),
        f"  a flow reads {_percent(abs(change))} {'more' if change > 0 else 'less'} than before",
    ]
    return Outcome([*lines, "", *_table(f"sensors.{of}", values)], text)


def _table(name: str, values: Mapping[str, str]) -> list[str]:
    return [f"[{name}]", *(f"{key} = {literal}" for key, literal in values.items())]


# --- what was given ------------------------------------------------------------------------------


def _check_kind(site: Site, of: str, with_level: bool) -> None:
    """Refuse an id that is of the other kind, or of nothing."""
    pumped = [*site.pumps, *(k for k, p in site.passages.items() if isinstance(p, Branch))]
    ways = list(site.gravity())
    wanted, other = (ways, pumped) if with_level else (pumped, ways)
    if of in wanted:
        return
    if of in other:
        raise InputError(
            f"--of: no level drives {of}, a pump does: use calibrate ... flow"
            if with_level
            else f"--of: a level drives {of}, no pump does: use calibrate ... drain, with --level"
        )
    raise InputError(f'--of: this site has no "{of}"; it has {", ".join(wanted)}')


def _quantity(option: str, text: str, unit: str, example: str) -> float:
    try:
        return read(text, unit, example)
    except ValueError as error:
        raise InputError(f"{option}: {error}") from None


def _more_than_nought(text: str, unit: str, example: str) -> float:
    value = _quantity("--run", text, unit, example)
    if value <= 0.0:
        raise InputError(f'--run: "{text}" must be more than nought')
    return value


def _volume(text: str) -> float:
    return _more_than_nought(text, "m^3", '"20 l" or "5 gal"')


def _seconds(text: str) -> float:
    return _more_than_nought(text, "s", '"18.2 s" or "1.5 min"')


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 12 or int(text) == 0:
        raise InputError(f'--run: "{text}" is no count of pulses; give a whole number, like 8950')
    return int(text)


def _free_id(site: Site, of: str) -> str:
    """An id for the table of a new measurement."""
    taken = {
        key
        for table in ("chambers", "passages", "pumps", "measured", "sensors", "outputs", "people")
        for key in getattr(site, table)
    }
    names = (f"{of[: ID_LONGEST - len(end)].rstrip('-')}{end}" for end in _endings())
    return next(name for name in names if name not in taken)


def _endings() -> Iterator[str]:
    yield "-measured"
    yield from (f"-measured-{n}" for n in count(2))


# --- what is computed ----------------------------------------------------------------------------


def _running(hydraulics: Hydraulics, of: str) -> tuple[float, float]:
    """The computed flow of a pump or a branch, and its doubt."""
    running = hydraulics.running()
    if of in running.pumps:
        return running.pumps[of].flow_m3_s, hydraulics.uncertainty(of)
    return running.flows_m3_s[of], hydraulics.uncertainty(of)


def _at_level(hydraulics: Hydraulics, of: str, level: str) -> tuple[float, float, float]:
    """The computed flow of a passage at a level, its doubt, and what a ruler's error is worth."""
    site = hydraulics.site
    passage = site.gravity()[of]
    up = site.chambers[passage.from_].above_datum_m(_quantity("--level", level, "m", '"165 mm"'))
    computed = hydraulics.capacity(of, up)
    if computed <= 0.0:
        raise InputError(
            f"--level: with {level} of water in {passage.from_}, {of} would carry none by the "
            "plumbing as described; read the level again, above the bottom of that chamber"
        )
    ends = [hydraulics.capacity(of, up + off) for off in (RULER_READING_M, -RULER_READING_M)]
    below = hydraulics.running().levels_m[passage.to]
    off = hydraulics.passages[of].uncertainty(up, below)
    return computed, off, (ends[0] - ends[1]) / 2.0 / computed


def _outlook(site: Site, of: str) -> Iterator[tuple[str, str]]:
    """What a measured flow of a thing may move, and how it stands."""
    units, figures, hydraulics = site.site.units, compute(site), Hydraulics(site)
    margins = doubt(site, figures, hydraulics)
    for lift in figures.lifts:
        off = _percent(hydraulics.uncertainty(lift.pump))
        flow = show.flow(lift.flow_m3_s, units)
        yield f"{site.label(lift.pump)} lifts", f"{flow}, give or take {off}"
    for drained in figures.drained:
        place = site.label(drained.chamber)
        level = drained.level_m - site.chambers[drained.chamber].bottom
        if of in drained.capacity_m3_s:
            most = show.flow(drained.capacity_m3_s[of], units)
            yield f"{site.label(of)} carries at most", most
        yield f"{place}: level", show.length(level, units)
        band = margins.of_chamber(drained.chamber).margin
        yield f"{place}: margin", f"{band.value:.2f} ({band.low:.2f} to {band.high:.2f})"


def _changes(before: Site, after: Site, of: str) -> list[str]:
    """What the measurement moves, as a table; nothing that stays as it is."""
    moved = [
        (what, was, now)
        for (what, was), (_, now) in zip(_outlook(before, of), _outlook(after, of), strict=True)
        if was != now
    ]
    if not moved:
        return ["  it moves no figure of the site"]
    rows = [("", "as computed", "as measured"), *moved]
    wide = [max(len(row[i]) for row in rows) for i in range(3)]
    return [f"  {a:{wide[0]}}  {b:{wide[1]}}  {c:{wide[2]}}".rstrip() for a, b, c in rows]


# --- words ---------------------------------------------------------------------------------------


def _tolerance(found: Found) -> float:
    """The doubt of what was found, rounded up to a tenth of a per cent."""
    tolerance = ceil(found.tolerance * 1000.0 - 1e-9) / 1000.0
    if tolerance > TOLERANCE_MOST:
        worst = max(found.parts, key=lambda cause: found.parts[cause])
        raise InputError(
            f"the runs leave a doubt of {_percent(tolerance)}, most of it from the {worst}: of no "
            "use. Catch more water in each run, make more runs, or raise the level over the edge"
        )
    return tolerance


def _doubts(found: Found) -> list[str]:
    parts = ", ".join(f"{cause} {share * 100:.2f} %" for cause, share in found.parts.items())
    lines = [
        f"  its doubt: {parts};",
        f"  the root of their squares times {found.coverage:.2f} holds 95 times in 100 (JCGM 100)",
    ]
    if found.runs == 1:
        lines.append("  one run says nothing of the spread: make three")
    return lines


def _compared(measured: float, tolerance: float, computed: float, off: float) -> str:
    if abs(measured - computed) > hypot(measured * tolerance, computed * off):
        return "the two differ by more than their doubts; look for what the site file has wrong"
    if tolerance >= off:
        return "the two agree, and the measured one is no better known: it narrows nothing"
    return "the two agree within their doubts"


def _runs(found: Found) -> str:
    return "1 run" if found.runs == 1 else f"{found.runs} runs"


def _percent(share: float) -> str:
    return f"{share * 100:.1f} %"


def _flow_text(m3_s: float, units: Units) -> str:
    if units is Units.US:
        return f"{m3_s * 3600 / GALLON_M3:.4g} gal/h"
    return f"{m3_s * 60000:.4g} l/min"


def _pulses_text(pulses_m3: float, units: Units) -> str:
    if units is Units.US:
        return f"{pulses_m3 * GALLON_M3:.4g} pulses/gal"
    return f"{pulses_m3 / 1000:.4g} pulses/l"
