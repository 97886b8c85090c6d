"""How often a rare thing happens, with the exact interval that a count of it allows."""

from __future__ import annotations

from math import exp, lgamma, log

TURNS = 200  # of the bisection; far more than doubles can tell apart


def at_most(count: int, mean: float) -> float:
    """Chance that a Poisson count of this mean is at most `count`.

    The sum of exp(-mean) mean^k / k! for k from 0 to `count`, each term by its logarithm.
    """
    if mean <= 0.0:
        return 1.0
    return min(1.0, sum(exp(k * log(mean) - mean - lgamma(k + 1.0)) for k in range(count + 1)))


def interval(count: int, share: float = 0.95) -> tuple[float, float]:
    """The exact two-sided interval for the mean of a Poisson count.

    Garwood (1936): the least mean of which `count` or more has the chance (1 - share) / 2, and the
    greatest of which `count` or fewer has it. With a count of 0 the least is 0.
    """
    tail = (1.0 - share) / 2.0
    low = 0.0 if count == 0 else _mean_at(count - 1, 1.0 - tail)
    return low, _mean_at(count, tail)


def _mean_at(count: int, chance: float) -> float:
    """The mean at which a count is at most `count` with this chance; by bisection."""
    low, high = 0.0, count + 10.0
    while at_most(count, high) > chance:
        high *= 2.0
    for _ in range(TURNS):
        middle = 0.5 * (low + high)
        if at_most(count, middle) > chance:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
