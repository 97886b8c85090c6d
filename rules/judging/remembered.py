"""What the judging of signals remembers from one look to the next: frozen, of a fixed size."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MeterPast:
    """What a flow meter showed before it changed, and what it has counted since then.

    `usual_m3_s` is its reading while it was steady, None before there was one; `left_s` is when it
    last left that [s], None while it is steady; `counted_m3` is what it counted since, `low_s`
    when it first showed hardly any flow, `back_s` since when it shows its usual flow again.
    """

    usual_m3_s: float | None = None
    left_s: float | None = None
    counted_m3: float = 0.0
    low_s: float | None = None
    back_s: float | None = None


@dataclass(frozen=True, slots=True)
class SplashPast:
    """A spill-edge float that has cut its pumps: when it became wet, when it was dry again [s],
    whether every witness denies since then that water stood there, and whether that has been judged
    to have been splash."""

    came_s: float
    denied: bool
    gone_s: float | None = None
    judged: bool = False


@dataclass(frozen=True, slots=True)
class Judged:
    """All of it. By pump: since when it has been off [s], None while it is on; its meter's past;
    and what the meter showed when the float over the low float fell dry [m3/s], None if nothing. By
    sensor: when a contact last turned [s], and what a level sensor read when its pumps stopped [m].
    """

    off_since_s: tuple[float | None, ...] = ()
    meters: tuple[MeterPast, ...] = ()
    dry_flow_m3_s: tuple[float | None, ...] = ()
    turned_s: tuple[float, ...] = ()
    stopped_m: tuple[float | None, ...] = ()
    splashes: tuple[SplashPast | None, ...] = ()


def begin(pumps: int, sensors: int, levels: int, splashes: int) -> Judged:
    """What is remembered before the first look."""
    return Judged(
        (None,) * pumps,
        (MeterPast(),) * pumps,
        (None,) * pumps,
        (0.0,) * sensors,
        (None,) * levels,
        (None,) * splashes,
    )


NOTHING = Judged()
