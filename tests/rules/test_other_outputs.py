"""Sounder, spare pump and heartbeat."""

from __future__ import annotations

from itertools import pairwise

import pytest

from rules.engine import HEARTBEAT_S
from rules.signals import Origin
from tests.rules.nights import TICK_S, Night
from tests.rules.stories import CUTTING, Story


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_the_sounder_calls_for_what_is_of_high_priority(story: Story) -> None:
    night = Night()
    night.good(100)
    assert not night.on("sounder")
    story.happens(night)
    night.run(story.within_s)
    assert night.on("sounder") == (story.hazard not in ("mains", "lease-lost"))


def test_the_sounder_sounds_until_somebody_acknowledges() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(600)
    assert night.on("sounder")
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    night.acknowledge("0000")
    assert night.on("sounder")
    night.acknowledge(alarm.code)
    assert not night.on("sounder")
    night.run(600)
    assert not night.on("sounder")


def test_a_second_cause_sounds_again_after_the_first_was_acknowledged() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    alarm = night.alarm("spill-edge.display-high")
    assert alarm is not None
    night.acknowledge(alarm.code, origin=Origin.LOCAL)
    night.wet("floor-pad")
    night.run(4)
    assert night.on("sounder")


def test_the_sounder_needs_one_acknowledgement_for_each_alarm() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high", "floor-pad")
    night.run(4)
    for row, still in (("spill-edge.display-high", True), ("leak.floor-pad", False)):
        alarm = night.alarm(row)
        assert alarm is not None
        night.acknowledge(alarm.code)
        assert night.on("sounder") is still


# --- the spare pump ------------------------------------------------------------------------------


def test_the_spare_pump_runs_only_while_the_return_pump_does_not() -> None:
    night = Night()
    for seconds, change in ((100, None), (60, "floor-pad"), (60, "")):
        if change:
            night.wet(change)
        elif change == "":
            night.mend()
            night.run(3)
            night.reset()
        for _ in range(round(seconds / TICK_S)):
            night.tick()
            assert night.on("spare-pump") is not night.on("pump-relay")


@pytest.mark.parametrize("how", ["wet", "bad"])
def test_the_spare_pump_stirs_no_display_that_stands_at_its_edge(how: str) -> None:
    night = Night()
    night.good(100)
    getattr(night, how)("display-high")
    night.run(60)
    assert not night.on("pump-relay")
    assert not night.on("spare-pump")
    night.mend()
    night.run(2)
    assert night.on("spare-pump")


# --- the heartbeat -------------------------------------------------------------------------------


def edges(night: Night, seconds: float, dt_s: float = TICK_S) -> list[float]:
    """When the heartbeat changed [s]."""
    found, last = [], night.on("heartbeat")
    for _ in range(round(seconds / dt_s)):
        night.tick(dt_s)
        if night.on("heartbeat") is not last:
            last = not last
            found.append(night.t_s)
    return found


@pytest.mark.parametrize("dt_s", [0.05, 0.1, 0.25, 0.5])
def test_the_heartbeat_changes_every_half_second(dt_s: float) -> None:
    night = Night()
    night.tick()
    changes = edges(night, 60, dt_s)
    assert len(changes) == 120
    gaps = [b - a for a, b in pairwise(changes)]
    assert all(gap == pytest.approx(HEARTBEAT_S, abs=1e-6) for gap in gaps)


def test_the_heartbeat_goes_on_while_the_pump_is_cut() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    assert len(edges(night, 30)) == 60


def test_a_guard_that_looks_once_a_second_has_no_heartbeat() -> None:
    night = Night()
    night.tick()
    assert edges(night, 60, 1.0) == []
