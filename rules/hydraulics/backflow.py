"""What runs back through the pump's own pipes once it stops."""

from __future__ import annotations

from collections.abc import Mapping, Set

from rules.hydraulics.pump import PumpSystem
from rules.hydraulics.roots import crossing


def back_siphon_flow(
    system: PumpSystem,
    levels_m: Mapping[str, float],
    ceases_m: Mapping[str, float],
    held: Set[str] = frozenset(),
) -> dict[str, float]:
    """Flow back from each branch's chamber to the chamber the pump draws from [m3/s].

    A branch runs back while its chamber stands above `ceases_m` of that branch (its siphon break
    or, with none or a plugged one, its open end) and above the chamber below; branches in `held`
    have a check valve that closes. All go through the trunk together: the head where they meet is
    the one at which it carries their sum. The stopped pump itself counts as open, which is the
    unfavourable side. Losses of the runs are taken as in the pumped direction.
    """
    source = levels_m[system.source]
    flows = dict.fromkeys(system.branches, 0.0)
    running = {
        key: levels_m[branch.to]
        for key, branch in system.branches.items()
        if key not in held and levels_m[branch.to] > max(ceases_m[key], source)
    }
    if not running:
        return flows
    trunk = system.trunk

    def gathered(meeting_m: float) -> float:
        return sum(
            system.branches[key].pipe.flow(level - meeting_m)[0] for key, level in running.items()
        )

    meeting = source
    if trunk is not None:
        meeting = crossing(
            lambda at: trunk.flow(at - source)[0] - gathered(at), source, max(running.values())
        )
    for key, level in running.items():
        flows[key] = system.branches[key].pipe.flow(level - meeting)[0]
    return flows
