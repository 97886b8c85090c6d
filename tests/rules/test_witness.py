"""Water over a watch that is seen to stay low: the pump runs on, and what ends that at once."""

from __future__ import annotations

import pytest

from rules.assessment.assess import assess
from rules.assessment.failures import Sort
from rules.engine import plan_for
from rules.resting import RESTS_S
from rules.signals import EventKind, Phase, Priority, Quality, Reading
from rules.witness import Witnesses
from tests.level_site import LEVEL, level_site
from tests.rules.nights import Night, edited, site_of, text_of, without_table
from tests.rules.stories import FILTER_S
from tests.witness_sites import witness_text

SHORT = "drain-capacity.overflow-box"
LOSS = "drain-loss.overflow-box"
TEXT = witness_text("classroom")
SITE = site_of(TEXT)
LEVEL_SITE = level_site()


def night(text: str = "", *, without: tuple[str, ...] = ()) -> Night:
    told = Night(site_of(text) if text else SITE, without=without)
    told.good(120)
    return told


def carried(text: str = "") -> Night:
    """The lower float is wet, the upper one dry, for long enough to be told of."""
    told = night(text)
    told.wet("box-watch")
    told.run(15)
    return told


def witnesses(text: str) -> Witnesses:
    return plan_for(site_of(text)).drains[0].witnesses


# --- it runs on ----------------------------------------------------------------------------------


def test_while_the_upper_float_is_dry_the_pump_runs_on_all_night_and_it_is_told() -> None:
    told = carried()
    told.wait(8 * 3600)
    assert told.of(EventKind.PUMP_CUT) == []
    assert told.phase is Phase.RUNNING
    assert told.raised(SHORT) == []
    (alarm,) = told.raised(LOSS)
    assert alarm.priority is Priority.MEDIUM
    assert "main drain is blocking" in alarm.saying.what
    assert "nothing is left in reserve" in alarm.saying.do_now


def test_the_top_off_stays_shut_meanwhile() -> None:
    told = carried()
    told.dry("return-level")
    told.run(60)
    assert not told.on("top-off-valve")


def test_the_upper_float_cuts_within_its_filter() -> None:
    told = carried()
    told.wet("box-upper")
    told.run(5)
    assert told.cut_after_s == pytest.approx(FILTER_S, abs=0.11)
    (alarm,) = told.raised(SHORT)
    assert "was cut" in alarm.saying.done


def test_the_upper_float_cuts_though_the_lower_one_hangs_dry() -> None:
    told = night()
    told.wet("box-upper")
    told.run(5)
    assert told.cut_after_s == pytest.approx(FILTER_S, abs=0.11)


def test_the_edge_cuts_though_the_upper_float_hangs_dry() -> None:
    told = carried()
    told.wet("display-high")
    told.run(5)
    assert told.cut_after_s == pytest.approx(FILTER_S, abs=0.11)
    assert told.phase is Phase.LATCHED


def test_without_the_hazard_the_upper_float_would_cut_nothing() -> None:
    told = night(without=("drain-capacity",))
    told.wet("box-watch", "box-upper")
    told.run(60)
    assert told.cut_after_s is None


def test_both_floats_swapped_cut_as_soon_as_water_reaches_the_lower_one() -> None:
    told = night()
    told.wet("box-upper")  # the cable of the lower one
    told.run(2)
    assert told.cut_after_s is not None


# --- what makes a witness none -------------------------------------------------------------------


@pytest.mark.parametrize("sensor", ["box-upper", "display-high"])
def test_a_float_that_cannot_be_read_vouches_for_nothing(sensor: str) -> None:
    told = carried()
    told.bad(sensor)
    told.run(5)
    assert told.cut_after_s is not None
    assert told.cut_after_s <= FILTER_S + 0.11


@pytest.mark.parametrize(
    "reading",
    [
        Reading(0.240, Quality.BAD, 0.0, "no such channel"),
        Reading(0.240, Quality.UNCERTAIN, 0.0, "it is in doubt"),
        Reading(0.167),  # the lower float denies it
        Reading(0.301),  # 5 mm more, and the tank is held back
    ],
)
def test_a_level_that_cannot_be_believed_or_is_too_high_cuts(reading: Reading) -> None:
    told = Night(LEVEL_SITE)
    told.good(120)
    told.wet("box-watch")
    told.reads(LEVEL, Reading(0.240))
    told.run(30)
    assert told.of(EventKind.PUMP_CUT) == []
    told.reads(LEVEL, reading)
    told.run(1)
    assert told.cut_after_s is not None
    assert told.cut_after_s <= 0.2


def test_with_one_watch_and_one_edge_there_is_no_witness_and_the_watch_cuts() -> None:
    told = Night()
    told.good(120)
    told.wet("box-watch")
    told.run(5)
    assert told.cut_after_s is not None


def test_without_an_edge_in_every_tank_the_watch_cuts() -> None:
    assert witnesses(without_table(TEXT, "sensors.display-high")) == Witnesses()


def test_an_edge_too_near_its_rim_is_no_second_line() -> None:
    """66 l/min and 18 % more over twice 3.15 s are 8.2 l: 10 mm of a display of 0.81 m2, and 5 mm
    for the ruler; so 585 mm will do under a rim at 600 mm, and 590 mm will not (arithmetic)."""
    assert witnesses(TEXT).edges
    assert not witnesses(edited(TEXT, "sensors.display-high", height='"590 mm"')).edges


def test_an_upper_float_too_near_the_rim_is_no_witness() -> None:
    found = witnesses(edited(TEXT, "sensors.box-upper", height='"345 mm"'))
    assert [height for _, height in found.floats] == [pytest.approx(0.205)]
    told = night(edited(TEXT, "sensors.box-upper", height='"345 mm"'))
    told.wet("box-watch")
    told.run(5)
    assert told.cut_after_s is not None


def test_a_box_with_a_rim_under_its_tanks_has_no_witness() -> None:
    assert witnesses(edited(TEXT, "chambers.overflow-box", rim='"340 mm"')) == Witnesses()


# --- while the pump stands -----------------------------------------------------------------------


def test_a_box_that_does_not_empty_while_the_pump_stands_keeps_it_off() -> None:
    told = carried()
    told.wet("box-upper")
    told.run(5)
    told.mend("box-upper")
    told.rest(RESTS_S[0] + 300)
    assert not told.on("pump-relay")
    assert len(told.of(EventKind.PUMP_STARTED)) == 1


def test_a_restart_that_the_emergency_drain_carries_is_not_cut_again() -> None:
    told = carried()
    told.wet("box-upper")
    told.run(5)
    told.mend()
    told.rest(RESTS_S[0] + 30)
    assert told.phase is Phase.PROVING
    told.wet("box-watch")
    told.rest(1200)
    assert told.phase is Phase.RUNNING
    assert len(told.of(EventKind.PUMP_CUT)) == 1


# --- what the assessment says of it --------------------------------------------------------------


@pytest.mark.parametrize("text", [TEXT, witness_text("rack")])
def test_everything_blocked_is_held_by_each_of_two_alone(text: str) -> None:
    plan = plan_for(site_of(text))
    boxes = {drain.chamber for drain in plan.drains if drain.watches}
    results = [r for r in assess(plan).results if r.failure.sort is Sort.ALL_DRAINS]
    checked = [result for result in results if result.failure.chamber in boxes]
    assert checked
    for result in checked:
        in_time = {s.sensor for s in result.seen_at_worst if s.cuts and s.spare_s >= 0.0}
        watches = in_time & set(plan.site.floats(duty="drain-watch"))
        assert watches
        assert in_time & set(plan.site.floats(duty="spill-edge"))
        lowest = next(d for d in plan.drains if d.chamber == result.failure.chamber).watches[0]
        assert lowest.contact.id not in watches  # it only tells


def test_the_demo_sites_have_none() -> None:
    for name in ("classroom", "rack"):
        plan = plan_for(site_of(text_of(name)))
        for drain in plan.drains:
            for watch in drain.watches:
                assert not drain.witnesses.above(watch.mark.height_m)
