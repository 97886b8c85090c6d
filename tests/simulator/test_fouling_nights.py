"""Nights in which the main drain loses a little, on the plant: told hours before any float.

Seeds were not chosen: they are the first ones.
"""

from __future__ import annotations

import pytest

from rules.signals import EventKind
from rules.site.model import Site
from simulator.library import load_drill, load_site
from simulator.night.outcome import Outcome
from simulator.night.runner import run
from simulator.story.drill_file import parse_drill
from tests.level_site import level_site

LOSSES = ("main-drain-loses-a-tenth", "main-drain-loses-a-little")
GROWS = "main-drain-grows-over"
SILENT = ("hand-in-the-tank", "meter-drifts", "rough-evening", "tuft-on-the-comb", "feeding-pause")

METER_WANDERS = """
title = "The flow meter wanders"
group = "healthy nights"
story = "Half a part in a hundred in six hours, as meters do."
starts_at = "22:00"
lasts = "8 h"

[[happens]]
at = "1 h"
over = "6 h"
what = "drift"
share = "0.5 %"
to = "less"

[[must_not]]
what = "alarm"

[[must_not]]
what = "pump cut"
"""


def played(name: str, seed: int, *, site: Site | None = None, **how: object) -> Outcome:
    drill = load_drill(name)
    return run(site or level_site(), drill, seed, trace=False, **how)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", LOSSES)
def test_a_loss_is_told_in_time(name: str, seed: int) -> None:
    outcome = played(name, seed)
    assert outcome.passed, [finding for finding in outcome.findings if not finding.held]


@pytest.mark.parametrize("name", LOSSES)
def test_taken_out_nothing_tells_of_it(name: str) -> None:
    outcome = played(name, 1, without=frozenset({"drain-fouling"}))
    (failed, *_) = [finding for finding in outcome.findings if not finding.held]
    assert "drain-fouling" in failed.statement
    assert outcome.alarms == ()


@pytest.mark.parametrize("taken_out", [False, True])
def test_growth_over_days_is_told_with_a_date(taken_out: bool) -> None:
    outcome = played(GROWS, 1, without=frozenset({"drain-growth"} if taken_out else ()))
    rows = [event.alarm.row for event in outcome.events if event.alarm is not None]
    assert outcome.passed is not taken_out, outcome.findings
    assert rows == ([] if taken_out else ["drain-growth.overflow-box"])


@pytest.mark.parametrize("name", [*LOSSES, GROWS])
def test_a_site_without_a_level_sensor_is_told_that_it_has_none(name: str) -> None:
    outcome = played(name, 1, site=load_site("classroom"))
    assert outcome.not_applicable is not None
    assert "has no level sensor" in outcome.not_applicable


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", SILENT)
def test_what_is_no_loss_raises_nothing(name: str, seed: int) -> None:
    outcome = played(name, seed)
    rows = [event.alarm.row for event in outcome.events if event.alarm is not None]
    assert "drain-fouling.overflow-box" not in rows


@pytest.mark.parametrize("seed", [1, 2])
def test_a_healthy_night_with_a_meter_that_wanders_is_silent(seed: int) -> None:
    outcome = run(level_site(), parse_drill(METER_WANDERS, "wanders.toml"), seed, trace=False)
    assert outcome.passed, outcome.findings


def test_looks_left_out_tell_of_it_at_about_the_same_time() -> None:
    """The noise of the sensor is another with more looks, so that it cannot be the very look."""
    drill = load_drill("main-drain-loses-a-tenth")
    early = drill.model_copy(
        update={
            "lasts": 1800.0,
            "happens": tuple(
                event.model_copy(update={"at": 1500.0}) if event.at > 60.0 else event
                for event in drill.happens
            ),
        }
    )
    found = []
    for every in (False, True):
        outcome = run(level_site(), early, 1, trace=False, every_tick=every)
        (raised,) = [e for e in outcome.events if e.kind is EventKind.ALARM_RAISED]
        found.append(raised.t_s)
    assert abs(found[0] - found[1]) < 30.0
