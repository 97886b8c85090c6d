"""Nights of random faults around the whole daemon; a night that fails says its seed.

Each mutation takes out one thing that the daemon does so that a fault does no harm, and the night
must then be found amiss: a soak that finds nothing proves nothing.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from math import inf
from typing import Any

import pytest

from daemon import homie, latches, lease, link, outbox
from rules.memory import Kept
from rules.site.model import Site
from simulator.story.drill_file import parse_drill
from simulator.virtual.afterwards import amiss
from simulator.virtual.play import staged
from simulator.virtual.soak import soak
from simulator.virtual.trace import Trace

FRESH = random.SystemRandom().randrange(10**6, 10**9)


@pytest.mark.parametrize("seed", [1, 2, 4, 9, FRESH])
def test_whatever_fails_around_the_guard_nothing_spills_and_all_recovers(
    classroom: Site, seed: int
) -> None:
    wrong = soak(classroom, seed, Trace())
    assert not wrong, f"python -m simulator.virtual.soak --seed {seed} --nights 1"


def test_so_it_is_on_a_site_with_four_displays(rack: Site) -> None:
    assert not soak(rack, 3, Trace())


def _nobody_watches_the_leases(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(lease.Leases, "_watch", lambda _leases: None)


def _what_waits_is_thrown_away_with_the_connection(patch: pytest.MonkeyPatch) -> None:
    on_down = link.Link._on_down

    def forgetful(self: link.Link, sentence: str, now_s: float) -> None:
        self._outbox = outbox.Outbox()
        on_down(self, sentence, now_s)

    patch.setattr(link.Link, "_on_down", forgetful)


def _the_broker_is_thought_to_hold_what_it_has_lost(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(homie.Mirror, "forget", lambda _mirror: None)


def _events_are_handed_over_again_at_every_connection(patch: pytest.MonkeyPatch) -> None:
    hand_over, on_up = link.Link.hand_over, link.Link._on_up
    handed: dict[link.Link, list[Any]] = {}

    def keep(self: link.Link, decision: Any, tick: int, wall: Any) -> None:
        handed.setdefault(self, []).extend((event, tick, wall) for event in decision.events)
        hand_over(self, decision, tick, wall)

    def again(self: link.Link, up: Any, now_s: float) -> None:
        on_up(self, up, now_s)
        self._taken.extend(handed.get(self, []))

    patch.setattr(link.Link, "hand_over", keep)
    patch.setattr(link.Link, "_on_up", again)


MUTATIONS: dict[Callable[[pytest.MonkeyPatch], None], tuple[int, str]] = {
    _nobody_watches_the_leases: (4, "after the loop hung"),
    _what_waits_is_thrown_away_with_the_connection: (1, "never shown"),
    _the_broker_is_thought_to_hold_what_it_has_lost: (9, "knows nothing of"),
    _events_are_handed_over_again_at_every_connection: (1, "shown twice"),
}
"""What is taken out, the seed of a night that finds it, and what it then says."""


@pytest.mark.parametrize("mutate", MUTATIONS, ids=lambda each: each.__name__.strip("_"))
def test_what_is_taken_out_is_found(
    classroom: Site, monkeypatch: pytest.MonkeyPatch, mutate: Callable[[pytest.MonkeyPatch], None]
) -> None:
    mutate(monkeypatch)
    seed, says = MUTATIONS[mutate]
    assert any(says in each for each in soak(classroom, seed, Trace()))


# --- a disk at the wrong moment, which nights at random meet too seldom -------------------------

KILLED_IN_A_WRITE = """
title = "Killed while the card stalls"
story = "The cut is being written down when the guard is killed."
starts_at = "03:00"
lasts = "4 min"
happens = [
  { at = "59 s", what = "disk stalls", lasts = "40 s" },
  { at = "60 s", what = "block", where = "main drain of the first display", cause = true },
  { at = "70 s", what = "guard killed", back_after = "5 s" },
]
must = [{ what = "pump cut", within = "15 s" }]
must_not = [{ what = "spill" }]
"""

STALLS_AT_THE_CUT = KILLED_IN_A_WRITE.replace(
    '  { at = "70 s", what = "guard killed", back_after = "5 s" },\n', ""
)

FULL_AT_THE_CUT = """
title = "Full when the cut has to be written down"
story = "There is room again three minutes later."
starts_at = "03:00"
lasts = "6 min"
happens = [
  { at = "10 s", what = "disk full", lasts = "3 min" },
  { at = "60 s", what = "block", where = "main drain of the first display", cause = true },
]
must = [{ what = "pump cut", within = "15 s" }]
must_not = [{ what = "spill" }]
"""


def after(site: Site, text: str) -> list[str]:
    """What is amiss after this drill."""
    with staged(site, parse_drill(text, "disk.toml"), 1, Trace()) as stage:
        stage.loop.run_until_complete(stage.world.over)
        return amiss(site, stage)


@pytest.mark.parametrize(
    "text",
    [KILLED_IN_A_WRITE, STALLS_AT_THE_CUT, FULL_AT_THE_CUT],
    ids=["killed", "stalls", "full"],
)
def test_the_latches_outlive_a_disk_that_fails_in_the_worst_moment(
    classroom: Site, text: str
) -> None:
    assert after(classroom, text) == []


def test_written_in_place_they_would_be_torn(
    classroom: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    def in_place(self: latches.Latches, kept: Kept) -> None:
        self._disk.write(self._path, latches.text_of(kept))

    monkeypatch.setattr(latches.Latches, "_write", in_place)
    assert any("torn" in each for each in after(classroom, KILLED_IN_A_WRITE))


def test_without_a_second_try_they_would_be_lost(
    classroom: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(latches, "AGAIN_S", inf)
    assert any("the latches say" in each for each in after(classroom, FULL_AT_THE_CUT))


def test_a_tick_that_waits_for_the_disk_is_found(
    classroom: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written in the tick itself, the cut would hold the loop up for as long as the card does."""

    def keep(self: latches.Latches, kept: Kept) -> None:
        if kept != self._last:
            self._last = kept
            self._write(kept)

    monkeypatch.setattr(latches.Latches, "keep", keep)
    assert any("late ticks" in each for each in after(classroom, STALLS_AT_THE_CUT))
