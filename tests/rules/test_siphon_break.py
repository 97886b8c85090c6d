"""What runs back after a stop tells an open siphon break from a plugged one."""

from __future__ import annotations

import pytest

from rules.engine import plan_for
from rules.hazards import table
from rules.plan import PumpPlan
from rules.signals import EventKind, Phase, Priority
from rules.stops import COUNT_S
from tests.rules.nights import Night, edited, site_of, text_of
from tests.rules.test_cut_unanswered import METER, POWER_CUT_BACK

PLUGGED_BACK = {
    "classroom": POWER_CUT_BACK["classroom"],
    "rack": ((1, 0.9), (1, 0.6), (1, 0.36), (3, 0.65), (3, 0.5), (10, 0.35), (25, 0.3), (20, 0.1)),
}
"""The same with a siphon break plugged, in the rack one of the four."""

OPEN_BACK = {
    "classroom": (
        (1, 0.9),
        (1, 0.57),
        (1, 0.6),
        (1, 1.15),
        (1, 1.5),
        (1, 1.4),
        (3, 0.65),
        (1, 0.1),
    ),
    "rack": ((1, 0.9), (1, 0.6), (1, 0.36), (2, 0.6), (2, 0.5), (4, 0.2), (1, 0.1), (6, 0.25)),
}
"""A stop with open siphon breaks, as shares of the flow and how long each lasts [s]: rounded from
nights of the simulator, which works it out apart from the rules."""

FLOODS = edited(text_of("classroom"), "passages.riser", outlet='"400 mm"')
"""The riser ends so deep in the display that a plugged siphon break sends down more than fits."""


def row(name: str) -> str:
    return "siphon-break.return-pump"


def pump_of(night: Night) -> PumpPlan:
    return night.plan.pumps[0]


def runs_back(night: Night, name: str, shares: tuple[tuple[int, float], ...]) -> None:
    for lasts_s, share in shares:
        night.flow(METER[name], share)
        night.run(lasts_s)
    night.flow(METER[name], 0.0)


def paused(name: str, shares: tuple[tuple[int, float], ...]) -> Night:
    night = Night(name)
    night.good(100)
    assert night.pause("feeding").kind is EventKind.ORDER_OBEYED
    runs_back(night, name, shares)
    return night


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_a_stop_with_open_breaks_is_not_worth_a_word(name: str) -> None:
    night = paused(name, OPEN_BACK[name])
    night.mend()
    night.rest(900)
    assert night.phase is Phase.RUNNING
    assert night.of(EventKind.ALARM_RAISED) == []


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_a_stop_past_a_plugged_break_is_told_of_and_stands_when_the_pump_runs(name: str) -> None:
    night = paused(name, PLUGGED_BACK[name])
    night.rest(2)
    (alarm,) = night.raised(row(name))
    assert alarm.priority is Priority.MEDIUM
    assert "siphon break" in alarm.saying.what
    assert "hole" in alarm.saying.do_now
    assert night.phase is Phase.PAUSED
    night.rest(900)
    night.mend()
    night.rest(120)
    assert night.phase is Phase.RUNNING
    assert night.alarm(row(name)) is not None
    assert len(night.raised(row(name))) == 1


def test_the_high_float_below_then_tells_of_no_added_water() -> None:
    night = paused("classroom", POWER_CUT_BACK["classroom"])
    night.wet("return-high")
    night.run(3)
    (alarm,) = night.raised("chamber-high.return-high")
    assert "plugged siphon break" in alarm.saying.what
    assert "added" not in alarm.saying.what


def test_a_later_stop_with_an_open_break_ends_it_once_it_is_counted_out() -> None:
    night = paused("classroom", POWER_CUT_BACK["classroom"])
    night.rest(900)
    night.mend()
    night.rest(120)
    assert night.pause("feeding").kind is EventKind.ORDER_OBEYED
    runs_back(night, "classroom", OPEN_BACK["classroom"])
    night.rest(COUNT_S - 30)
    assert night.alarm(row("classroom")) is not None
    night.rest(45)
    assert night.of(EventKind.ALARM_RETURNED, "return-pump")


def test_a_power_cut_is_measured_too() -> None:
    night = Night()
    night.good(100)
    night.dry("supply")
    runs_back(night, "classroom", POWER_CUT_BACK["classroom"])
    assert len(night.raised(row("classroom"))) == 1


def test_a_cut_for_water_is_not_measured() -> None:
    """The display may stand higher then, and more runs back past an open break."""
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(1.1)
    assert night.cut_at is not None
    runs_back(night, "classroom", POWER_CUT_BACK["classroom"])
    assert night.raised(row("classroom")) == []


@pytest.mark.parametrize("share", [1.0, 0.85, 1.1])
def test_a_pump_that_does_not_obey_has_no_plugged_break(share: float) -> None:
    night = paused("classroom", ((200, share),))
    assert night.raised(row("classroom")) == []
    assert len(night.raised("cut-unanswered.return-pump")) == 1


def test_a_meter_that_cannot_be_read_proves_nothing() -> None:
    night = paused("classroom", POWER_CUT_BACK["classroom"][:3])
    night.bad("return-flow")
    night.run(1)
    night.flow("return-flow", 1.7)
    night.run(60)
    assert night.raised(row("classroom")) == []


@pytest.mark.parametrize("name", ["classroom", "rack"])
def test_the_limit_lies_between_what_open_and_plugged_breaks_let_through(name: str) -> None:
    """Plain arithmetic from the site files: from the running level to the break, and from there to
    the mouth, over 0.81 m2 of the classroom's display and 0.43 m2 of each of the rack's."""
    night = Night(name)
    expected = pump_of(night).drain_down
    assert expected is not None
    areas = {"classroom": (0.81, 1, 0.0108, 0.045), "rack": (0.4274, 4, 0.0052, 0.0279)}
    area_m2, tanks, over_m, under_m = areas[name]
    over_m3 = tanks * area_m2 * over_m
    assert over_m3 < expected.open_m3 < over_m3 + 0.008  # pipes and run-on come on top
    assert expected.open_m3 < expected.limit_m3 < expected.open_m3 + area_m2 * under_m
    assert expected.fits


def test_a_site_without_a_meter_or_a_break_has_no_such_row() -> None:
    bare = site_of(edited(text_of("classroom"), "passages.riser", siphon_break=None))
    assert not [r for r in plan_for(bare).rows if r.hazard == "siphon-break"]
    assert "siphon-break" in table.HAZARDS


# --- where it does not fit below -----------------------------------------------------------------


def flooding(*, without: tuple[str, ...] = ()) -> Night:
    night = Night(site_of(FLOODS), without=without)
    night.good(100)
    assert night.pause("feeding").kind is EventKind.ORDER_OBEYED
    for lasts_s, share in ((1, 0.9), (1, 0.57), (1, 0.6), (1, 1.15), (1, 1.5), (30, 1.7)):
        night.flow("return-flow", share)
        night.run(lasts_s)
    return night


def test_a_pause_whose_stop_floods_the_sump_is_undone() -> None:
    night = flooding()
    (alarm,) = night.raised(row("classroom"))
    assert alarm.priority is Priority.HIGH
    (over,) = night.of(EventKind.PAUSE_ENDED)
    assert "floods" in over.text
    assert night.phase is Phase.PROVING
    assert night.on("pump-relay")
    assert alarm.since_s < over.t_s + 0.2


def test_without_the_hazard_it_would_run_on_down() -> None:
    assert flooding(without=("siphon-break",)).phase is Phase.PAUSED


def test_no_pause_is_begun_while_it_stands() -> None:
    night = flooding()
    night.mend()
    night.rest(120)
    assert night.phase is Phase.RUNNING
    assert night.pause("feeding").kind is EventKind.ORDER_REFUSED


def test_where_it_fits_the_pause_goes_on() -> None:
    night = paused("classroom", POWER_CUT_BACK["classroom"])
    night.rest(300)
    assert night.phase is Phase.PAUSED
    assert night.of(EventKind.PAUSE_ENDED) == []
