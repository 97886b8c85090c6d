"""Nights that tests look at: each is run once for all of them, several at a time."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterable
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from types import TracebackType
from typing import Self

from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import load_drill, load_site
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from simulator.story.drill import Drill
from tests.simulator.third_site import THIRD_SITE

SEED = 11


@cache
def site(name: str) -> Site:
    """A demo site, or the third one, called "workshop"; read once."""
    return parse_site(THIRD_SITE, "workshop.toml") if name == "workshop" else load_site(name)


def shorter(drill: Drill, lasts_s: float) -> Drill:
    """The same drill, ended earlier."""
    return drill.model_copy(update={"lasts": lasts_s})


def failed(outcome: Outcome) -> list[str]:
    """What did not hold, with what was seen, for the message of a failed test."""
    return [f"{f.statement}: {f.detail}" for f in outcome.findings if not f.held]


@dataclass(frozen=True, slots=True)
class Ask:
    """A drill of the library on a site, whole or only up to `lasts_s`."""

    name: str
    site: str = "classroom"
    seed: int = SEED
    keeper: str = "guard"
    without: frozenset[str] = frozenset()
    lasts_s: float | None = None

    def __str__(self) -> str:
        less = "".join(f" without {hazard}" for hazard in sorted(self.without))
        return f"{self.name} on {self.site}{less}{'' if self.keeper == 'guard' else ' unguarded'}"

    @property
    def drill(self) -> Drill:
        """The drill as it is to be run."""
        drill = load_drill(self.name)
        return drill if self.lasts_s is None else shorter(drill, self.lasts_s)


def play(ask: Ask) -> Outcome:
    """Run one night."""
    return run(site(ask.site), ask.drill, ask.seed, keeper=ask.keeper, without=ask.without)


class Nights:
    """Keeps what came of each night; those that are `coming` run ahead in processes of their own.

    The longest begin first, so that none is waited for at the end.
    """

    def __init__(self, coming: Iterable[Ask]) -> None:
        self._kept: dict[Ask, Outcome] = {}
        self._ahead: dict[Ask, Future[Outcome]] = {}
        self._pool: ProcessPoolExecutor | None = None
        asks = sorted(set(coming), key=lambda ask: (-ask.drill.lasts, str(ask)))
        workers = min(len(asks), os.cpu_count() or 1, 4)
        if workers > 1:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(workers, mp_context=context)
            self._ahead = {ask: self._pool.submit(play, ask) for ask in asks}

    def __call__(self, ask: Ask) -> Outcome:
        """What came of a night."""
        if ask not in self._kept:
            ahead = self._ahead.get(ask)
            self._kept[ask] = play(ask) if ahead is None else ahead.result()
        return self._kept[ask]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
