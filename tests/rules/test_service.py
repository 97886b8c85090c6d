"""Out of service (ISA-18.2, IEC 62682): by order, said, asked after daily, never the last guard."""

from __future__ import annotations

import pytest

from rules.hazards import out_of_service
from rules.idle import idle_until_s
from rules.memory import Kept, keep
from rules.signals import Command, Event, EventKind, Order, Origin, Phase, Quality
from rules.site.model import Site
from tests.level_site import LEVEL, level_site
from tests.rules.nights import Night, site_of, text_of

ROW = f"out-of-service.{out_of_service.SUBJECT}"

SECOND_HIGH = """
[sensors.display-higher]
name = "second high float of the display"
kind = "float"
chamber = "display"
height = "592 mm"
duty = "spill-edge"
pin = 14
"""


def two_floats() -> Site:
    """The classroom with a second spill-edge float, too far over the first to vote with it."""
    return site_of(f"{text_of('classroom')}\n{SECOND_HIGH}")


def out(night: Night, thing: str, origin: Origin = Origin.LOCAL) -> Event:
    """Somebody takes a thing out of service; returns the answer."""
    return night.order(Command(Order.OUT_OF_SERVICE, thing, origin))


def back(night: Night, thing: str) -> Event:
    """Somebody puts it back."""
    return night.order(Command(Order.IN_SERVICE, thing, Origin.LOCAL))


def begun(site: Site | str = "classroom", **given: object) -> Night:
    """A night that began well."""
    night = Night(site, **given)  # type: ignore[arg-type]
    night.run(70)
    return night


@pytest.mark.parametrize(
    "thing",
    [
        "display-high",
        "refugium-high",
        "inlet-high",
        "return-low",
        "floor-pad",
        "spill-edge.display-high",
        "dry-run.return-low",
        "lease-lost.pump-relay",
    ],
)
def test_the_last_that_guards_something_stays_in_service(thing: str) -> None:
    night = begun()
    answer = out(night, thing)
    assert answer.kind is EventKind.ORDER_REFUSED
    assert night.memory.out == ()
    night.wet("display-high")
    night.run(2)
    assert night.cut_after_s is not None


def test_the_refusal_says_what_nothing_else_would_guard() -> None:
    answer = out(begun(), "display-high")
    assert "nothing else would cut the pump for this: display stands at 585.0 mm" in answer.text


def test_with_another_beside_it_it_may_go_and_the_other_guards() -> None:
    night = begun(two_floats())
    night.bad("display-high")
    night.run(3)
    assert night.cut_at is not None
    assert out(night, "display-high").kind is EventKind.ORDER_OBEYED
    night.rest(320)
    night.run(60)
    assert night.phase is Phase.RUNNING
    assert night.alarm("signal.display-high") is None
    night.wet("display-higher")
    night.run(2)
    assert night.of(EventKind.PUMP_CUT)[-1].causes == ("spill-edge.display-higher",)


def test_the_other_of_two_may_not_go_as_well() -> None:
    night = begun(two_floats())
    assert out(night, "display-high").kind is EventKind.ORDER_OBEYED
    assert out(night, "display-higher").kind is EventKind.ORDER_REFUSED


def test_neither_may_the_spill_edge_where_the_drains_are_out_already() -> None:
    """The drain-watch float may go, for the float at the spill edge remains; then that may not."""
    night = begun(two_floats())
    answer = out(night, "box-watch")
    assert answer.kind is EventKind.ORDER_OBEYED
    assert "Nobody watches meanwhile: drains of the overflow box carry less" in answer.text
    assert out(night, "display-high").kind is EventKind.ORDER_OBEYED
    assert out(night, "display-higher").kind is EventKind.ORDER_REFUSED


def test_what_is_out_neither_acts_nor_tells() -> None:
    night = begun()
    out(night, "box-watch")
    night.wet("box-watch")
    night.run(30)
    assert night.cut_at is None
    assert night.of(EventKind.ALARM_RAISED) == []
    assert night.decision is not None
    assert night.decision.out[0].id == "box-watch"
    assert "drain-capacity.overflow-box" in night.decision.out[0].blind


def test_what_is_out_is_no_evidence_of_a_level() -> None:
    """It reads as on a good day, and nothing is concluded from that."""
    night = begun()
    night.tick()
    assert night.decision is not None
    most = night.decision.drains[0].level_most_m
    out(night, "box-watch")
    assert night.decision.drains[0].level_most_m > most


def test_a_float_that_is_out_contradicts_no_level_sensor() -> None:
    night = begun(level_site())
    out(night, "box-watch")
    night.reads(LEVEL, night.readings()[night.plan.sensors[LEVEL]])
    place = night.plan.sensors[LEVEL]
    high = night.readings()[place]
    night.reads(LEVEL, type(high)(0.23))
    night.run(8)
    assert night.alarm(f"signal.{LEVEL}") is None
    assert night.readings()[place].quality is Quality.GOOD


def test_a_top_off_float_that_is_out_keeps_the_valve_shut() -> None:
    night = begun()
    night.run(60)
    out(night, "return-level")
    night.dry("return-level")
    night.run(30)
    assert not night.on("top-off-valve")


def test_a_row_alone_may_be_taken_out() -> None:
    night = begun()
    assert out(night, "flow-lost.return-pump").kind is EventKind.ORDER_OBEYED
    night.flow("return-flow", 0.0)
    night.run(20)
    assert night.raised("flow-lost.return-pump") == []


def test_put_back_it_guards_again() -> None:
    night = begun()
    out(night, "box-watch")
    night.wet("box-watch")
    night.run(5)
    assert back(night, "box-watch").kind is EventKind.ORDER_OBEYED
    night.run(3)
    assert night.of(EventKind.PUMP_CUT)[0].causes == ("drain-capacity.overflow-box",)


def test_it_is_asked_after_every_day() -> None:
    night = begun()
    out(night, "return-flow")
    night.wait(86000)
    assert night.raised(ROW) == []
    night.wait(600)
    (alarm,) = night.raised(ROW)
    assert "flow meter of the riser" in alarm.saying.what
    assert "Nobody watches meanwhile" in alarm.saying.done
    night.acknowledge(alarm.code)
    night.wait(86400)
    assert len(night.raised(ROW)) == 2
    back(night, "return-flow")
    night.run(11)
    assert night.alarm(ROW) is None or night.alarm(ROW).state == "RTN_UNACK"  # type: ignore[union-attr]


def test_without_the_row_nobody_is_asked() -> None:
    night = begun(without=["out-of-service"])
    out(night, "return-flow")
    night.wait(90000)
    assert night.of(EventKind.ALARM_RAISED) == []


def test_it_stays_out_over_a_restart_and_its_age_is_kept_in_hours() -> None:
    night = begun()
    out(night, "box-watch")
    night.wait(7300)
    kept = keep(night.plan, night.memory)
    assert kept.out_s == {"box-watch": 7200.0}
    again = begun(kept=kept, boot="boot-b")
    again.wet("box-watch")
    again.run(5)
    assert again.cut_at is None
    again.wait(86400 - 7200)
    assert len(again.raised(ROW)) == 1


def test_what_the_site_no_longer_has_is_forgotten() -> None:
    assert begun(kept=Kept(out_s={"gone": 3600.0})).memory.out == ()


def test_what_cannot_be_done_is_said() -> None:
    night = begun()
    assert "ordered at the guard" in out(night, "box-watch", Origin.BROKER).text
    assert "neither a sensor of this site nor a row" in out(night, "snail").text
    assert "is not out of service" in back(night, "box-watch").text
    out(night, "box-watch")
    assert "out of service already" in out(night, "box-watch").text


def test_a_night_that_is_played_quickly_stops_where_it_is_asked_after() -> None:
    night = begun()
    out(night, "return-flow")
    since_s = night.t_s
    night.run(60)
    before = night.memory
    night.tick()
    assert idle_until_s(night.plan, before, night.memory) <= since_s + 86400.0 + 1e-6
