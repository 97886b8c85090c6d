"""A day's measure of fresh water: what many short openings may bring together."""

from __future__ import annotations

import pytest

from rules import engine
from rules.plan import TopOffPlan
from rules.signals import AlarmState, EventKind
from rules.site.model import Site
from tests.rules.nights import REST_TICK_S, Night, edited, site_of, text_of

VALVE, FLOAT, LONG = "top-off-valve", "return-level", "top-off-long.top-off-valve"
DAY_S, HOUR_S = 86400.0, 3600.0


def measure_of(site: Site) -> TopOffPlan:
    """The top-off of a site for the tick."""
    plan = engine.plan_for(site).top_off
    assert plan is not None
    return plan


def thirsty(night: Night, seconds: float, acknowledging: bool) -> float:
    """A float that asks for 280 s of every 300 s; returns how long the valve was open [s].

    Each opening ends in time, so that none is too long for itself. `acknowledging`: somebody
    answers every alarm within five minutes without a look at the water.
    """
    open_s, until_s = 0.0, night.t_s + seconds
    while night.t_s < until_s:
        for wet, spell_s in ((False, 280.0), (True, 20.0)):
            (night.wet if wet else night.dry)(FLOAT)
            for _ in range(round(spell_s / REST_TICK_S)):
                night.tick(REST_TICK_S)
                open_s += REST_TICK_S * night.on(VALVE)
        alarm = night.alarm(LONG)
        if acknowledging and alarm is not None and alarm.state is not AlarmState.ACK_ALARM:
            night.acknowledge(alarm.code)
    return open_s


# --- the measure ---------------------------------------------------------------------------------


def test_the_measure_is_three_days_of_evaporation() -> None:
    """At 5 % a day and 1 l/min: 3 x 0.05 x the volume, in minutes as many as there are litres."""
    text = edited(text_of("classroom"), "water", evaporation='"5 %"')
    site = site_of(edited(text, "top_off", rate='"1 l/min"'))
    litres = engine.plan_for(site).figures.volume_m3 * 1000.0
    assert measure_of(site).daily_s == pytest.approx(0.15 * litres * 60.0)


def test_the_measure_is_no_less_than_two_of_the_longest_openings() -> None:
    """A quick valve makes up a day's evaporation in seconds; one good opening must not trip it."""
    site = site_of(edited(text_of("classroom"), "top_off", rate='"30 l/min"'))
    assert measure_of(site).daily_s == pytest.approx(600.0)
    still = site_of(edited(text_of("classroom"), "water", evaporation='"0 %"'))
    assert measure_of(still).daily_s == pytest.approx(600.0)


# --- water that goes elsewhere -------------------------------------------------------------------


def test_short_openings_all_night_bring_no_more_than_the_measure() -> None:
    night = Night()
    night.good(100)
    assert night.plan.top_off is not None
    measure_s = night.plan.top_off.daily_s
    open_s = thirsty(night, HOUR_S, acknowledging=False)
    assert 0.9 * measure_s < open_s <= measure_s * (1 + 1 / 24) + REST_TICK_S
    (alarm,) = night.raised(LONG)
    assert "in a day, more than evaporates" in alarm.saying.what
    assert night.on("pump-relay")
    assert not night.on(VALVE)
    # nobody answers: what leaks back out of the measure in seven hours opens nothing by itself
    night.dry(FLOAT)
    for _ in range(840):
        night.tick(30.0)
        assert not night.on(VALVE)


def test_answering_every_alarm_unread_brings_no_more_than_what_leaks_back() -> None:
    """Eight hours: the measure, and a third of it again."""
    night = Night()
    night.good(100)
    assert night.plan.top_off is not None
    measure_s = night.plan.top_off.daily_s
    open_s = thirsty(night, 8 * HOUR_S, acknowledging=True)
    assert measure_s - 1 < open_s <= measure_s * (1 + 8 / 24) + REST_TICK_S
    assert len(night.raised(LONG)) <= 2, "answering must not make it chatter at the edge"


def test_without_the_row_the_openings_go_on_all_night() -> None:
    night = Night(without=["top-off-long"])
    night.good(100)
    assert night.plan.top_off is not None
    assert thirsty(night, HOUR_S, acknowledging=False) > 4 * night.plan.top_off.daily_s


def test_one_opening_that_is_too_long_is_said_as_such() -> None:
    night = Night()
    night.good(100)
    night.dry(FLOAT)
    night.run(320)
    (alarm,) = night.raised(LONG)
    assert "the level is not back" in alarm.saying.what


# --- what evaporates, for days -------------------------------------------------------------------

FASTER = 100.0
"""Days of 864 s with a valve of 150 l/min: the same three days, a hundred times as fast."""


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> Site:
    """The classroom at a hundred times its pace."""
    monkeypatch.setattr(engine, "DAY_S", DAY_S / FASTER)
    monkeypatch.setattr(engine, "SETTLED_S", 1.0)
    text = edited(text_of("classroom"), "top_off", rate='"150 l/min"', longest='"3 s"')
    return site_of(edited(text, "sensors.return-level", filter='"0.2 s"'))


def days(site: Site, share_a_day: float, most: float = 3.0) -> tuple[Night, float]:
    """Days in which this share of the water goes, and only the top-off brings it back.

    Returns the night, and how many days it took until the top-off spoke, or all of them.
    """
    night = Night(site)
    night.good(60)
    assert site.top_off is not None
    lost_m3_s = share_a_day * night.plan.figures.volume_m3 / (DAY_S / FASTER)
    missing_m3, began_s = 0.0, night.t_s
    for _ in range(round(most * DAY_S / FASTER / 0.2)):
        missing_m3 += (lost_m3_s - night.on(VALVE) * site.top_off.rate) * 0.2
        (night.dry if missing_m3 > 0 else night.wet)(FLOAT)
        night.tick(0.2)
        if night.raised(LONG):
            break
    return night, (night.t_s - began_s) * FASTER / DAY_S


@pytest.mark.parametrize("share", [0.01, 0.03])
def test_three_days_of_evaporation_trip_nothing(quick: Site, share: float) -> None:
    """About 1 % a day goes (common practice, no source); 3 % in a dry winter with fans on."""
    night, _ = days(quick, share)
    assert night.raised(LONG) == []
    opened = night.of(EventKind.TOP_OFF_OPENED)
    assert len(opened) > 10
    assert night.alarm(LONG) is None


@pytest.mark.parametrize(("share", "spoken_days"), [(0.06, 1.0), (0.09, 0.5), (0.12, 1 / 3)])
def test_a_leak_that_the_top_off_hides_is_told_in_time(
    quick: Site, share: float, spoken_days: float
) -> None:
    """A measure of 3 % leaks back at 3 % a day: at 6 % it is full after 3 / (6 - 3) days."""
    night, took = days(quick, share)
    (alarm,) = night.raised(LONG)
    assert "more than evaporates" in alarm.saying.what
    assert took == pytest.approx(spoken_days, rel=0.1)
