"""Drills of planned pauses and of coming back: what they prove fails once it is taken out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules import pausing, resting
from rules.pausing import KINDS
from rules.signals import EventKind
from rules.site.model import Site
from simulator.library import load_drill
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from tests.simulator.nights import SEED, failed


def played(site: Site, name: str, *without: str, every_tick: bool = False) -> Outcome:
    """A drill of the library."""
    drill = load_drill(name)
    return run(site, drill, SEED, without=frozenset(without), every_tick=every_tick, trace=False)


@pytest.mark.parametrize(
    ("name", "hazard", "missed"),
    [
        ("nobody-comes", "pump-off", "an alarm pump-off"),
        ("leak-in-a-pause", "leak", "the return pump is off at the end"),
        ("drain-blocks-in-a-pause", "drain-capacity", "an alarm drain-capacity"),
        ("water-change-not-finished", "dry-run", "no pump draws air"),
    ],
)
def test_a_night_goes_wrong_without_what_guards_against_it(
    classroom: Site, name: str, hazard: str, missed: str
) -> None:
    outcome = played(classroom, name, hazard)
    assert any(sentence.startswith(missed) for sentence in failed(outcome)), failed(outcome)


def test_a_water_change_would_trip_the_low_float_if_nothing_were_suppressed(
    classroom: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    bare = replace(KINDS["water-change"], suppressed={})
    monkeypatch.setitem(pausing.KINDS, "water-change", bare)
    outcome = played(classroom, "water-change-by-order")
    assert {hazard for _, hazard, _ in outcome.alarms} == {"dry-run"}
    assert any("restarts" in s or "started again" in s for s in failed(outcome)), failed(outcome)


def test_a_pump_would_be_started_at_every_kill_if_nobody_counted(
    classroom: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(resting, "RUNS_BORNE", 1000)
    outcome = played(classroom, "guard-killed-again-and-again")
    assert any("no more than 3 times" in sentence for sentence in failed(outcome))


def test_nobody_is_called_for_a_feeding_and_the_keeper_is_told_of_its_end(classroom: Site) -> None:
    outcome = played(classroom, "feeding-by-order")
    assert outcome.passed, failed(outcome)
    assert outcome.alarms == ()
    assert outcome.needless_stop_s == 0.0
    assert outcome.cut_s is None
    kinds = [event.kind for event in outcome.events]
    assert kinds[:3] == [EventKind.ORDER_OBEYED, EventKind.PAUSE_BEGUN, EventKind.PAUSE_ENDED]
    began, ended = (event.t_s for event in outcome.events[1:3])
    assert ended - began == pytest.approx(600.0, abs=0.2)


@pytest.mark.parametrize(
    "name", ["feeding-by-order", "nobody-comes", "guard-killed-again-and-again"]
)
def test_looks_left_out_decide_nothing_else(classroom: Site, name: str) -> None:
    fast, whole = played(classroom, name), played(classroom, name, every_tick=True)
    told = [(round(event.t_s, 1), event.kind, event.text) for event in whole.events]
    assert [(round(event.t_s, 1), event.kind, event.text) for event in fast.events] == told
    assert len(told) >= 4
