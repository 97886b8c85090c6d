"""Orders over a real broker: obeyed once, refused with a reason, and never a way to do harm."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
import pytest

from daemon import messages, orders
from daemon.link import MOST_EVENTS_UNDER_WAY, MOST_VALUES_UNDER_WAY, Link
from daemon.orders import MOST_ORDERS, MOST_REPLIES, Orders
from rules.signals import AlarmState, Command, Event, EventKind, Order, Origin
from tests.daemon.brokers import Mosquitto, Reader, eventually
from tests.daemon.decisions import WALL, alarm, classroom, decision, raised
from tests.daemon.links import linked

SITE = classroom()
COMMAND, REPLY = "weirkeeper/classroom/command", "weirkeeper/classroom/reply"


@dataclass
class Talk:
    """A link that stands, and a person who sends and reads."""

    link: Link
    reader: Reader

    def send(self, payload: bytes | str) -> None:
        self.reader.send(COMMAND, payload)

    def replies(self, count: int) -> list[dict[str, Any]]:
        assert eventually(lambda: len(self.reader.on(REPLY)) >= count)
        return [json.loads(message.payload) for message in self.reader.on(REPLY)]

    def commands(self) -> tuple[Command, ...]:
        found: list[Command] = []
        assert eventually(lambda: found.extend(self.link.commands()) or found)
        return tuple(found)

    def answer(self, kind: EventKind, code: str, text: str, **changes: Any) -> None:
        event = Event(kind, 1.0, code, text)
        self.link.hand_over(decision(SITE, event, alarms=(alarm(**changes),)), 2, WALL)


@contextmanager
def talk(folder: Path) -> Iterator[Talk]:
    with (
        Mosquitto(folder) as broker,
        Reader(broker.port, REPLY) as reader,
        linked(broker.port) as link,
    ):
        link.hand_over(decision(SITE, alarms=(alarm(),)), 1, WALL)
        assert eventually(lambda: link.status.connected)
        yield Talk(link, reader)


@pytest.mark.process
def test_an_order_reaches_the_engine_and_its_answer_comes_back(tmp_path: Path) -> None:
    """Once to the tick, with the person; the engine's words as the reply."""
    with talk(tmp_path) as t:
        t.send("acknowledge 4821 keeper")
        assert t.commands() == (Command(Order.ACKNOWLEDGE, "4821", Origin.BROKER, "keeper"),)
        assert t.link.commands() == ()
        t.answer(EventKind.ORDER_OBEYED, "4821", "acknowledged", state=AlarmState.ACK_ALARM)
        (reply,) = t.replies(1)
        assert reply["accepted"] is True
        assert reply["sentence"] == "Acknowledged."
        assert reply["order"] == "acknowledge 4821 keeper"
        (message,) = t.reader.on(REPLY)
        assert (message.qos, message.retain) == (1, False)


@pytest.mark.process
def test_a_wrong_code_is_the_engines_business(tmp_path: Path) -> None:
    """It goes to the engine, and the refusal comes back; the right code works after it."""
    with talk(tmp_path) as t:
        t.send("acknowledge 1111")
        assert t.commands()[0].code == "1111"
        t.answer(EventKind.ORDER_REFUSED, "1111", "no alarm has this code")
        assert t.replies(1)[0]["accepted"] is False
        t.send("acknowledge 4821")
        assert t.commands()[0].code == "4821"


@pytest.mark.process
def test_a_repeated_order_is_refused(tmp_path: Path) -> None:
    """On its way, or obeyed already: told so, and not passed on."""
    with talk(tmp_path) as t:
        t.send("acknowledge 4821")
        assert t.commands()
        t.send("acknowledge 4821")
        assert "on its way" in t.replies(1)[0]["sentence"]
        t.answer(EventKind.ORDER_OBEYED, "4821", "acknowledged", state=AlarmState.ACK_ALARM)
        t.replies(2)
        t.send("acknowledge 4821")
        assert "already" in t.replies(3)[2]["sentence"]
        assert t.link.commands() == ()
        # the same digits for another alarm, later in the night, are no repetition
        t.answer(EventKind.ORDER_REFUSED, "0000", "", row="leak.floor-pad")
        t.send("acknowledge 4821")
        assert t.commands()


@pytest.mark.process
@pytest.mark.parametrize(
    ("payload", "why"),
    [
        ("reset 4821", "weirkeeper reset"),
        ("open the valve", "two orders"),
        (b"\xff\xfe\x00\x01", "UTF-8"),
        ("acknowledge " + "4" * 400_000, "64 bytes"),
        ("acknowledge 4821 guest", "does not let"),
        ("acknowledge 4821 stranger", "nobody"),
    ],
)
def test_bad_orders_are_answered_and_go_nowhere(
    tmp_path: Path, payload: bytes | str, why: str
) -> None:
    """A sentence back, nothing to the engine."""
    with talk(tmp_path) as t:
        t.send(payload)
        (reply,) = t.replies(1)
        assert reply["accepted"] is False
        assert why in reply["sentence"]
        assert len(reply["order"]) <= 64
        assert t.link.commands() == ()


@pytest.mark.process
def test_a_retained_order_is_refused_at_every_connection(tmp_path: Path) -> None:
    """It was there before the guard came; it never acknowledges anything."""
    with Mosquitto(tmp_path) as broker, Reader(broker.port, REPLY) as reader:
        reader.send(COMMAND, "acknowledge 4821", retain=True)
        for count in (1, 2):
            with linked(broker.port) as link:
                link.hand_over(decision(SITE, alarms=(alarm(),)), 1, WALL)
                assert eventually(lambda count=count: len(reader.on(REPLY)) == count)
                assert link.commands() == ()
        assert "retained" in json.loads(reader.on(REPLY)[0].payload)["sentence"]


@pytest.mark.process
def test_an_order_sent_while_the_guard_is_away_is_not_lost(tmp_path: Path) -> None:
    """A short break of the link must not cost a person's answer; its code says if it still fits."""
    with Mosquitto(tmp_path) as broker, Reader(broker.port, REPLY) as reader:
        with linked(broker.port) as link:
            assert eventually(lambda: link.status.connected)
        reader.send(COMMAND, "acknowledge 4821")
        with linked(broker.port) as link:
            assert eventually(link.commands)


@pytest.mark.process
def test_removing_a_retained_order_is_no_order(tmp_path: Path) -> None:
    """An empty message is how it is removed: no reply, no command."""
    with talk(tmp_path) as t:
        t.send("")
        t.send("nonsense")
        assert len(t.replies(1)) == 1
        assert t.link.commands() == ()


@pytest.mark.process
def test_thousands_of_random_payloads_leave_the_link_as_it_was(tmp_path: Path) -> None:
    """No exception, no command, bounded queues, no memory kept; then a good order works."""
    chance = random.Random(7391)
    words = (b"acknowledge", b"reset", b"4821", b" ", b"keeper", b"\xff", b"\x00", b"{}", b"guest")
    with talk(tmp_path) as t:
        process = psutil.Process()

        def flood(count: int) -> None:
            for _ in range(count):
                payload = b" ".join(chance.choices(words, k=chance.randrange(6)))
                payload += chance.randbytes(chance.randrange(40))
                t.reader.client.publish(COMMAND, payload, qos=0).wait_for_publish(5.0)
            marker = f"stop {chance.random()}"
            t.send(marker)
            # only the newest replies are kept, and the marker is the newest order
            assert eventually(
                lambda: any(json.loads(m.payload)["order"] == marker for m in t.reader.on(REPLY))
            )

        flood(1500)
        before = process.memory_info().rss
        t.reader.messages.clear()
        flood(1500)
        assert process.memory_info().rss - before < 8_000_000
        link = t.link
        assert len(link._under_way) <= MOST_EVENTS_UNDER_WAY + MOST_VALUES_UNDER_WAY
        assert len(link._orders.replies) <= MOST_REPLIES
        assert len(link.commands()) <= MOST_ORDERS
        assert link.status.connected
        t.answer(EventKind.ORDER_REFUSED, "4821", "clear the table")
        time.sleep(0.1)
        t.send("acknowledge 4821 keeper")
        assert t.commands()[-1].code == "4821"


def arrive(
    waiting: Orders, payload: str, now_s: float = 0.0, open_codes: tuple[str, ...] = ()
) -> None:
    waiting.arrive(payload.encode(), retained=False, open_codes=open_codes, now_s=now_s)


def test_ten_orders_wait_and_no_more() -> None:
    """A tick that does not come must not be buried under orders."""
    waiting = Orders(SITE.people)
    for code in range(14):
        arrive(waiting, f"acknowledge {code}")
    assert [reply.sentence for reply in waiting.replies] == [
        "Too many orders are waiting; try again in a moment."
    ] * 4
    assert [command.code for command in waiting.commands()] == [str(n) for n in range(10)]
    # collected is not answered: the engine owes ten answers first
    arrive(waiting, "acknowledge 99")
    assert waiting.commands() == ()


def test_an_order_that_is_never_answered_is_given_up() -> None:
    """Its sender is told, and may send it again."""
    waiting = Orders(SITE.people)
    arrive(waiting, "acknowledge 4821", now_s=0.0)
    assert waiting.commands()
    waiting.forget(orders.ORDER_S)
    assert not waiting.replies
    waiting.forget(orders.ORDER_S + 0.1)
    assert "has not answered" in waiting.replies.pop().sentence
    arrive(waiting, "acknowledge 4821", now_s=20.0)
    assert waiting.commands()


def test_the_engines_answer_to_somebody_else_is_no_reply() -> None:
    """An order at the guard itself does not answer one over the broker."""
    waiting = Orders(SITE.people)
    arrive(waiting, "acknowledge 4821")
    waiting.settle(Event(EventKind.ORDER_OBEYED, 1.0, "7777", "acknowledged"))
    waiting.settle(raised())
    assert not waiting.replies


def test_answers_are_known_by_their_code() -> None:
    """An event that is no answer never counts as one."""
    command = Command(Order.ACKNOWLEDGE, "4821", Origin.BROKER)
    assert messages.answers(Event(EventKind.ORDER_OBEYED, 1.0, "4821", ""), command)
    assert not messages.answers(Event(EventKind.PUMP_CUT, 1.0, "4821", ""), command)
    assert not messages.answers(Event(EventKind.ORDER_OBEYED, 1.0, "4822", ""), command)
