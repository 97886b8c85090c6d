"""What a person may ask of the guard, and what is refused, each with one answer."""

from __future__ import annotations

import pytest

from rules import engine
from rules.memory import keep
from rules.orders import EVERYTHING
from rules.signals import AlarmState, Command, Event, EventKind, Observation, Order, Origin
from tests.rules.nights import Night

EDGE, LEAK = "spill-edge.display-high", "leak.floor-pad"
GONE_S = 12.0
"""More than a float's filter and the 10 s for which a cause must stay away [s]."""
OBEYED, REFUSED = EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED


def tripped() -> tuple[Night, str]:
    """A night with water at the edge of the display, and the code of its alarm."""
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(6)
    alarm = night.alarm(EDGE)
    assert alarm is not None
    return night, alarm.code


def state_of(night: Night) -> AlarmState:
    """The state of the alarm at the edge."""
    alarm = night.alarm(EDGE)
    assert alarm is not None
    return alarm.state


@pytest.mark.parametrize("origin", Origin)
def test_the_right_code_is_obeyed_whichever_way_it_comes(origin: Origin) -> None:
    night, code = tripped()
    answer = night.acknowledge(code, origin=origin)
    assert answer.kind is OBEYED
    assert answer.subject == code
    assert answer.causes == (EDGE,)
    assert state_of(night) is AlarmState.ACK_ALARM


def test_a_wrong_code_moves_nothing() -> None:
    night, code = tripped()
    for wrong in ("", "0", "0000", code[:3], code + "0", code[::-1] + "0", "x" * 40):
        answer = night.acknowledge(wrong)
        assert answer.kind is REFUSED
        assert answer.subject == wrong
        assert "not the code of any alarm that stands" in answer.text
    assert state_of(night) is AlarmState.UNACK_ALARM
    assert night.on("sounder")


def test_an_old_code_does_not_answer_the_next_occurrence() -> None:
    night, old = tripped()
    night.acknowledge(old)
    night.mend()
    night.run(GONE_S)
    assert night.reset().kind is OBEYED
    night.run(60)
    night.wet("display-high")
    night.run(3)
    assert night.acknowledge(old).kind is REFUSED
    assert state_of(night) is AlarmState.UNACK_ALARM


def test_the_code_of_another_boot_is_refused() -> None:
    other = Night(boot="boot-z")
    other.good(100)
    other.wet("display-high")
    other.run(3)
    alarm = other.alarm(EDGE)
    assert alarm is not None
    night, code = tripped()
    assert alarm.code != code
    assert night.acknowledge(alarm.code).kind is REFUSED


def test_a_second_acknowledgement_says_that_it_is_done_already() -> None:
    night, code = tripped()
    night.acknowledge(code)
    answer = night.acknowledge(code)
    assert answer.kind is REFUSED
    assert f"{code} is acknowledged already" in answer.text


def test_the_answer_names_the_person() -> None:
    night, code = tripped()
    answer = night.acknowledge(code, person="keeper")
    assert answer.text.startswith("Acknowledged by the keeper on call: ")


def test_a_person_the_site_does_not_know_stops_no_engine() -> None:
    night, code = tripped()
    answer = night.acknowledge(code, person="stranger")
    assert answer.kind is OBEYED
    assert "stranger" not in answer.text


def test_an_acknowledged_cut_stays_a_cut() -> None:
    night, code = tripped()
    night.acknowledge(code)
    night.run(60)
    assert not night.on("pump-relay")


def test_every_order_of_a_tick_gets_one_answer_in_their_order() -> None:
    night, code = tripped()
    orders = (
        Command(Order.ACKNOWLEDGE, "0000", Origin.BROKER),
        Command(Order.RESET, "1111", Origin.BROKER),
        Command(Order.ACKNOWLEDGE, code, Origin.BROKER, "keeper"),
        Command(Order.RESET, "2222", Origin.LOCAL),
        Command(Order.RESET, EVERYTHING, Origin.LOCAL),
        Command(Order.ACKNOWLEDGE, code, Origin.LOCAL),
    )
    observation = Observation(night.t_s + 0.1, night.readings(), orders, (False,) * 5)
    _, decision = engine.step(night.plan, night.memory, observation)
    answers: list[Event] = [e for e in decision.events if e.kind in (OBEYED, REFUSED)]
    assert [(e.subject, e.kind) for e in answers] == [
        ("0000", REFUSED),
        ("1111", REFUSED),
        (code, OBEYED),
        ("2222", REFUSED),
        (EVERYTHING, REFUSED),
        (code, REFUSED),
    ]


def test_a_thousand_guesses_from_afar_start_no_pump() -> None:
    """Codes have four digits; guessing one acknowledges at most, and never resets."""
    night, code = tripped()
    night.mend()
    night.run(GONE_S)
    guesses = [str(1000 + i) for i in range(0, 9000, 9)]
    for guess in guesses:
        night.acknowledge(guess)
        night.reset(guess, origin=Origin.BROKER)
    assert not night.on("pump-relay")
    want = AlarmState.LATCH_ACK if code in guesses else AlarmState.LATCH_UNACK
    assert state_of(night) is want


def test_a_reset_clears_every_cause_that_has_gone_and_says_which() -> None:
    night, _ = tripped()
    night.wet("floor-pad")
    night.run(4)
    night.mend()
    night.run(GONE_S)
    answer = night.reset()
    assert answer.kind is OBEYED
    assert answer.causes == (EDGE, LEAK)
    assert "water on the floor under the cabinet" in answer.text
    night.run(5)
    assert night.on("pump-relay")


def test_a_reset_does_nothing_while_any_latched_cause_stands() -> None:
    night, _ = tripped()
    night.wet("floor-pad")
    night.run(4)
    night.mend("display-high")
    night.run(GONE_S)
    answer = night.reset()
    assert answer.kind is REFUSED
    assert "floor" in answer.text
    assert "display" not in answer.text
    night.rest(600)
    assert not night.on("pump-relay")


# --- a reset by its code -------------------------------------------------------------------------


def tripped_twice() -> tuple[Night, str, str]:
    """Water at the edge and on the floor, both gone again; the code of each alarm."""
    night, edge = tripped()
    night.wet("floor-pad")
    night.run(4)
    leak = night.alarm(LEAK)
    assert leak is not None
    night.mend()
    night.run(GONE_S)
    return night, edge, leak.code


def test_a_reset_by_its_code_releases_that_cause_and_no_other() -> None:
    night, edge, leak = tripped_twice()
    answer = night.reset(edge)
    assert answer.kind is OBEYED
    assert answer.subject == edge
    assert answer.causes == (EDGE,)
    assert "floor" not in answer.text
    assert keep(night.plan, night.memory).latched == {LEAK}
    night.rest(600)
    assert not night.on("pump-relay")
    answer = night.reset(leak)
    assert answer.kind is OBEYED
    assert answer.causes == (LEAK,)
    night.run(5)
    assert night.on("pump-relay")


def test_a_reset_by_any_other_code_releases_nothing() -> None:
    night, edge, leak = tripped_twice()
    for wrong in ("", "0000", "ALL", "al", edge[:3], edge + leak, EDGE):
        answer = night.reset(wrong)
        assert answer.kind is REFUSED
        assert "is not the code of anything that is latched" in answer.text
    assert keep(night.plan, night.memory).latched == {EDGE, LEAK}
    night.rest(600)
    assert not night.on("pump-relay")


def test_a_code_that_was_reset_once_resets_nothing_more() -> None:
    night, edge, leak = tripped_twice()
    night.reset(edge)
    assert night.reset(edge).kind is REFUSED
    night.reset(leak)
    assert night.reset(edge).text == "nothing is latched"


def test_the_code_of_an_alarm_that_is_not_latched_resets_nothing() -> None:
    night, _, _ = tripped_twice()
    night.wet("return-high")
    night.run(3)
    own = night.alarm("chamber-high.return-high")
    assert own is not None
    assert night.reset(own.code).kind is REFUSED
    assert keep(night.plan, night.memory).latched == {EDGE, LEAK}


def test_a_reset_by_its_code_is_not_held_up_by_another_cause_that_stands() -> None:
    """Which one is meant is plain; the other still holds the pump."""
    night, edge = tripped()
    night.wet("floor-pad")
    night.run(4)
    leak = night.alarm(LEAK)
    assert leak is not None
    night.mend("display-high")
    night.run(GONE_S)
    refused = night.reset(leak.code)
    assert refused.kind is REFUSED
    assert "the cause still stands: water on the floor" in refused.text
    assert night.reset(edge).kind is OBEYED
    assert keep(night.plan, night.memory).latched == {LEAK}
    night.rest(600)
    assert not night.on("pump-relay")


def test_the_right_code_from_afar_resets_nothing() -> None:
    night, edge, _ = tripped_twice()
    answer = night.reset(edge, origin=Origin.BROKER)
    assert answer.kind is REFUSED
    assert "at the guard" in answer.text
    assert keep(night.plan, night.memory).latched == {EDGE, LEAK}
