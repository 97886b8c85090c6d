"""How long the cause of a row has been there, net, and whether it stands."""

from __future__ import annotations

from rules.matrix import Row
from rules.memory import RowMemory

RETURN_S = 10.0
"""A cause that was acted on at once must be gone for this long before it counts as gone [s]: waves
at a float are one alarm, not a thousand. Longer is stricter."""


def step(row: Row, state: RowMemory, present: bool, dt_s: float) -> tuple[float, bool]:
    """Net time with the cause, and whether it stands: from a full charge until an empty one.

    A row without a delay stands at once, and until its cause has been gone for `RETURN_S`.
    """
    if row.delay_s == 0.0:
        if present:
            return RETURN_S, True
        left = max(0.0, state.charge_s - dt_s)
        return (0.0, False) if left < 1e-9 else (left, state.standing)
    if present:
        charge = min(row.delay_s, state.charge_s + dt_s)
        return charge, state.standing or charge >= row.delay_s - 1e-9
    charge = max(0.0, state.charge_s - dt_s)
    if charge < 1e-9:
        return 0.0, False
    return charge, state.standing
