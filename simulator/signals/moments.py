"""Things that come and go at random: a cable that parts, a drop that falls."""

from __future__ import annotations

from random import Random

PAUSE_LEAST_S = 0.05  # between two of them, however often they come


class Moments:
    """Moments drawn at random at which something is so for a short while."""

    def __init__(
        self, chance: Random, a_minute: float, lasts_s: tuple[float, float], now_s: float
    ) -> None:
        self._chance = chance
        self._lasts_s = lasts_s
        self._pause_s = max(PAUSE_LEAST_S, 60.0 / a_minute - 0.5 * sum(lasts_s))
        self._on = False
        self.next_s = now_s
        self._draw()

    def _draw(self) -> None:
        if self._on:
            self.next_s += self._chance.uniform(*self._lasts_s)
        else:
            self.next_s += self._chance.expovariate(1.0 / self._pause_s)

    def at(self, t_s: float) -> bool:
        """True if it is so now; time only goes forward."""
        while t_s >= self.next_s:
            self._on = not self._on
            self._draw()
        return self._on
