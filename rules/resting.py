"""How long a pump rests before it is started again, and how often before a person is asked."""

from __future__ import annotations

RESTS_S = (300.0, 900.0)
"""Rest before the first and the second restart, from when the cause is gone [s]. After as many
restarts as there are rests the cut is latched: a float that hangs must not start a pump all night.
Animals in a reef tank bear an hour without return flow; longer rests and fewer are stricter."""

SUPPLY_REST_S, LONGEST_SUPPLY_REST_S = 60.0, 1800.0
"""Rest after a cut that no water caused (supply, lease), until levels have settled [s]; twice as
long after each further one, up to the second figure, so that a loose wire does not hunt."""

RUNS_BORNE = 3
"""A guard that finds its pump left on so many times on end lets it rest; fewer is stricter. While
drains prime after a start, what watches them waits: a guard that dies every minute would have it
run without them."""

RUNS_REST_S, LONGEST_RUNS_REST_S = 900.0, 3600.0
"""That rest [s]; twice as long after each further time, up to the second figure."""

RUNS_FORGET_S = 3600.0
"""A guard that has seen its pump run for so long on end has not been ended again and again [s];
longer is stricter."""


def water_rest_s(attempts: int) -> float:
    """Rest before the next restart of a pump that water had cut so many times [s]; 0 for none."""
    return RESTS_S[min(attempts, len(RESTS_S)) - 1] if attempts > 0 else 0.0


def supply_rest_s(flaps: int) -> float:
    """Rest of a pump that was cut so many times by supply or lease [s]; 0 for none."""
    return min(LONGEST_SUPPLY_REST_S, SUPPLY_REST_S * 2.0 ** min(flaps - 1, 20)) if flaps else 0.0


def runs_rest_s(runs: int) -> float:
    """Rest of a pump that the guard has found left on so many times [s]; 0 while that is borne."""
    if runs < RUNS_BORNE:
        return 0.0
    return min(LONGEST_RUNS_REST_S, RUNS_REST_S * 2.0 ** min(runs - RUNS_BORNE, 20))
