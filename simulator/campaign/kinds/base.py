"""What every drawn fault says of itself, and the dice it is drawn with."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, inf, log
from typing import TypeVar

from rules.site.model import Site

Happens = dict[str, str | float]
"""One happening as a drill's file writes it, with its units."""

Thing = TypeVar("Thing")

FIRST_S = 300.0  # nothing goes wrong before: a stand-in may still be learning
LAST_SHARE = 0.8  # of the night, by which whatever goes wrong has begun
SUDDEN_S = 1.0
CLOSE_SHARE, CLOSE_S = 0.6, (1.0, 1800.0)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing gone wrong in a night.

    `where` are ids of the site. `passages` carry less because of it, `sensors` can no longer be
    believed, `outputs` no longer obey. `ends_s` is when it is over by itself; infinite if never.
    An alarm of a hazard in `named_by` names it, if its subject is in `felt_in` where that is given;
    and so does any alarm about one of its `sensors`.
    """

    kind: str
    where: tuple[str, ...]
    at_s: float
    happens: tuple[Happens, ...]
    ends_s: float = inf
    passages: frozenset[str] = frozenset()
    sensors: frozenset[str] = frozenset()
    outputs: frozenset[str] = frozenset()
    named_by: tuple[str, ...] = ()
    felt_in: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kind:
    """A named kind of fault: its group, how it is drawn, and the hazards whose alarm names it.

    `draw` gives None on a site that has nothing it could happen to.
    """

    name: str
    group: str
    draw: Callable[[Dice, Site], Fault | None]
    named_by: tuple[str, ...] = ()


class Dice:
    """Seeded draws for one night of `lasts_s` seconds."""

    def __init__(self, seed: str, lasts_s: float) -> None:
        self._random = random.Random(seed)  # a text seeds the same in every process
        self.lasts_s = lasts_s
        self.after_s: float | None = None  # an earlier fault, on whose heels the next may come

    def chance(self, share: float) -> bool:
        """True so often."""
        return self._random.random() < share

    def whole(self, least: int, most: int) -> int:
        """A whole number."""
        return self._random.randint(least, most)

    def between(self, least: float, most: float) -> float:
        """Anything in a range, all alike."""
        return self._random.uniform(least, most)

    def any_size(self, least: float, most: float) -> float:
        """Anything in a range, small as often as large: even in its logarithm."""
        return exp(self._random.uniform(log(least), log(most)))

    def one_of(self, things: Sequence[Thing]) -> Thing:
        """One of them."""
        return self._random.choice(things)

    def some_of(self, things: Sequence[Thing], count: int) -> list[Thing]:
        """So many of them, in any order."""
        return self._random.sample(things, count)

    def weighted(self, things: Sequence[Thing], weights: Sequence[float]) -> Thing:
        """One of them, by weight."""
        return self._random.choices(things, weights)[0]

    def onset_s(self) -> float:
        """When something begins [s]: at any time, or soon after what went wrong before it."""
        latest_s = LAST_SHARE * self.lasts_s
        if self.after_s is not None and self.chance(CLOSE_SHARE):
            return round(min(self.after_s + self.any_size(*CLOSE_S), latest_s), 1)
        return round(self.between(min(FIRST_S, 0.5 * latest_s), latest_s), 1)

    def over_s(self, longest_s: float = 4 * 3600.0) -> float:
        """How long something takes to come about [s]: at once, or anything up to hours."""
        if self.chance(0.4):
            return 0.0
        return round(self.any_size(SUDDEN_S, longest_s), 1)

    def lost(self) -> float:
        """Share that is lost: all of it, or any part worth speaking of."""
        return 1.0 if self.chance(0.3) else round(self.between(0.2, 1.0), 3)

    def plant_seed(self) -> int:
        """A seed for the plant of this night."""
        return self._random.getrandbits(31)


def s(value: float) -> str:
    """A duration as a drill's file writes it."""
    return f"{round(value, 1):.10g} s"


def share(value: float) -> str:
    """A share."""
    return f"{round(100.0 * value, 1):.10g} %"


def mm(value_m: float) -> str:
    """A length, given in m."""
    return f"{round(1e3 * value_m, 1):.10g} mm"


def litres(value_m3: float) -> str:
    """A volume, given in m3."""
    return f"{round(1e3 * value_m3, 3):.10g} l"


def litres_a_minute(value_m3_s: float) -> str:
    """A flow, given in m3/s."""
    return f"{round(6e4 * value_m3_s, 3):.10g} l/min"
