"""Two pumps into one display: its drains must carry both, and a blockage cuts both."""

from __future__ import annotations

import pytest

from rules.engine import RETURN_S
from rules.resting import SUPPLY_REST_S
from rules.signals import EventKind, Phase
from tests.rules.nights import Night, edited, site_of, text_of
from tests.rules.test_drains import LOSS, SHORT, box
from tests.rules.test_top_off import FEED_PUMP

SECOND_PUMP = """
[pumps.second-pump]
name = "second pump"
from = "return"
intake = "60 mm"
curve = [{ flow = "0 l/h", head = "2.5 m" }, { flow = "1500 l/h", head = "0 m" }]

[passages.second-riser]
kind = "branch"
pump = "second-pump"
to = "display"
outlet = "520 mm"
siphon_break = "565 mm"
pipe = "1 in sch40"
length = "1.6 m"
fittings = ["elbow-90", "exit"]

[outputs.second-relay]
kind = "pump"
pump = "second-pump"
pin = 25
safe = "low"
"""
RELAYS = ("pump-relay", "second-relay")


def both() -> Night:
    """The classroom with a second, smaller pump into the same display, both running."""
    night = Night(site_of(text_of("classroom") + SECOND_PUMP))
    night.good(120)
    assert all(night.on(relay) for relay in RELAYS)
    return night


def second_m3_s(night: Night) -> float:
    """What the second pump lifts, all of it into the display [m3/s]."""
    return night.plan.figures.lift("second-pump").flow_m3_s


def riser_m3_s(night: Night) -> float:
    """What the first pump sends into the display: the rest goes to the refugium [m3/s]."""
    return night.plan.figures.lift("return-pump").branches["riser"]


def test_a_box_over_its_watch_cuts_both_pumps_that_feed_it() -> None:
    night = both()
    night.wet("box-watch")
    night.run(5)
    cuts = night.of(EventKind.PUMP_CUT)
    assert {cut.subject for cut in cuts} == {"return-pump", "second-pump"}
    assert len({cut.t_s for cut in cuts}) == 1
    assert cuts[0].t_s - night.changed_s <= 1.1
    assert not any(night.on(relay) for relay in RELAYS)
    (alarm,) = night.raised(SHORT)
    assert "return pump and second pump" in alarm.saying.done


def test_what_comes_is_the_sum_of_both() -> None:
    night = both()
    assert box(night).return_m3_s == pytest.approx(riser_m3_s(night) + second_m3_s(night))
    assert second_m3_s(night) > 0.1 * riser_m3_s(night)
    night.bad("return-flow")
    night.run(1)
    assert box(night).return_m3_s == pytest.approx(riser_m3_s(night) + second_m3_s(night))


def test_the_meter_of_one_pump_says_nothing_of_the_other() -> None:
    night = both()
    night.flow("return-flow", 0.7)
    night.run(1)
    want = 0.7 * riser_m3_s(night) + second_m3_s(night)
    assert box(night).return_m3_s == pytest.approx(want)


def test_what_comes_is_the_other_pump_alone_while_one_is_off() -> None:
    night = both()
    night.drop("second-relay")
    night.run(2)
    assert [night.on(relay) for relay in RELAYS] == [True, False]
    assert box(night).return_m3_s == pytest.approx(riser_m3_s(night))


@pytest.mark.parametrize("off", RELAYS)
def test_a_box_that_one_pump_alone_fills_is_cut(off: str) -> None:
    night = both()
    night.drop(off)
    night.run(2)
    night.wet("box-watch")
    night.run(5)
    assert not any(night.on(relay) for relay in RELAYS)
    night.rest(SUPPLY_REST_S + 60)
    assert not any(night.on(relay) for relay in RELAYS)


def test_a_loss_is_only_said_while_the_second_pump_runs_alone() -> None:
    """Little comes, the open drain carries it: what the first pump does not lift cuts nothing."""
    near = edited(text_of("classroom") + SECOND_PUMP, "sensors.box-watch", height='"169 mm"')
    night = Night(site_of(near))
    night.good(120)
    night.drop("pump-relay")
    night.run(2)
    night.wet("box-watch")
    night.run(20)
    assert [night.on(relay) for relay in RELAYS] == [False, True]
    assert night.raised(SHORT) == []
    assert len(night.raised(LOSS)) == 1


def test_a_box_that_rises_while_the_second_pump_primes_it_is_not_cut() -> None:
    night = both()
    night.drop("second-relay")
    night.rest(SUPPLY_REST_S + RETURN_S + 1)
    assert night.on("second-relay")
    assert night.memory.pumps[1].phase is Phase.PROVING
    night.wet("box-watch")
    night.run(night.plan.pumps[1].prime_s - 3)
    assert night.memory.pumps[1].phase is Phase.PROVING
    assert night.raised(SHORT) == []
    assert all(night.on(relay) for relay in RELAYS)
    night.run(6)
    assert not any(night.on(relay) for relay in RELAYS)


def test_a_pump_that_feeds_another_chamber_is_not_cut_by_this_box() -> None:
    text = edited(text_of("classroom"), "passages.refugium-feed", pump='"feed-pump"')
    night = Night(site_of(text + FEED_PUMP))
    night.good(150)
    night.wet("box-watch")
    night.run(5)
    assert not night.on("pump-relay")
    assert night.on("feed-relay")
    assert {cut.subject for cut in night.of(EventKind.PUMP_CUT)} == {"return-pump"}


def test_a_dead_meter_hides_no_blockage_while_the_other_pump_is_off() -> None:
    night = both()
    night.drop("second-relay")
    night.run(2)
    assert not night.on("second-relay")
    assert night.on("pump-relay")
    night.flow("return-flow", 0.05)
    night.wet("box-watch")
    night.run(5)
    assert not night.on("pump-relay")
    assert night.raised(SHORT)
