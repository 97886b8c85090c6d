"""Which failure would no sensor of this site see? Failure by sensor, derived from the site."""

from __future__ import annotations

from collections.abc import Iterator

from rules import voting
from rules.assessment import balances
from rules.assessment.coverage import Coverage
from rules.assessment.failures import SPILL_M3, Result
from rules.back import meter_of
from rules.drain_down import drain_down_of
from rules.figures import Figures
from rules.hazards.base import valve_of
from rules.site import show
from rules.site.model import Site
from rules.site.sensors import FloatSwitch, FlowMeter, LeakSensor, MainsSensor
from rules.voting import Vote


def coverage(site: Site, figures: Figures, results: tuple[Result, ...]) -> tuple[Coverage, ...]:
    """Every failure the assessment knows of, with the sensors that see it."""
    return (
        *(_of_result(site, figures, result) for result in results),
        *_of_pumps(site, figures),
        *_of_the_rest(site),
        *balances.coverage(site, figures),
        *_of_sensors(site, results),
    )


def _of_result(site: Site, figures: Figures, result: Result) -> Coverage:
    sensors = tuple(seen.sensor for seen in result.seen)
    if sensors:
        first = result.seen[0]
        note = f"first after {first.after_s:.0f} s"
        cutting = next((seen for seen in result.seen_at_worst if seen.cuts), None)
        if cutting is not None and cutting.spilled_m3 > SPILL_M3:
            over = show.volume(cutting.spilled_m3, site.site.units)
            note = f"{note}; {over} leave a tank after the cut, at worst"
        return Coverage(result.failure.title, sensors, note)
    if result.carried:
        highest = result.expected.highest_m[result.failure.chamber]
        chamber = site.chambers[result.failure.chamber]
        rise = (highest - figures.running.levels_m[result.failure.chamber]) * 1000
        if rise < 1.0:
            note = "nothing changes until the others fail: only a wet test proves it"
            return Coverage(result.failure.title, (), note)
        left = (chamber.rim_m - highest) * 1000
        note = (
            f"no water leaves a tank: the {site.label(result.failure.chamber)} rises "
            f"{rise:.0f} mm, to {left:.0f} mm under its rim, where nothing hangs"
        )
        return Coverage(result.failure.title, (), note)
    return Coverage(result.failure.title, (), "water leaves a tank and nothing tells")


def _of_pumps(site: Site, figures: Figures) -> Iterator[Coverage]:
    for key, pump in site.pumps.items():
        branches = set(site.branches(key))
        meters = tuple(
            k
            for k, s in site.sensors.items()
            if isinstance(s, FlowMeter) and (s.on == key or s.on in branches)
        )
        yield Coverage(
            f"{site.label(key)} stands still",
            meters,
            "by its flow" if meters else "no meter: found when a person looks",
        )
        low = tuple(site.floats(pump.from_, "dry-run"))
        yield Coverage(
            f"{site.label(key)} about to draw air", low, "by the level" if low else "no low float"
        )
        place, _ = meter_of(site, figures, key)
        counts = drain_down_of(site, figures, key, place) is not None
        for name, branch in site.branches(key).items():
            if branch.siphon_break is not None:
                on_its_way = {list(site.sensors)[place]} if counts and place is not None else set()
                yield Coverage(
                    f"siphon break of the {site.label(name)} plugged",
                    (
                        *(k for k in meters if k in on_its_way & _metering(site, (key, name))),
                        *site.floats(pump.from_, "spill-edge"),
                    ),
                    "only once the pump stops, by what then runs down",
                )


def _metering(site: Site, where: tuple[str, ...]) -> set[str]:
    """The meters of a pump or a branch."""
    return {k for k, s in site.sensors.items() if isinstance(s, FlowMeter) and s.on in where}


def _of_the_rest(site: Site) -> Iterator[Coverage]:
    leaks = tuple(k for k, s in site.sensors.items() if isinstance(s, LeakSensor))
    yield Coverage(
        "a hose or a tank leaks", leaks, "where the pads lie" if leaks else "no leak pad"
    )
    mains = tuple(k for k, s in site.sensors.items() if isinstance(s, MainsSensor))
    yield Coverage(
        "the pump's supply is gone",
        mains or tuple(k for k, s in site.sensors.items() if isinstance(s, FlowMeter)),
        "by its own input" if mains else "only by the flow that stops",
    )
    if site.top_off is not None:
        wanting = tuple(site.floats(site.top_off.to, "top-off"))
        low = tuple(site.floats(site.top_off.to, "dry-run"))
        note = "when the level has fallen to the low float" if low else "no low float"
        if wanting and valve_of(site) is not None:
            note = f"by {show.duration(site.top_off.longest)} open, and the level not back"
        inside = (
            *site.floats(site.top_off.reservoir, "dry-run"),
            *site.levels(site.top_off.reservoir),
        )
        sensors = (*inside, *(wanting or low))
        yield Coverage("reservoir empty, or its valve stuck shut", sensors, note)


def _of_sensors(site: Site, results: tuple[Result, ...]) -> Iterator[Coverage]:
    """A float stuck in its good state is seen by nothing; does another one cover what it covers?
    And what tells that a level sensor is off?"""
    voted = voting.derive(site)
    for key, sensor in site.floats().items():
        if not isinstance(sensor, FloatSwitch) or sensor.duty == "top-off":
            continue
        alone = [
            result.failure.title
            for result in results
            if not result.carried
            and any(s.sensor == key and s.in_time for s in result.seen_at_worst)
            and not any(s.sensor != key and s.in_time for s in result.seen_at_worst)
        ]
        if alone:
            note = f"then nothing else is in time for: {'; '.join(alone)}. Lift it by hand monthly"
        elif key in voted:
            note = f"{_vote_sees(voted[key])}. Lift it by hand monthly"
        else:
            note = "another sensor is in time for all that it sees. Lift it by hand monthly"
        yield Coverage(f"{site.label(key)} stuck in its good state", (), note)
    for key, level in site.levels().items():
        beside = tuple(site.floats(level.chamber))
        yield Coverage(
            f"{site.label(key)} drifts",
            beside,
            "once it says wet where a float is dry, or dry where one is wet"
            if beside
            else "no float beside it: compare it with a ruler monthly",
        )


def _vote_sees(vote: Vote) -> str:
    """What a stuck float means where others of its vote hang beside it."""
    others = "another" if len(vote.ids) == 2 else "the other two"
    return f"{others} of the same vote ({vote.pattern}) see{'s' if others == 'another' else ''} it"


def unseen(table: tuple[Coverage, ...]) -> tuple[Coverage, ...]:
    """The failures that no sensor sees."""
    return tuple(row for row in table if not row.sensors)
