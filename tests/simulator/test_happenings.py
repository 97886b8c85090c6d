"""Every happening does what it says to plant, sensors or guard, and ends when it says."""

from __future__ import annotations

import pytest

from rules.signals import Alarm, AlarmState, Command, Order, Origin, Priority, Saying
from rules.site.model import Site
from simulator.story.drill_file import LISTS
from simulator.story.happenings_world import BrokerDown, ClockJumps
from simulator.story.roles import NoSuchRoleError
from tests.simulator.stories import Recorder, Tale, drill_of, everything


@pytest.fixture(scope="module")
def site() -> Site:
    """The classroom with all that a happening can happen to."""
    return everything()


# --- water and passages ------------------------------------------------------------------------


def test_a_siphon_that_draws_air_loses_its_prime_and_seals_again(site: Site) -> None:
    tale = Tale(
        site,
        'at = "10 s"; what = "draws air"; where = "main drain"',
        'at = "300 s"; what = "seals"; where = "main drain"',
    )
    siphon = tale.plant.siphon("main-drain")
    tale.to(9.0)
    assert siphon.primed
    assert not siphon.draws_air
    tale.to(200.0)
    assert siphon.draws_air
    assert not siphon.primed
    tale.to(301.0)
    assert not siphon.draws_air
    tale.to(900.0)
    assert siphon.primed


def test_a_gulp_takes_the_prime_once(site: Site) -> None:
    tale = Tale(site, 'at = "5 s"; what = "loses prime"; where = "every siphon drain"')
    siphon = tale.plant.siphon("main-drain")
    tale.to(5.0)
    assert not siphon.primed
    tale.to(600.0)
    assert siphon.primed


def test_only_a_siphon_can_draw_air(site: Site) -> None:
    with pytest.raises(NoSuchRoleError, match="has no siphon drain that could be the open drain"):
        Tale(site, 'at = "5 s"; what = "draws air"; where = "open drain"')


def test_a_hand_stirs_the_water_and_is_taken_out(site: Site) -> None:
    tale = Tale(
        site, 'at = "5 s"; what = "stir"; where = "display"; height = "20 mm"; lasts = "9 s"'
    )
    tale.to(6.0)
    assert tale.plant.stirred_m == {"display": pytest.approx(0.02)}
    tale.to(14.0)
    assert tale.plant.stirred_m == {}


def test_an_arm_lifts_the_level_and_lets_it_fall_back(site: Site) -> None:
    tale = Tale(
        site, 'at = "5 s"; what = "displace"; where = "reservoir"; volume = "2 l"; lasts = "20 s"'
    )
    before = tale.plant.level_m("reservoir")
    tale.to(6.0)
    assert tale.plant.level_m("reservoir") == pytest.approx(before + 1 / 30, abs=1e-4)  # 600 cm2
    tale.to(26.0)
    assert tale.plant.level_m("reservoir") == pytest.approx(before, abs=1e-4)
    assert tale.plant.brought_m3 == pytest.approx(0.0, abs=1e-12)


def test_a_leak_grows_and_is_mended(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "leak"; where = "inlet chamber"; flow = "6 l/min"; over = "100 s"; '
        'mended_after = "160 s"',
    )
    tale.to(50.0)
    assert tale.plant.leak_m3_s["inlet"] == pytest.approx(0.5e-4, rel=0.03)
    tale.to(160.0)
    assert tale.plant.leak_m3_s == {}
    # half of 100 s at 0.1 l/s, then 60 s of it: 11 l
    assert tale.plant.leaked_m3 == pytest.approx(0.011, rel=0.02)


def test_a_canister_is_a_branch_that_clogs(site: Site) -> None:
    tale = Tale(site, 'at = "0 s"; what = "block"; where = "canister"; share = "60 %"')
    tale.to(1.0)
    assert tale.plant.rises["refugium-feed"].condition == pytest.approx(0.4)
    assert tale.plant.rises["riser"].condition == 1.0


def test_the_water_change_comes_to_differ(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "water change differs"; share = "4 %"; more = "out"; over = "100 s"',
    )
    change = tale.plant.water_change
    assert change is not None
    tale.to(100.0)
    assert change.differs == pytest.approx(-0.04)


# --- machines ----------------------------------------------------------------------------------


def test_a_plug_is_pulled_and_put_back(site: Site) -> None:
    tale = Tale(site, 'at = "5 s"; what = "unplug"; where = "return pump"; lasts = "60 s"')
    tale.to(20.0)
    assert not tale.plant.powered("return-pump")
    assert tale.plant.flows_m3_s["return-pump"] <= 0.0
    tale.to(66.0)
    assert tale.plant.powered("return-pump")


@pytest.mark.parametrize(("what", "on"), [("weld relay", True), ("dead relay", False)])
def test_a_relay_no_longer_obeys_until_it_is_mended(site: Site, what: str, on: bool) -> None:
    tale = Tale(
        site,
        f'at = "1 s"; what = "{what}"; where = "pump relay"',
        'at = "30 s"; what = "mend relay"; where = "pump relay"',
    )
    tale.board.drive("pump-relay", not on)
    tale.to(5.0)
    assert tale.plant.powered("return-pump") is on
    tale.to(31.0)
    assert tale.plant.powered("return-pump") is not on


def test_the_relay_of_the_valve_can_weld_too(site: Site) -> None:
    tale = Tale(site, 'at = "1 s"; what = "weld relay"; where = "top-off valve"')
    tale.to(2.0)
    assert tale.plant.valve_open
    with pytest.raises(NoSuchRoleError, match="no pump relay of the inlet chamber"):
        Tale(site, 'at = "1 s"; what = "dead relay"; where = "pump relay of the inlet chamber"')


def test_a_valve_sticks_half_open_and_is_freed(site: Site) -> None:
    tale = Tale(
        site,
        'at = "1 s"; what = "stick valve"; state = "half open"; share = "40 %"',
        'at = "30 s"; what = "free valve"',
    )
    tale.board.drive("top-off-valve", True)
    tale.board.advance_to(tale.plant.t_s + 0.5)
    whole = tale.plant.top_off_m3_s
    tale.to(5.0)
    assert tale.plant.top_off_m3_s == pytest.approx(0.4 * whole)
    assert tale.plant.valve_open
    tale.to(31.0)
    assert tale.plant.top_off_m3_s == pytest.approx(whole)


def test_a_valve_stuck_shut_after_half_open_gives_nothing(site: Site) -> None:
    tale = Tale(
        site,
        'at = "1 s"; what = "stick valve"; state = "half open"',
        'at = "5 s"; what = "stick valve"; state = "shut"',
        'at = "9 s"; what = "stick valve"; state = "open"',
    )
    tale.to(6.0)
    assert not tale.plant.valve_open
    tale.to(11.0)
    assert tale.plant.valve_open
    assert tale.plant.valve_share == 1.0


# --- the guard, the world and people --------------------------------------------------------------


def test_what_happens_to_the_guard_is_done_to_its_host(site: Site) -> None:
    host = Recorder()
    tale = Tale(
        site,
        'at = "1 s"; what = "guard killed"',
        'at = "2 s"; what = "guard killed"; pins = "let go"; back_after = "20 s"',
        'at = "3 s"; what = "guard hangs"; lasts = "9 s"',
        'at = "4 s"; what = "guard hangs"; lasts = "9 s"; pins = "let go"',
        'at = "5 s"; what = "guard reboots"',
        'at = "6 s"; what = "guard without power"; lasts = "5 min"',
        'at = "7 s"; what = "guard upgraded"',
        host=host,
    )
    tale.to(30.0)
    assert host.done == [
        ("kill", 5.0, True),
        ("kill", 20.0, False),
        ("hang", 9.0, True),
        ("hang", 9.0, False),
        ("reboot", 45.0),
        ("unpower", 300.0),
        ("upgrade", 8.0),
    ]


def test_without_a_guard_nothing_is_done_to_it(site: Site) -> None:
    tale = Tale(site, 'at = "1 s"; what = "guard killed"', 'at = "2 s"; what = "acknowledge"')
    tale.to(5.0)


def alarm(hazard: str, code: str, state: AlarmState) -> Alarm:
    """An alarm to answer."""
    saying = Saying("what", "where", "done", "do now")
    return Alarm(f"{hazard}/x", hazard, state, Priority.HIGH, 1, code, 0.0, saying)


def test_a_person_answers_what_stands_and_nothing_else(site: Site) -> None:
    host = Recorder(
        (
            alarm("leak", "1111", AlarmState.UNACK_ALARM),
            alarm("signal", "2222", AlarmState.ACK_ALARM),
            alarm("spill-edge", "3333", AlarmState.LATCH_UNACK),
            alarm("mains", "4444", AlarmState.RTN_UNACK),
        )
    )
    tale = Tale(
        site,
        'at = "1 s"; what = "acknowledge"; hazard = "leak"',
        'at = "2 s"; what = "acknowledge"',
        'at = "3 s"; what = "reset"',
        host=host,
    )

    def order(kind: Order, code: str) -> tuple[object, ...]:
        return ("order", Command(kind, code, Origin.LOCAL, "keeper"))

    acknowledge = Order.ACKNOWLEDGE
    tale.to(1.0)
    assert host.done == [order(acknowledge, "1111")]
    tale.to(2.0)
    assert host.done[1:] == [order(acknowledge, code) for code in ("1111", "3333", "4444")]
    tale.to(3.0)
    assert host.done[4:] == [order(Order.RESET, "all")]


def test_a_person_pauses_the_pump_and_ends_the_pause(site: Site) -> None:
    host = Recorder()
    tale = Tale(
        site,
        'at = "1 s"; what = "pause"; kind = "feeding"',
        'at = "2 s"; what = "end pause"',
        'at = "3 s"; what = "pause"; kind = "cleaning"; for = "20 min"; where = "return-pump"',
        host=host,
    )

    def order(kind: Order, code: str) -> tuple[object, ...]:
        return ("order", Command(kind, code, Origin.LOCAL, "keeper"))

    tale.to(1.0)
    assert host.done == [order(Order.PAUSE, "feeding pump=return-pump")]
    tale.to(2.0)
    assert host.done[1:] == [order(Order.END_PAUSE, "all")]
    tale.to(3.0)
    assert host.done[2:] == [order(Order.PAUSE, "cleaning for=1200 pump=return-pump")]


def test_what_only_the_daemon_has_is_listed_and_left_alone(site: Site) -> None:
    tale = Tale(
        site,
        'at = "1 s"; what = "clock jumps"; by = "2 h"; to = "back"',
        'at = "2 s"; what = "broker down"; lasts = "9 s"',
        'at = "3 s"; what = "power cut"; lasts = "1 s"',
    )
    assert [type(event) for event in tale.script.needs_daemon] == [ClockJumps, BrokerDown]
    assert drill_of('at = "1 s"; what = "disk full"; lasts = "9 s"').needs_daemon
    alerts = 'must = [{ what = "alert arrives", hazard = "leak" }]'
    assert drill_of('at = "1 s"; what = "power cut"', states=alerts).needs_daemon
    assert not drill_of('at = "1 s"; what = "guard hangs"; lasts = "9 s"').needs_daemon


def test_no_happening_is_without_an_act(site: Site) -> None:
    """Each word of the vocabulary either moves something or is for the whole daemon."""
    keys = {
        "share": '"10 %"', "where": '"{}"', "state": '"open"', "to": '"{}"', "flow": '"1 l/min"',
        "volume": '"1 l"', "more": '"in"', "a_day": '"2 %"', "height": '"9 mm"', "lasts": '"9 s"',
        "a_minute": "5", "for": '"1 s"', "with": '"low float"', "drops": "9", "a_second": "9",
        "by": '"5 mm"', "spread": '"5 mm"', "kind": '"feeding"',
    }  # fmt: skip
    wheres = {
        "displace": "display", "stir": "display", "leak": "display", "lose water": "display",
        "add water": "display", "hose slips": "branch", "plug siphon break": "branch",
        "clear siphon break": "branch", "weld relay": "pump relay", "dead relay": "pump relay",
        "mend relay": "sounder", "wear": "return pump", "pump dies": "return pump",
        "pump revives": "return pump", "unplug": "return pump", "stick valve": "top-off valve",
        "free valve": "top-off valve", "stick": "high float", "free": "high float",
        "cut cable": "flow meter", "loose cable": "level sensor", "mend cable": "high float",
        "swap": "high float", "splash": "high float", "dull pad": "leak pad",
        "pause": "return pump", "out of service": "flow meter", "in service": "flow meter",
    }  # fmt: skip
    levels = ("offset", "hiss", "drop out", "freeze")
    meters = ("silence", "revive meter", "drift", "foul", "noise", "quiet")
    for what, model in LISTS["happens"].items():
        where = wheres.get(what, "level sensor" if what in levels else "main drain")
        where = "flow meter" if what in meters else where
        text = f'at = "1 s"; what = "{what}"'
        for name, field in model.model_fields.items():
            key = field.alias or name
            if key == "where":
                text += f'; where = "{where}"'
            elif key == "to":
                text += f'; to = "{"back" if what == "clock jumps" else "more"}"'
            elif key == "by" and what == "clock jumps":
                text += '; by = "1 h"'
            elif key == "state" and what == "stick":
                text += '; state = "wet"'
            elif field.is_required() and key in keys:
                text += f"; {key} = {keys[key]}"
        tale = Tale(site, text)
        acts = len(tale.script._coming)
        assert (acts == 0) is model.needs_daemon, what  # type: ignore[attr-defined]
        tale.to(3.0)
