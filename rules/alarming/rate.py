"""How many alarms the guard raises: in ten minutes, and in a day.

What a person can follow is an alarm in ten minutes on average; more than ten in ten minutes are a
flood (EEMUA 191, ISA-18.2, IEC 62682), in which each one hides the others.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.signals import AlarmRates

MINUTE_S, MINUTES = 60.0, 10
HOUR_S, HOURS = 3600.0, 24

FLOOD = 10
"""More alarms than this in ten minutes are a flood."""

Counts = tuple[tuple[int, int], ...]
"""Pairs of which minute or hour it was since the guard began, and how many alarms it had."""


@dataclass(frozen=True, slots=True)
class Raised:
    """Alarms by the minute and by the hour, those of the last ten minutes and of the last day."""

    minutes: Counts = ()
    hours: Counts = ()


NONE = Raised()
"""No alarm yet."""


def add(raised: Raised, alarms: int, t_s: float) -> Raised:
    """With so many alarms more, raised at `t_s` [s]."""
    if not alarms:
        return raised
    return Raised(
        _added(raised.minutes, alarms, int(t_s // MINUTE_S), MINUTES),
        _added(raised.hours, alarms, int(t_s // HOUR_S), HOURS),
    )


def rates(raised: Raised, t_s: float) -> AlarmRates:
    """The figures at `t_s` [s]: this minute with the nine before it, this hour with 23."""
    lately = _sum(raised.minutes, int(t_s // MINUTE_S) - MINUTES)
    return AlarmRates(lately, _sum(raised.hours, int(t_s // HOUR_S) - HOURS), lately > FLOOD)


def _added(counts: Counts, alarms: int, now: int, keep: int) -> Counts:
    before = sum(count for at, count in counts if at == now)
    kept = tuple((at, count) for at, count in counts if now - keep < at < now)
    return (*kept, (now, before + alarms))


def _sum(counts: Counts, after: int) -> int:
    return sum(count for at, count in counts if at > after)
