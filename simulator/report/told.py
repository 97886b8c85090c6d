"""A drill's night as it is to be told: with the guard, with a high float alone, with neither."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from rules.site.model import Site
from simulator.night.evidence import Trace
from simulator.night.outcome import Outcome
from simulator.story.drill import Drill
from simulator.story.judge import DROP_M3
from simulator.story.roles import NoSuchRoleError, Sort, resolve

Bands = Mapping[str, tuple[float, float]]
"""How far the computed capacity of a chamber's drains may be off: least and most, as shares."""

SORTS: tuple[Sort, ...] = ("chamber", "passage", "branch", "pump", "valve", "sensor", "meter")


@dataclass(frozen=True, slots=True)
class Keeper:
    """Who keeps the pump: its name in a table, and in a sentence."""

    name: str
    said: str


KEEPERS: dict[str, Keeper] = {
    "guard": Keeper("guard", "with the guard"),
    "high-float": Keeper("high float alone", "with a high float alone"),
    "none": Keeper("no guard", "without a guard"),
}
"""The keepers a page knows, in the order in which it shows them."""


class Course:
    """One night's trace by its columns; times are from the start of the drill [s]."""

    def __init__(self, trace: Trace, still_until_s: float = 0.0) -> None:
        """`still_until_s` is when anything happens first: a first row up to then holds before."""
        rows = trace.rows
        if rows and 0.0 < rows[0][0] <= still_until_s:
            rows = [(0.0, *rows[0][1:]), *rows]
        self._columns = dict(zip(trace.columns, zip(*rows, strict=True), strict=False))
        self.t_s: tuple[float, ...] = self._columns.get("t_s", ())

    def values(self, name: str) -> tuple[float, ...]:
        """One column; empty if the trace has none of that name."""
        return self._columns.get(name, ())

    def level_m(self, chamber: str) -> tuple[float, ...]:
        """The level of a chamber [m above its bottom]."""
        return self.values(f"{chamber}.level_m")

    def highest_m(self, chamber: str) -> float | None:
        """The highest level of a chamber in the trace; None if it is not in it."""
        return max(self.level_m(chamber), default=None)

    @cached_property
    def floor_m3(self) -> tuple[float, ...]:
        """All the water on the floor until then [m3]: what spilled and what leaked."""
        spilled = self.values("spilled_m3")
        leaked = self.values("leaked_m3") or (0.0,) * len(spilled)
        return tuple(map(sum, zip(spilled, leaked, strict=True)))

    @cached_property
    def first_wet_s(self) -> float | None:
        """When the floor first was wet, within the samples that show it.

        Between the last dry sample and the first wet one it came as fast as it then went on.
        """
        first = next((i for i, water in enumerate(self.floor_m3) if water > DROP_M3), None)
        if first is None or first == 0 or first + 1 == len(self.t_s):
            return None if first is None else self.t_s[first]
        t_s, water = self.t_s, self.floor_m3
        grows = water[first + 1] - water[first]
        if grows <= 0.0:
            return t_s[first]
        came_s = (water[first] - water[first - 1]) * (t_s[first + 1] - t_s[first]) / grows
        return max(t_s[first - 1], t_s[first] - came_s)


@dataclass(frozen=True)
class Told:
    """One drill with its nights, by keeper; the guard's is always among them.

    `name` is what the drill is called on the command line, `again` the words that repeat it.
    """

    name: str
    group: str
    site: Site
    drill: Drill
    nights: Mapping[str, Outcome]
    bands: Bands
    again: str = ""

    @property
    def guard(self) -> Outcome:
        """The night under the guard."""
        return self.nights["guard"]

    @cached_property
    def courses(self) -> dict[str, Course]:
        """The traces of the nights."""
        still_s = min((event.at for event in self.drill.happens), default=self.drill.lasts)
        return {keeper: Course(self.nights[keeper].trace, still_s) for keeper in self.keepers}

    @property
    def keepers(self) -> tuple[str, ...]:
        """The keepers of whom there is a night, in the order in which they are shown."""
        return tuple(keeper for keeper in KEEPERS if keeper in self.nights)

    @cached_property
    def first_alarm_s(self) -> float | None:
        """When the guard first raised an alarm after the cause."""
        since = self.guard.cause_s or 0.0
        return next((t for t, _, _ in self.guard.alarms if t >= since), None)

    @property
    def has_water(self) -> bool:
        """True where there is water to look at; a recording that is played has readings only."""
        return bool(self.courses["guard"].t_s)

    @cached_property
    def foremost(self) -> str | None:
        """The chamber that spills most in any night; if none does, the one nearest to its rim."""
        chambers = self.chambers

        def worst(chamber: str) -> tuple[float, float]:
            spilled = max(night.spilled_m3.get(chamber, 0.0) for night in self.nights.values())
            highest = max(course.highest_m(chamber) or 0.0 for course in self.courses.values())
            rim = self.site.chambers[chamber].rim
            return (spilled if spilled > DROP_M3 else 0.0, highest - rim)

        return max(chambers, key=worst, default=None)

    @cached_property
    def chambers(self) -> tuple[str, ...]:
        """The chambers that this night is about, at most six, in the order of the site file."""
        weights = {
            key: self._weight(key)
            for key in self.site.chambers
            if any(course.level_m(key) for course in self.courses.values())
        }
        ranked = sorted(weights, key=lambda key: -weights[key])
        shown = [key for key in ranked if weights[key] >= 30.0][:6] or ranked[:1]
        return tuple(key for key in self.site.chambers if key in shown)

    def _weight(self, chamber: str) -> float:
        weight = 0.0
        if any(n.spilled_m3.get(chamber, 0.0) > DROP_M3 for n in self.nights.values()):
            weight += 100.0
        if chamber in self._named:
            weight += 60.0
        levels = [c.level_m(chamber) for c in self.courses.values() if c.level_m(chamber)]
        low, high = min(map(min, levels)), max(map(max, levels))
        floats = self.site.floats(chamber)
        if any(low <= f.height <= high for f in floats.values() if f.duty != "top-off"):
            weight += 50.0
        if any(chamber == pump.from_ for pump in self.site.pumps.values()):
            weight += 35.0
        return weight + 20.0 * min(1.0, (high - low) / self.site.chambers[chamber].rim)

    @cached_property
    def _named(self) -> set[str]:
        """The chambers that something happens to, or in, or to a way out of."""
        return {
            chamber
            for happening in self.drill.happens
            for key in things(self.site, getattr(happening, "where", ""))
            for chamber in _chambers_at(self.site, key)
        }


def things(site: Site, role: str) -> tuple[str, ...]:
    """The ids of what plays a role of any sort on this site; empty where nothing does."""
    for sort in SORTS:
        try:
            return resolve(site, sort, role)
        except NoSuchRoleError:
            continue
    return ()


def _chambers_at(site: Site, key: str) -> tuple[str, ...]:
    """The chambers that a thing is, leads from, feeds, draws from, or hangs in."""
    if key in site.chambers:
        return (key,)
    thing = site.passages.get(key) or site.pumps.get(key) or site.sensors.get(key)
    found = [getattr(thing, "from_", None), getattr(thing, "chamber", None)]
    if key in site.passages and found == [None, None]:
        found.append(getattr(thing, "to", None))  # a branch of a pump
    return tuple(chamber for chamber in found if chamber in site.chambers)
