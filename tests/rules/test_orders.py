"""What a person may ask of the guard, and what is refused, each with one answer."""

from __future__ import annotations

import pytest

from rules import engine
from rules.signals import AlarmState, Command, Event, EventKind, Observation, Order, Origin
from tests.rules.nights import Night

EDGE = "spill-edge.display-high"
OBEYED, REFUSED = EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED


def tripped() -> tuple[Night, str]:
    """A night with water at the edge of the display, and the code of its alarm."""
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(3)
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
    night.run(3)
    night.reset()
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
        (code, REFUSED),
    ]


def test_a_thousand_guesses_from_afar_start_no_pump() -> None:
    """Codes have four digits; guessing one acknowledges at most, and never resets."""
    night, code = tripped()
    night.mend()
    night.run(3)
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
    night.run(4)
    answer = night.reset()
    assert answer.kind is OBEYED
    assert answer.causes == (EDGE, "leak.floor-pad")
    assert "water on the floor under the cabinet" in answer.text


def test_a_reset_does_nothing_while_any_latched_cause_stands() -> None:
    night, _ = tripped()
    night.wet("floor-pad")
    night.run(4)
    night.mend("display-high")
    night.run(4)
    answer = night.reset()
    assert answer.kind is REFUSED
    assert "floor" in answer.text
    assert "display" not in answer.text
    night.rest(600)
    assert not night.on("pump-relay")
