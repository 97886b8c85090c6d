"""A meter or a level sensor held against its own normal: slow averages, and what they drift to.

Three figures are kept of each: an average of the last hour or so, one of the last day or so, and
its normal, learned in the first hour of running. The normal only ever follows for the better, over
days: a slow decline is not swallowed by it, a rinsed sponge or a cleaned pump is. From the two
averages follows how fast it drifts, for one lags behind a steady drift by an hour and the other by
a day, and no history is kept.

Samples are taken by time, at most every ten seconds, and only while the water runs as it always
does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, floor, inf

SAMPLE_S = 10.0
"""A sample is taken no more often than this [s]."""

LONGEST_S = 60.0
"""However late a tick is, its sample stands for no more than this [s]."""

SETTLE_S = 600.0
"""The pumps must have run for so long before a sample counts [s]."""

HOUR_S, DAY_S = 3600.0, 86400.0

LEARN_S = HOUR_S
"""The normal is what the first hour of samples gives [s]."""

STEPS = 100.0
"""What is kept over a restart is rounded down to so many steps of the usual value: a card wears out
by writing."""


@dataclass(frozen=True, slots=True)
class TrackPlan:
    """One tracked sensor, in the unit of its readings.

    `pumps` must run for a sample to count, and the reading lie between `least` and `most`. It goes
    wrong by falling, or, where `rises`, by rising: from its normal, `spare` of the way to `limit`,
    which is a share of its normal where it falls. It is right again at `back` of the way. What is
    learned as normal is no worse than `worst`.
    """

    index: int
    id: str
    pumps: tuple[int, ...]
    usual: float
    least: float
    most: float
    limit: float
    spare: float
    back: float
    worst: float
    rises: bool = False


@dataclass(frozen=True, slots=True)
class Track:
    """A tracked sensor's averages and normal, None until learned; `learned_s` is for how long it
    has been sampled before, `sampled_s` when it was last, None after a gap [s]; `off` tells that
    it has gone wrong."""

    hour: float | None = None
    day: float | None = None
    normal: float | None = None
    learned_s: float = 0.0
    sampled_s: float | None = None
    off: bool = False


NEW = Track()


def step(plan: TrackPlan, track: Track, value: float | None, t_s: float, *, running: bool) -> Track:
    """One tick on; `value` is None where it cannot be read."""
    if value is None or not running or not plan.least <= value <= plan.most:
        return track if track.sampled_s is None else replace(track, sampled_s=None)
    if track.sampled_s is None:
        return replace(track, sampled_s=t_s)
    lasted_s = t_s - track.sampled_s
    if lasted_s < SAMPLE_S - 1e-6:
        return track
    return _sampled(plan, track, value, t_s, min(lasted_s, LONGEST_S))


def _sampled(plan: TrackPlan, track: Track, value: float, t_s: float, dt_s: float) -> Track:
    hour = _towards(track.hour, value, dt_s / min(HOUR_S, max(track.learned_s, SAMPLE_S)))
    day = _towards(track.day, value, dt_s / DAY_S)
    learned_s = min(LEARN_S, track.learned_s + dt_s)
    normal = track.normal
    if normal is None:
        normal = _learned(plan, hour) if learned_s >= LEARN_S else None
        day = hour
    elif (hour < normal) if plan.rises else (hour > normal):
        normal = _towards(normal, hour, dt_s / DAY_S)
    found = Track(hour, day, normal, learned_s, t_s, track.off)
    gone = way(plan, found)
    off = gone > plan.back if track.off else gone >= plan.spare
    return replace(found, off=off) if off != track.off else found


def _towards(before: float | None, value: float, share: float) -> float:
    """An average that has moved on by `share` of its time constant."""
    return value if before is None else value + (before - value) * exp(-share)


def _learned(plan: TrackPlan, hour: float) -> float:
    return min(hour, plan.worst) if plan.rises else max(hour, plan.worst)


def limit_of(plan: TrackPlan, normal: float) -> float:
    """Where it is of no more use."""
    return plan.limit if plan.rises else plan.limit * normal


def way(plan: TrackPlan, track: Track) -> float:
    """How far it has gone from its normal to its limit: 0 to 1."""
    if track.normal is None or track.hour is None:
        return 0.0
    whole = limit_of(plan, track.normal) - track.normal
    return (track.hour - track.normal) / whole if whole != 0.0 else inf


def left_s(plan: TrackPlan, track: Track) -> float:
    """How long until it is at its limit if it drifts on as in the last day [s]; infinite if it
    does not."""
    if track.normal is None or track.hour is None or track.day is None:
        return inf
    drift = (track.hour - track.day) / (DAY_S - HOUR_S)
    missing = limit_of(plan, track.normal) - track.hour
    if missing * drift <= 0.0:
        return 0.0 if way(plan, track) >= 1.0 else inf
    return missing / drift


def kept(plans: Sequence[TrackPlan], tracks: Sequence[Track]) -> dict[str, float]:
    """What outlives a restart of the daemon, of every sensor whose normal is known."""
    found = {}
    for plan, track in zip(plans, tracks, strict=False):
        if track.normal is not None and track.day is not None:
            unit = plan.usual / STEPS
            found[f"{plan.id}.normal"] = unit * floor(track.normal / unit)
            found[f"{plan.id}.day"] = unit * floor(track.day / unit)
    return found


def begun(plans: Sequence[TrackPlan], kept_by_name: Mapping[str, float]) -> tuple[Track, ...]:
    """The tracks of a guard that begins with what an earlier run left behind."""
    return tuple(
        NEW
        if f"{plan.id}.normal" not in kept_by_name
        else Track(
            day=kept_by_name.get(f"{plan.id}.day"),
            normal=kept_by_name[f"{plan.id}.normal"],
        )
        for plan in plans
    )
