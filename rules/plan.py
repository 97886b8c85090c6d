"""Everything the engine needs at each tick, derived once from the site and its figures."""

from __future__ import annotations

from dataclasses import dataclass

from rules import voting
from rules.assessment.doubt import doubt
from rules.back import Back, back_of, meter_of
from rules.balance import fresh, tracked
from rules.balance.fresh import FreshPlan
from rules.balance.tracks import TrackPlan
from rules.drain_down import DrainDown, drain_down_of
from rules.figures import Drained, Figures, downstream, feeding_pump
from rules.hydraulics.network import Hydraulics
from rules.judging.plan import JudgingPlan
from rules.judging.plan import derive as derive_judging
from rules.marks import Mark, Marks, mark_at
from rules.marks import derive as derive_marks
from rules.matrix import Row
from rules.observer.chart import Chart, charted
from rules.site.model import Site
from rules.site.outputs import (
    HeartbeatOutput,
    SounderOutput,
    SparePumpOutput,
    TopOffOutput,
)
from rules.site.passages import EmergencyDrain, SiphonDrain
from rules.site.sensors import FloatSwitch, LeakSensor, MainsSensor
from rules.voting import Vote
from rules.witness import Witnesses, witnesses_of

PRIME_LONGEST_S = 45.0
"""Longest time a siphon drain may take to prime after a start [s]; shorter is stricter."""

CONTACT_FILTER_S = 1.0
"""Filter of leak pads and supply inputs [s]: a drip or a flicker of the mains does not count."""


@dataclass(frozen=True, slots=True)
class Contact:
    """A float, pad or supply input as the engine sees it.

    `worst` is what it is taken for when it cannot be read; `filter_s` is the net time for which a
    new state must be read before it counts.
    """

    index: int
    id: str
    worst: bool
    filter_s: float


@dataclass(frozen=True, slots=True)
class Watch:
    """One drain-watch float, and the mark at which it hangs."""

    contact: Contact
    mark: Mark


@dataclass(frozen=True, slots=True)
class LevelPlan:
    """A level sensor for the tick: how far it may be off, and in a drained chamber its marks.

    `floats` are those of the same chamber by which it can be caught out: place among the sensors
    and height, lowest first.
    """

    index: int
    id: str
    chamber: str
    tolerance_m: float
    floats: tuple[tuple[int, float], ...]
    marks: Marks


@dataclass(frozen=True, slots=True)
class DrainPlan:
    """A drained chamber for the tick: the pumps that feed it, each with the share of its flow that
    arrives, and its capacities at the allowed level: of the largest firm drain, the other firm
    drains, and the emergency drains. `pump` is the first that feeds it; `levels` are places in the
    plan's level sensors; `witnesses` show that water over a watch is still carried; `chart` tells
    what is left of the largest drain, where a level sensor is fitted."""

    chamber: str
    pump: int
    feeds: tuple[tuple[int, float], ...]
    lead: str
    lead_m3_s: float
    firm_rest_m3_s: float
    emergency_m3_s: float
    inflow_m3_s: float
    bottom_to_rim_m: float
    watches: tuple[Watch, ...]
    levels: tuple[int, ...]
    witnesses: Witnesses
    dry_m3: float
    chart: Chart | None


@dataclass(frozen=True, slots=True)
class PumpPlan:
    """A pump for the tick; `prime_seen` tells whether every siphon that it feeds is watched, None
    where it feeds none; `back` what tells it from water that runs back, None without a meter or an
    output; `drain_down` what tells of its siphon breaks, None where nothing does."""

    id: str
    output: int | None
    nominal_m3_s: float
    meter: int | None
    meter_share: float
    prime_s: float
    dry_m3: float
    prime_seen: bool | None
    back: Back | None
    drain_down: DrainDown | None


@dataclass(frozen=True, slots=True)
class Spare:
    """A spare pump for the tick: it runs while none of `pumps` does, no `high` float is wet, and no
    row of `leaks` stands."""

    output: int
    pumps: tuple[int, ...]
    high: tuple[Contact, ...]
    leaks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class TopOffPlan:
    """The top-off for the tick.

    It may open only while all of `pumps` have run for a while; `longest_s` bounds one opening,
    `daily_s` all openings of a day together.
    """

    output: int
    switch: Contact
    longest_s: float
    daily_s: float
    pumps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of a site. Indexes are places in the site's sensors, outputs, pumps and rows;
    `sensors` and `outputs` give the index of an id, `votes` the vote of a float that has one,
    `level_ids` the place of a level sensor among `levels`."""

    site: Site
    figures: Figures
    sensors: dict[str, int]
    outputs: dict[str, int]
    contacts: dict[str, Contact]
    votes: dict[str, Vote]
    level_ids: dict[str, int]
    levels: tuple[LevelPlan, ...]
    drains: tuple[DrainPlan, ...]
    pumps: tuple[PumpPlan, ...]
    top_off: TopOffPlan | None
    fresh: FreshPlan | None
    tracks: tuple[TrackPlan, ...]
    spares: tuple[Spare, ...]
    sounders: tuple[int, ...]
    heartbeats: tuple[int, ...]
    rows: tuple[Row, ...]
    judging: JudgingPlan


def worst_case(sensor: object) -> bool | None:
    """What a contact that cannot be read is taken for: the state that calls for action."""
    if isinstance(sensor, FloatSwitch):
        return sensor.duty != "dry-run"  # a low float is feared dry, every other one wet
    if isinstance(sensor, LeakSensor):
        return True
    if isinstance(sensor, MainsSensor):
        return False
    return None


def _contacts(site: Site) -> dict[str, Contact]:
    found = {}
    for index, (key, sensor) in enumerate(site.sensors.items()):
        worst = worst_case(sensor)
        if worst is not None:
            filter_s = sensor.filter if isinstance(sensor, FloatSwitch) else CONTACT_FILTER_S
            found[key] = Contact(index, key, worst, filter_s)
    return found


def _watches(
    hydraulics: Hydraulics, figures: Figures, drained: Drained, lead: str
) -> tuple[Watch, ...]:
    site = hydraulics.site
    found = [
        Watch(_contacts(site)[key], mark_at(hydraulics, figures, drained, lead, sensor.height))
        for key, sensor in site.floats(drained.chamber, "drain-watch").items()
    ]
    return tuple(sorted(found, key=lambda watch: watch.mark.height_m))


def _lead(site: Site, drained: Drained) -> str:
    """The largest drain of a chamber that is no emergency drain, where it has such a one."""
    drains, capacity = site.drains_from(drained.chamber), drained.capacity_m3_s
    firm = [key for key in capacity if not isinstance(drains[key], EmergencyDrain)]
    return max(firm or capacity, key=lambda key: capacity[key])


def _level_plans(hydraulics: Hydraulics, figures: Figures) -> tuple[LevelPlan, ...]:
    site = hydraulics.site
    places = {key: index for index, key in enumerate(site.sensors)}
    fitted = {sensor.chamber for sensor in site.levels().values()}
    marks = {
        drained.chamber: derive_marks(hydraulics, figures, drained, _lead(site, drained))
        for drained in figures.drained
        if drained.chamber in fitted and drained.inflow_m3_s > 0
    }
    found = []
    for key, sensor in site.levels().items():
        beside = sorted((f.height, places[k]) for k, f in site.floats(sensor.chamber).items())
        floats = tuple((place, height) for height, place in beside)
        its = marks.get(sensor.chamber, Marks())
        found.append(LevelPlan(places[key], key, sensor.chamber, sensor.tolerance, floats, its))
    return tuple(found)


def _feeds(site: Site, figures: Figures, chamber: str) -> tuple[tuple[int, float], ...]:
    """The pumps whose water reaches a chamber, each with the share of its flow that does."""
    found = []
    for index, pump in enumerate(site.pumps):
        lift = figures.lift(pump)
        reaching = sum(
            lift.branches[key]
            for key, branch in site.branches(pump).items()
            if chamber in (branch.to, *downstream(site, (branch.to,)))
        )
        if reaching > 0 and lift.flow_m3_s > 0:
            found.append((index, reaching / lift.flow_m3_s))
    return tuple(found)


def _drain_plans(
    site: Site, hydraulics: Hydraulics, figures: Figures, levels: tuple[LevelPlan, ...]
) -> tuple[DrainPlan, ...]:
    plans = []
    level_places = {level.id: place for place, level in enumerate(levels)}
    bands = doubt(site, figures, hydraulics)
    for drained in figures.drained:
        drains = site.drains_from(drained.chamber)
        firm = {
            k: c
            for k, c in drained.capacity_m3_s.items()
            if not isinstance(drains[k], EmergencyDrain)
        }
        lead = _lead(site, drained)
        lift = figures.lift(drained.pump)
        watches = _watches(hydraulics, figures, drained, lead)
        fitted = [level for level in levels if level.chamber == drained.chamber]
        plans.append(
            DrainPlan(
                drained.chamber,
                list(site.pumps).index(drained.pump),
                _feeds(site, figures, drained.chamber),
                lead,
                drained.capacity_m3_s[lead],
                sum(c for k, c in firm.items() if k != lead),
                drained.all_m3_s - drained.firm_m3_s if firm else 0.0,
                drained.inflow_m3_s,
                site.chambers[drained.chamber].rim,
                watches,
                tuple(i for i, level in enumerate(levels) if level.chamber == drained.chamber),
                witnesses_of(site, figures, drained, bands, level_places),
                lift.dry_m3,
                charted(hydraulics, drained, lead, watches, fitted),
            )
        )
    return tuple(plans)


def prime_s(figures: Figures, pump: str) -> float:
    """How long drains may take to prime after a start of `pump` [s].

    Half of what the plumbing allows with its worst drain blocked, so that a start into a standing
    blockage is cut with as much time again to spare.
    """
    spills = [b.spill_s for d in figures.drained if d.pump == pump for b in d.blocked]
    return min([PRIME_LONGEST_S, *(0.5 * s for s in spills)])


def _prime_seen(site: Site, figures: Figures, pump: int) -> bool | None:
    """Whether the short run of a pump can show that its siphons have primed; None without any."""
    fed = [d.chamber for d in figures.drained if pump in dict(_feeds(site, figures, d.chamber))]
    seen = [
        bool(site.floats(chamber, "drain-watch") or site.levels(chamber))
        for chamber in fed
        if any(isinstance(drain, SiphonDrain) for drain in site.drains_from(chamber).values())
    ]
    return all(seen) if seen else None


def _pump_plans(site: Site, figures: Figures) -> tuple[PumpPlan, ...]:
    outputs = list(site.outputs)
    plans = []
    for index, key in enumerate(site.pumps):
        output = site.pump_output(key)
        meter, share = meter_of(site, figures, key)
        lift = figures.lift(key)
        plans.append(
            PumpPlan(
                key,
                outputs.index(output) if output else None,
                lift.flow_m3_s,
                meter,
                share,
                prime_s(figures, key),
                lift.dry_m3,
                _prime_seen(site, figures, index),
                back_of(site, figures, key, meter, share) if output and meter is not None else None,
                drain_down_of(site, figures, key, meter),
            )
        )
    return tuple(plans)


def _outputs_of(site: Site, kind: type) -> tuple[int, ...]:
    return tuple(i for i, output in enumerate(site.outputs.values()) if isinstance(output, kind))


def _top_off(site: Site, figures: Figures, contacts: dict[str, Contact]) -> TopOffPlan | None:
    valves = _outputs_of(site, TopOffOutput)
    floats = site.floats(duty="top-off")
    if site.top_off is None or not valves or not floats:
        return None
    key = next(iter(floats))
    drawing = [i for i, p in enumerate(site.pumps.values()) if p.from_ == site.top_off.to]
    return TopOffPlan(
        valves[0],
        contacts[key],
        site.top_off.longest,
        fresh.most_in_a_day_s(site, figures),
        tuple(drawing or range(len(site.pumps))),
    )


def _spares(site: Site, contacts: dict[str, Contact], rows: tuple[Row, ...]) -> tuple[Spare, ...]:
    """Spare pumps. Water on the floor stops them while it is there: nobody knows yet whose it is,
    and a pump near the surface of a chamber that is losing its water throws it over the rim."""
    leaks = tuple(i for i, row in enumerate(rows) if row.hazard == "leak")
    found = []
    for index, output in enumerate(site.outputs.values()):
        if isinstance(output, SparePumpOutput):
            pump = feeding_pump(site, output.chamber)
            pumps = (list(site.pumps).index(pump),) if pump else tuple(range(len(site.pumps)))
            high = tuple(contacts[k] for k in site.floats(output.chamber, "spill-edge"))
            found.append(Spare(index, pumps, high, leaks))
    return tuple(found)


def derive(site: Site, figures: Figures, rows: tuple[Row, ...]) -> Plan:
    """Derive the plan; `rows` come from `rules.hazards.table.rows`."""
    contacts = _contacts(site)
    hydraulics = Hydraulics(site, bore="mean")
    levels = _level_plans(hydraulics, figures)
    top_off = _top_off(site, figures, contacts)
    return Plan(
        site=site,
        figures=figures,
        sensors={key: index for index, key in enumerate(site.sensors)},
        outputs={key: index for index, key in enumerate(site.outputs)},
        contacts=contacts,
        votes=voting.derive(site),
        level_ids={level.id: i for i, level in enumerate(levels)},
        levels=levels,
        drains=_drain_plans(site, hydraulics, figures, levels),
        pumps=_pump_plans(site, figures),
        top_off=top_off,
        fresh=fresh.derive(site, figures) if top_off is not None else None,
        tracks=tracked.plans(site, figures),
        spares=_spares(site, contacts, rows),
        sounders=_outputs_of(site, SounderOutput),
        heartbeats=_outputs_of(site, HeartbeatOutput),
        rows=rows,
        judging=derive_judging(
            site, figures, tuple(meter_of(site, figures, pump) for pump in site.pumps)
        ),
    )


__all__ = ["Contact", "DrainPlan", "LevelPlan", "Plan", "PumpPlan", "Watch", "derive", "meter_of"]
