"""How long the guard needs from cause to still water; every limit is derived from this."""

from __future__ import annotations

from rules.signals import TICK_S

RELAY_S = 0.05
"""Time for a relay to open [s]; relays of this size state 10 to 20 ms, doubled and rounded up."""

RESERVE = 2.0
"""A remedy must have this many times the time it needs; more is stricter."""

FILTER_S = 1.0
"""The filter assumed for a float that is not there yet [s]."""

LEASE_S = 2.0
"""An output that is not renewed for this long drops [s]; shorter is stricter, and trips on a
garbage collection or a slow card below about 0.5 s."""


def response_s(filter_s: float, run_on_s: float) -> float:
    """Time from a float turning to no more water rising [s]: see, decide, act, run on."""
    return filter_s + TICK_S + RELAY_S + run_on_s
