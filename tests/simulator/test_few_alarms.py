"""Nights in which one cause comes and goes all the time, and people get a handful of messages."""

from __future__ import annotations

import pytest

from rules.alarming import chatter
from rules.signals import EventKind
from simulator import library
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from tests.simulator.nights import SEED, site

FLICKERING = ("splash-on-the-pad", "spray-on-the-high-float", "supply-input-loose")


def played(name: str, *, every_tick: bool = False) -> Outcome:
    """The drill on the demo site."""
    drill = library.load_drill(name)
    return run(site("classroom"), drill, SEED, trace=False, every_tick=every_tick)


@pytest.mark.parametrize("name", FLICKERING)
def test_taken_out_the_drill_fails_for_its_alarms_and_nothing_else(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chatter, "OFTEN", 10**9)
    out = played(name)
    (failed,) = [finding for finding in out.findings if not finding.held]
    assert "alarms are raised" in failed.statement


def test_with_it_the_same_pumps_are_cut_at_the_same_times(monkeypatch: pytest.MonkeyPatch) -> None:
    guarded = played("supply-input-loose")
    monkeypatch.setattr(chatter, "OFTEN", 10**9)
    bare = played("supply-input-loose")
    kinds = (EventKind.PUMP_CUT, EventKind.PUMP_STARTED)
    cuts = [[(e.t_s, e.kind) for e in out.events if e.kind in kinds] for out in (guarded, bare)]
    assert cuts[0] == cuts[1]
    assert len(cuts[0]) >= 3


def test_ticks_left_out_change_nothing_of_it() -> None:
    fast, whole = (played("splash-on-the-pad", every_tick=each) for each in (False, True))
    assert fast.passed
    assert [(e.kind, e.text) for e in fast.events] == [(e.kind, e.text) for e in whole.events]
