"""Rows of the site's own: they act beside the others, end as they say, and take nothing away."""

from __future__ import annotations

import pytest

from rules.engine import plan_for
from rules.idle import idle_until_s
from rules.matrix import Clear, Effect
from rules.memory import keep
from rules.signals import EventKind, Phase, Priority, Quality, Reading
from rules.site.model import Site
from tests.level_site import level_text
from tests.rules.nights import Night, site_of, text_of

BARE = text_of("classroom")


def with_row(text: str = BARE, key: str = "mine", **values: str) -> Site:
    """The site with one row of its own."""
    lines = "\n".join(f"{name.rstrip('_')} = {value}" for name, value in values.items())
    return site_of(f'{text}\n[rows.{key}]\nname = "mine"\n{lines}\n')


FLOW = {"quantity": '"return-flow"', "of": '"return-pump"', "below": '"42 l/min"'}
CUTS = {"does": '"cut-pumps"', "pumps": '["return-pump"]'}


def running(site: Site, **given: object) -> Night:
    """A night on this site with its pump running."""
    night = Night(site, **given)  # type: ignore[arg-type]
    night.run(65)
    assert night.phase is Phase.RUNNING
    return night


def test_a_weak_flow_is_told_after_its_time_and_nothing_is_cut() -> None:
    night = running(with_row(**FLOW, for_='"1 min"'))
    night.flow("return-flow", 0.5)
    night.run(59)
    assert night.raised("own.mine") == []
    night.run(2)
    (alarm,) = night.raised("own.mine")
    assert alarm.priority is Priority.LOW
    assert "flow of the return pump under 42.0 l/min" in alarm.saying.what
    assert "it is 35." in alarm.saying.what
    assert night.cut_at is None
    night.mend()
    night.run(61)
    assert night.alarm("own.mine").state == "RTN_UNACK"  # type: ignore[union-attr]


def test_without_it_nothing_is_told() -> None:
    night = running(with_row(**FLOW, for_='"1 min"'), without=["own"])
    night.flow("return-flow", 0.5)
    night.run(90)
    assert night.of(EventKind.ALARM_RAISED) == []


def test_where_it_clears_can_lie_further_back() -> None:
    night = running(with_row(**FLOW, for_='"5 s"', clears_at='"60 l/min"'))
    night.flow("return-flow", 0.5)
    night.run(6)
    night.flow("return-flow", 0.7)  # over 42 again, and not yet over 60
    night.run(60)
    assert night.alarm("own.mine").state == "UNACK_ALARM"  # type: ignore[union-attr]
    night.flow("return-flow", 1.0)
    night.run(6)
    assert night.alarm("own.mine").state == "RTN_UNACK"  # type: ignore[union-attr]


def test_a_meter_that_cannot_be_read_neither_raises_it_nor_lets_it_go() -> None:
    night = running(with_row(**FLOW, for_='"5 s"'))
    night.bad("return-flow")
    night.run(30)
    assert night.raised("own.mine") == []
    night.mend()
    night.flow("return-flow", 0.5)
    night.run(6)
    night.bad("return-flow")
    night.run(60)
    assert night.alarm("own.mine").state == "UNACK_ALARM"  # type: ignore[union-attr]


def test_a_pump_that_stands_is_no_weak_flow() -> None:
    night = running(with_row(**FLOW, for_='"5 s"'))
    night.pause("feeding", 120.0)
    night.run(110)
    assert night.raised("own.mine") == []


def test_one_that_cuts_cuts_and_gives_way_to_restarts() -> None:
    """The pump is cut for it, tried again, and held for a person when that does not help."""
    night = running(with_row(**FLOW, **CUTS, for_='"5 s"'))
    night.flow("return-flow", 0.5)
    night.run(6)
    (cut,) = night.of(EventKind.PUMP_CUT)
    assert cut.causes == ("own.mine",)
    assert not night.on("pump-relay")
    assert not night.on("top-off-valve")
    assert night.raised("own.mine")[0].priority is Priority.HIGH
    assert "was cut" in night.raised("own.mine")[0].saying.done
    night.flow("return-flow", 0.0)
    night.rest(301)
    night.flow("return-flow", 0.5)
    night.run(80)
    assert len(night.of(EventKind.PUMP_CUT)) == 2
    assert night.phase is Phase.WAITING


def test_one_that_latches_waits_for_a_person_also_over_a_restart() -> None:
    site = with_row(**FLOW, **CUTS, for_='"5 s"', clear='"on-reset"')
    night = running(site)
    night.flow("return-flow", 0.5)
    night.run(6)
    night.mend()
    night.rest(600)
    assert night.phase is Phase.LATCHED
    kept = keep(night.plan, night.memory)
    assert kept.latched == {"own.mine"}
    again = Night(site, kept=kept, boot="boot-b")
    again.rest(600)
    assert again.phase is Phase.LATCHED
    assert "Latched since before" in again.raised("own.mine")[0].saying.what
    again.reset()
    again.run(65)
    assert again.phase is Phase.RUNNING


def test_a_float_can_serve_a_row_of_its_own_and_a_cut_cable_counts_as_its_worst() -> None:
    site = with_row(
        quantity='"reading"', of='"inlet-high"', reads='"wet"', does='"shut-top-off"', for_='"2 s"'
    )
    night = running(site)
    night.dry("return-level")
    night.run(60)
    assert night.on("top-off-valve")
    night.bad("inlet-high")
    night.run(4)
    assert not night.on("top-off-valve")
    assert night.raised("own.mine")[0].priority is Priority.MEDIUM


def test_a_level_is_told_by_a_float_at_that_height() -> None:
    row = {"quantity": '"level"', "of": '"return"', "below": '"100 mm"', "for_": '"2 s"'}
    night = running(with_row(**row))
    night.run(30)
    assert night.raised("own.mine") == []
    night.dry("return-low")  # hangs at 95 mm: dry, the level is under 100 mm
    night.run(5)
    assert len(night.raised("own.mine")) == 1


def test_a_level_is_told_by_a_level_sensor() -> None:
    text = level_text()
    site = with_row(text, quantity='"level"', of='"overflow-box"', above='"170 mm"', for_='"5 s"')
    night = running(site)
    (key,) = site.levels("overflow-box")
    night.reads(key, Reading(0.169))
    night.run(20)
    assert night.raised("own.mine") == []
    night.reads(key, Reading(0.173))
    night.run(6)
    assert len(night.raised("own.mine")) == 1
    night.reads(key, Reading(float("nan"), Quality.BAD, 0.0, "at the end of its range"))
    night.run(30)
    assert night.alarm("own.mine").state == "UNACK_ALARM"  # type: ignore[union-attr]


def test_a_margin_is_not_short_because_the_pump_has_stopped_or_the_drains_prime() -> None:
    site = with_row(
        quantity='"margin"', of='"overflow-box"', below="1.1", for_='"0 s"', clear='"when-clear"'
    )
    night = Night(site)
    night.run(20)  # priming
    night.wet("box-watch")
    night.run(4)
    night.dry("box-watch")
    night.run(40)
    assert night.raised("own.mine") == []
    night.wet("box-watch")
    night.run(4)
    assert len(night.raised("own.mine")) == 1
    night.mend()
    night.rest(60)
    assert night.alarm("own.mine").state == "RTN_UNACK"  # type: ignore[union-attr]


def test_it_never_keeps_another_row_from_acting() -> None:
    night = running(with_row(quantity='"reading"', of='"display-high"', reads='"wet"'))
    night.wet("display-high")
    night.run(2)
    assert night.of(EventKind.PUMP_CUT)[0].causes == ("spill-edge.display-high",)


def test_one_that_stands_is_idle_and_one_that_counts_is_not() -> None:
    night = running(with_row(**FLOW, for_='"30 s"'))
    night.flow("return-flow", 0.5)
    night.run(10)
    before = night.memory
    night.tick()
    assert idle_until_s(night.plan, before, night.memory) <= night.t_s
    night.run(60)
    before = night.memory
    night.tick()
    assert idle_until_s(night.plan, before, night.memory) > night.t_s + 60


# --- rows that are made stricter ------------------------------------------------------------------


def stricter(place: str, **values: str) -> Site:
    """The classroom with one derived row made stricter."""
    lines = "\n".join(f"{name} = {value}" for name, value in values.items())
    return site_of(f"{BARE}\n[stricter.{place}]\n{lines}\n")


def test_a_shorter_delay_tells_sooner() -> None:
    for site, after_s in (
        (site_of(BARE), 10.0),
        (stricter("flow-lost.return-pump", delay='"4 s"'), 4.0),
    ):
        night = running(site)
        night.flow("return-flow", 0.0)
        began_s = night.t_s
        night.run(12)
        (alarm,) = night.raised("flow-lost.return-pump")
        assert alarm.since_s - began_s == pytest.approx(after_s, abs=0.11)


def test_one_that_is_made_to_latch_waits_for_a_person() -> None:
    night = running(stricter("drain-capacity.overflow-box", clear='"on-reset"'))
    night.wet("box-watch")
    night.run(3)
    night.mend()
    night.rest(900)
    assert night.phase is Phase.LATCHED
    assert (
        "It holds until you reset at the guard"
        in night.raised("drain-capacity.overflow-box")[0].saying.do_now
    )
    night.reset()
    night.run(65)
    assert night.phase is Phase.RUNNING


def test_one_that_is_made_to_cut_cuts_and_says_what_it_did() -> None:
    site = stricter("flow-lost.return-pump", effect='"cut-pumps"', pumps='["return-pump"]')
    night = running(site)
    night.flow("return-flow", 0.0)
    night.run(12)
    assert night.of(EventKind.PUMP_CUT)[0].causes == ("flow-lost.return-pump",)
    done = night.raised("flow-lost.return-pump")[0].saying.done
    assert "was cut" in done
    assert "left on" not in done


def test_the_matrix_says_what_was_made_stricter() -> None:
    plan = plan_for(
        stricter(
            "drain-loss.overflow-box", delay='"3 s"', effect='"cut-pumps"', pumps='["return-pump"]'
        )
    )
    (row,) = [row for row in plan.rows if row.hazard == "drain-loss"]
    assert (row.delay_s, row.effect, row.stricter) == (3.0, Effect.CUT_PUMP, ("delay", "effect"))
    assert row.clear is Clear.WHEN_CLEAR
    others = {row.id: row for row in plan.rows if row.hazard != "drain-loss"}
    assert others == {r.id: r for r in plan_for(site_of(BARE)).rows if r.hazard != "drain-loss"}
