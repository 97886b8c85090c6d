"""All kinds of faults, by name and by group."""

from __future__ import annotations

from simulator.campaign.kinds import machines, signals, water, world
from simulator.campaign.kinds.base import Kind

KINDS: tuple[Kind, ...] = (*water.KINDS, *machines.KINDS, *signals.KINDS, *world.KINDS)

GROUPS: dict[str, float] = {
    "drain": 4.0,
    "all drains": 2.0,
    "way in": 1.0,
    "screen": 2.0,
    "branch": 2.0,
    "leak": 2.0,
    "pump": 2.0,
    "top-off": 2.0,
    "water change": 1.0,
    "power": 2.0,
    "sensor": 4.0,
    "output": 1.0,
    "guard": 2.0,
}
"""How often a fault of each group is drawn, against the others."""


def of_group(group: str) -> tuple[Kind, ...]:
    """The kinds of one group."""
    return tuple(kind for kind in KINDS if kind.group == group)
