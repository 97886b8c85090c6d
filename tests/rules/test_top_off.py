"""The top-off opens only when all is well, and never for long."""

from __future__ import annotations

import pytest

from rules.engine import SETTLED_S
from rules.signals import EventKind
from tests.rules.nights import TICK_S, Night, edited, site_of, text_of
from tests.rules.stories import CUTTING, Story

VALVE, FLOAT, LONG = "top-off-valve", "return-level", "top-off-long.top-off-valve"
FLOAT_FILTER_S = 3.0

FEED_PUMP = """
[pumps.feed-pump]
from = "return"
intake = "60 mm"
curve = [{ flow = "0 l/h", head = "1.5 m" }, { flow = "1500 l/h", head = "0 m" }]

[outputs.feed-relay]
kind = "pump"
pump = "feed-pump"
pin = 25
safe = "low"
"""


def open_valve(**changes: list[str]) -> Night:
    """A good while, then evaporation: the valve stands open."""
    night = Night("classroom", **changes)
    night.good(100)
    night.dry(FLOAT)
    night.run(5)
    assert night.on(VALVE)
    return night


def settled_at(night: Night) -> float:
    """When the pump had primed its drains [s]."""
    return night.of(EventKind.PUMP_RUNNING)[-1].t_s


def test_it_opens_when_the_level_has_been_low_for_the_floats_filter() -> None:
    night = Night()
    night.good(100)
    night.dry(FLOAT)
    night.run(FLOAT_FILTER_S - TICK_S)
    assert not night.on(VALVE)
    night.run(2 * TICK_S)
    assert night.on(VALVE)
    night.mend()
    night.run(FLOAT_FILTER_S + TICK_S)
    assert not night.on(VALVE)
    opened, closed = night.of(EventKind.TOP_OFF_OPENED), night.of(EventKind.TOP_OFF_CLOSED)
    assert len(opened) == len(closed) == 1
    assert closed[0].text.endswith("level is back")


def test_it_stays_shut_until_the_pump_has_run_for_a_minute_over_its_priming() -> None:
    night = Night()
    night.dry(FLOAT)
    night.run(200)
    (opened,) = night.of(EventKind.TOP_OFF_OPENED)
    assert opened.t_s == pytest.approx(settled_at(night) + SETTLED_S, abs=2 * TICK_S)


def test_ripples_at_its_float_do_not_open_it() -> None:
    night = Night()
    night.good(100)
    night.wave(FLOAT, 2.0, 0.6, 300)
    assert night.of(EventKind.TOP_OFF_OPENED) == []


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_every_trip_shuts_it_in_the_tick_of_the_cut(story: Story) -> None:
    night = open_valve()
    story.happens(night)
    night.run(story.within_s + TICK_S)
    (cut,) = night.of(EventKind.PUMP_CUT)
    (closed,) = night.of(EventKind.TOP_OFF_CLOSED)
    assert closed.t_s == cut.t_s
    night.run(20)
    assert not night.on(VALVE)


@pytest.mark.parametrize(
    "cause",
    [
        lambda night: night.wet("return-high"),
        lambda night: night.bad("return-high"),
        lambda night: night.flow("return-flow", 0.0),
    ],
    ids=["own chamber high", "own float unreadable", "no flow seen"],
)
def test_doubt_shuts_it_though_the_pump_runs_on(cause: object) -> None:
    night = open_valve()
    assert callable(cause)
    cause(night)
    night.run(12)
    assert not night.on(VALVE)
    assert night.on("pump-relay")
    night.run(120)
    assert not night.on(VALVE)


def test_a_drain_in_doubt_shuts_it() -> None:
    near = edited(text_of("classroom"), "sensors.box-watch", height='"169 mm"')
    night = Night(site_of(near))
    night.good(100)
    night.dry(FLOAT)
    night.run(5)
    assert night.on(VALVE)
    night.wet("box-watch")
    night.run(11)
    assert not night.on(VALVE)
    assert night.on("pump-relay")


@pytest.mark.parametrize(
    ("hazard", "cause"),
    [
        ("chamber-high", lambda night: night.wet("return-high")),
        ("flow-lost", lambda night: night.flow("return-flow", 0.0)),
    ],
)
def test_without_the_row_it_would_stay_open(hazard: str, cause: object) -> None:
    night = open_valve(without=[hazard])
    assert callable(cause)
    cause(night)
    night.run(60)
    assert night.on(VALVE)


# --- the longest opening -------------------------------------------------------------------------


def test_it_shuts_after_its_longest_opening_until_somebody_acknowledges() -> None:
    night = open_valve()
    night.run(310)
    assert not night.on(VALVE)
    (opened,) = night.of(EventKind.TOP_OFF_OPENED)
    (closed,) = night.of(EventKind.TOP_OFF_CLOSED)
    assert closed.t_s - opened.t_s == pytest.approx(300, abs=2 * TICK_S)
    (alarm,) = night.raised(LONG)
    assert "5 min 00 s" in alarm.saying.what
    night.rest(1200)
    assert not night.on(VALVE)
    assert night.on("pump-relay")
    night.acknowledge(alarm.code)
    night.run(1)
    assert night.on(VALVE)
    assert night.alarm(LONG) is None


def test_without_the_row_it_would_never_shut() -> None:
    night = open_valve(without=["top-off-long"])
    night.run(400)
    assert night.on(VALVE)


def test_openings_that_end_in_time_are_not_too_long() -> None:
    night = open_valve()
    night.run(290)
    night.mend()
    night.run(10)
    night.dry(FLOAT)
    night.run(290)
    assert night.raised(LONG) == []


# --- a float that cannot be read -----------------------------------------------------------------


def test_a_float_that_cannot_be_read_never_opens_it() -> None:
    for good_s in (0, 100):
        night = Night()
        night.run(good_s)
        night.bad(FLOAT)
        night.run(300)
        assert night.of(EventKind.TOP_OFF_OPENED) == []


def test_a_float_that_cannot_be_read_shuts_it() -> None:
    night = open_valve()
    night.bad(FLOAT)
    night.run(FLOAT_FILTER_S + TICK_S)
    assert not night.on(VALVE)


# --- the pump that must run ----------------------------------------------------------------------


def test_it_stays_shut_while_a_pump_is_latched_however_low_the_level() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    night.mend()
    night.dry(FLOAT)
    night.rest(1000)
    assert night.of(EventKind.TOP_OFF_OPENED) == []


def test_after_a_reset_it_waits_for_the_minute_again() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
    night.mend()
    night.dry(FLOAT)
    night.run(12)
    assert night.reset().kind is EventKind.ORDER_OBEYED
    night.run(150)
    (opened,) = night.of(EventKind.TOP_OFF_OPENED)
    assert opened.t_s == pytest.approx(settled_at(night) + SETTLED_S, abs=2 * TICK_S)


def test_every_pump_that_draws_from_its_chamber_must_run() -> None:
    text = edited(text_of("classroom"), "passages.refugium-feed", pump='"feed-pump"')
    night = Night(site_of(text + FEED_PUMP))
    night.good(150)
    night.dry(FLOAT)
    night.run(5)
    assert night.on(VALVE)
    night.drop("feed-relay")
    night.run(2)
    assert night.on("pump-relay")
    assert not night.on("feed-relay")
    assert not night.on(VALVE)
    night.run(70)
    assert night.on("feed-relay")
    assert not night.on(VALVE)
