"""Drains: a pipe with a film of water round its air, until it primes and runs full."""

from __future__ import annotations

from itertools import pairwise
from math import exp, inf, log, pi, sqrt

from simulator.water.flows import Run

LIP_SI = 1.7  # edge coefficient of a pipe's round lip, SI units; a little less than a weir's
STACK_SI = 31.46
"""Wyly and Eaton's 27.8 r^(5/3) D^(8/3) (gpm, inches) in SI units: the formula is from memory."""
STACK_SHARE = 0.30  # share of the bore the film fills at most; the literature says 7/24 to 1/3
LEVEL_SI = 0.3117  # Manning's formula for a round pipe just full: pi / 4^(5/3)
FLUSHING = 0.2  # a pipe more blocked than to this share of its flow keeps its air
GATES = ((0.25, 17.0, 24.0), (0.5, 2.1, 5.6), (0.75, 0.26, 1.2), (1.0, 0.15, 0.2))
"""Share to which a gate valve is open, and its least and greatest loss coefficient in two families
of textbook tables: no two valves of a kind are alike."""


def stack_limit_m3_s(bore_m: float, share: float = STACK_SHARE) -> float:
    """The most a vertical pipe carries while air still goes down its middle [m3/s]."""
    return float(STACK_SI * share ** (5.0 / 3.0) * bore_m ** (8.0 / 3.0))


def level_limit_m3_s(bore_m: float, slope: float, roughness_n: float) -> float:
    """What a near-level pipe carries when it is just full [m3/s]; more would back up in it."""
    return float(LEVEL_SI / roughness_n * bore_m ** (8.0 / 3.0) * sqrt(slope))


def gate_loss(open_share: float, high: float) -> float:
    """Loss coefficient of a gate valve open to a share, a quarter at the least.

    Straight lines in ln K between the table's points; `high` from 0, the least, to 1, the greatest.
    """
    points = [(share, log(low) + high * log(most / low)) for share, low, most in GATES]
    for (below, start), (above, end) in pairwise(points):
        if open_share <= above:
            return exp(start + (open_share - below) / (above - below) * (end - start))
    raise ValueError(f"a valve cannot be open to {open_share:.2f} of its bore")


class OpenPipe:
    """A drain with air down its middle: its lip is an edge, and its film has a limit.

    A near-level run at its end, where there is one, has a limit too, `level_m3_s`.
    """

    __slots__ = ("limit_m3_s", "lip", "mouth", "outlet", "run")

    def __init__(
        self,
        run: Run,
        bore_m: float,
        mouth: float,
        outlet: float,
        *,
        lip: float,
        stack: float,
        level_m3_s: float = inf,
    ) -> None:
        self.run = run
        self.mouth = mouth
        self.outlet = outlet
        self.lip = lip * LIP_SI * pi * bore_m
        self.limit_m3_s = min(stack * stack_limit_m3_s(bore_m), level_m3_s)

    def film(self, up: float, down: float) -> float:
        """The flow with the pipe clean [m3/s]: the lip's, bent smoothly into the limit."""
        head = up - (down if down > self.mouth else self.mouth)
        if head <= 0.0:
            return 0.0
        over = self.lip * head * sqrt(head)
        full = self.run.flow(up - (down if down > self.outlet else self.outlet))
        most = full if full < self.limit_m3_s else self.limit_m3_s
        ratio = over / most
        ratio *= ratio
        return over / sqrt(sqrt(1.0 + ratio * ratio))


class Siphon:
    """A drain of any kind, which runs full of water once its air is gone.

    It begins as an open pipe. When its mouth has been drowned for `prime_s`, and so much water came
    that it took the air along, it runs full. When the level falls near its mouth it gulps: from
    `gulp_m` over it on air comes in with the water and takes the share `gulp` of its flow, and at
    `lose_m` it begins anew. With a hole for air at its top, `vented`, it never runs full; with a
    leaking joint, `draws_air`, neither, and if it did already it goes on for another `leak_s`.

    Vortices that draw air before an intake runs dry: Knauss, Swirling Flow Problems at Intakes
    (1987); a pipe runs steadily with air in it from about 60 % of its full flow on: studies of
    siphonic roof drainage. Both from memory; the figures are drawn around them.
    """

    __slots__ = (
        "_air_s",
        "_drowned_s",
        "draws_air",
        "drown_m",
        "gulp",
        "gulp_m",
        "leak_s",
        "lose_m",
        "open_loss",
        "pipe",
        "prime_s",
        "primed",
        "vented",
    )

    def __init__(
        self,
        pipe: OpenPipe,
        *,
        drown_m: float,
        prime_s: float,
        gulp: float,
        gulp_m: float,
        lose_m: float,
        leak_s: float,
        vented: bool = False,
    ) -> None:
        self.pipe = pipe
        self.open_loss = pipe.run.loss  # with its valve open
        self.drown_m = drown_m
        self.prime_s = prime_s
        self.gulp = gulp
        self.gulp_m = gulp_m
        self.lose_m = lose_m
        self.leak_s = leak_s
        self.vented = vented
        self.draws_air = False
        self.primed = False
        self._drowned_s = 0.0
        self._air_s = 0.0

    def lose_prime(self) -> None:
        """Let air in: it has to prime anew."""
        self.primed = False
        self._drowned_s = self._air_s = 0.0

    @property
    def filling(self) -> bool:
        """True while air leaves it or gathers in it."""
        if self.primed:
            return self.draws_air
        return self._drowned_s > 0.0

    def full(self, up: float, down: float) -> float:
        """The flow with the pipe clean and primed [m3/s]; less when it gulps."""
        pipe = self.pipe
        head = up - (down if down > pipe.outlet else pipe.outlet)
        if head <= 0.0:
            return 0.0
        short = pipe.mouth + self.gulp_m - up
        if short <= 0.0:
            return pipe.run.flow(head)
        return pipe.run.flow(head) * (1.0 - self.gulp * min(1.0, short / self.gulp_m))

    def still(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """See `Way`."""
        del dt_s
        return condition * (self.full(up, down) if self.primed else self.pipe.film(up, down))

    def advance(self, up: float, down: float, condition: float, dt_s: float) -> float:
        """The flow down it [m3/s]; never up. Air leaves it or enters it meanwhile."""
        over = up - self.pipe.mouth
        if self.primed:
            self._air_s = self._air_s + dt_s if self.draws_air else 0.0
            if over > self.lose_m and self._air_s < self.leak_s:
                return condition * self.full(up, down)
            self.lose_prime()
        elif over > self.drown_m and not self.vented and not self.draws_air:
            if condition >= FLUSHING:
                self._drowned_s += dt_s
            if self._drowned_s >= self.prime_s and up > down:
                self.primed = True
                return condition * self.full(up, down)
        elif self._drowned_s > 0.0:
            self._drowned_s = max(0.0, self._drowned_s - dt_s)
        return condition * self.pipe.film(up, down)
