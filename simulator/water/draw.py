"""By how much this plant differs from its drawing: from one seed and each thing's own name."""

from __future__ import annotations

import random


class Draws:
    """Seeded errors. Each draw depends on the seed and its own key alone, never on the order.

    With `exact`, every error is nought and every range gives its middle: the plant as drawn.
    """

    def __init__(self, seed: int, *, exact: bool = False) -> None:
        self.seed = seed
        self.exact = exact

    def stream(self, key: str) -> random.Random:
        """A stream of random numbers of its own for the thing called `key`."""
        # a text seeds through a hash that is the same in every process
        return random.Random(f"{self.seed}/{key}")

    def between(self, key: str, least: float, most: float) -> float:
        """A value somewhere in a range; its middle when exact."""
        if self.exact:
            return (least + most) / 2.0
        return self.stream(key).uniform(least, most)

    def factor(self, key: str, spread: float) -> float:
        """A factor between 1 - spread and 1 + spread; 1 when exact."""
        return self.between(key, 1.0 - spread, 1.0 + spread)
