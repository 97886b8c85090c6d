"""Every cutting hazard cuts in time, and its story goes wrong when it is taken out."""

from __future__ import annotations

import pytest

from rules.engine import plan_for
from rules.hazards.table import HAZARDS
from rules.matrix import Clear, Effect
from rules.signals import EventKind, Phase, Priority
from tests.level_site import level_site
from tests.rules.nights import Night, site_of, text_of
from tests.rules.stories import CUTTING, Story, told

HELD_OFF = {"cut-unanswered"}
"""Cuts nothing that is not off already: it keeps a pump off, and has a page of tests of its own."""


def held(story: Story, night: Night) -> bool:
    """The claim of a story: the pump is cut in time and stays off, the top-off with it."""
    told(story, night)
    in_time = night.cut_after_s is not None and night.cut_after_s <= story.within_s + 1e-6
    return in_time and not night.on("pump-relay") and not night.on("top-off-valve")


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_it_cuts_in_time_and_says_why(story: Story) -> None:
    night = Night()
    assert held(story, night)
    (cut,) = night.of(EventKind.PUMP_CUT, "return-pump")
    assert cut.causes == (story.row,)
    (alarm,) = night.raised(story.row)
    assert alarm.priority >= Priority.MEDIUM
    assert "return pump" in alarm.saying.done or story.hazard == "lease-lost"
    assert night.phase is (Phase.LATCHED if story.latches else Phase.WAITING)


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_without_it_the_story_goes_wrong(story: Story) -> None:
    night = Night(without=[story.hazard])
    assert not held(story, night)
    assert night.cut_at is None
    assert night.on("pump-relay")


def test_every_row_that_cuts_has_a_story() -> None:
    for name in ("classroom", "rack"):
        rows = plan_for(site_of(text_of(name))).rows
        cutting = {row.hazard for row in rows if row.effect is Effect.CUT_PUMP}
        assert cutting - HELD_OFF <= {story.hazard for story in CUTTING}


def test_no_hazard_can_be_taken_out_by_a_name_that_is_none() -> None:
    with pytest.raises(ValueError, match="no such hazard: spill-egde"):
        Night(without=["spill-egde"])


@pytest.mark.parametrize("name", ["classroom", "rack", "level"])
def test_every_hazard_has_a_row_and_every_row_a_cause_of_its_own(name: str) -> None:
    rows = plan_for(level_site() if name == "level" else site_of(text_of(name))).rows
    missing = set(HAZARDS) - {row.hazard for row in rows}
    assert (
        missing
        == {
            # no row of its own, no level sensor, nothing in its reservoir
            "classroom": {
                "own",
                "drain-fouling",
                "drain-growth",
                "screen-clogging",
                "reservoir-low",
            },
            "rack": {"drain-fouling", "drain-growth", "screen-clogging", "reservoir-low"},
            "level": {"own", "screen-clogging", "reservoir-low"},
        }[name]
    )
    assert len({row.id for row in rows}) == len(rows)
    for row in rows:
        assert row.cause
        assert bool(row.pumps) == (row.effect is Effect.CUT_PUMP)
        assert row.clear in Clear


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_half_an_hour_as_on_a_good_day_says_nothing(name: str) -> None:
    night = Night(name)
    night.run(60)
    night.rest(1800)
    assert [e.kind for e in night.events] == [EventKind.PUMP_STARTED, EventKind.PUMP_RUNNING]
    assert night.decision is not None
    assert night.decision.alarms == ()
    assert night.on("pump-relay")
    assert not night.on("sounder")


def test_every_watch_of_the_rack_cuts_the_one_pump() -> None:
    site = site_of(text_of("rack"))
    for key in (*site.floats(duty="drain-watch"), *site.floats(duty="spill-edge")):
        if key == "return-high":
            continue
        night = Night(site)
        night.good(100)
        night.wet(key)
        night.run(3)
        assert night.cut_after_s is not None, key
