"""The phone of the try-out, at Mosquitto and at the embedded broker; the link at the far end."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from amqtt.broker import Broker

from rules.signals import AlarmState, Event, EventKind
from simulator.tryout.phone import Phone
from tests.daemon.brokers import Mosquitto, Reader, eventually, free_port
from tests.daemon.decisions import WALL, alarm, classroom, decision, raised
from tests.daemon.links import linked

pytestmark = pytest.mark.process

SITE = classroom()
EVENTS = "weirkeeper/classroom/events"


@contextmanager
def mosquitto(folder: Path) -> Iterator[int]:
    with Mosquitto(folder) as broker:
        yield broker.port


@contextmanager
def embedded(_folder: Path) -> Iterator[int]:
    """amqtt in a thread with a loop of its own, open to all on loopback."""
    port = free_port()
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    config = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }

    def run(work: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(work, loop).result(10.0)

    async def make() -> Broker:
        broker = Broker(config)
        await broker.start()
        return broker

    broker = run(make())
    try:
        yield port
    finally:
        run(broker.shutdown())
        loop.call_soon_threadsafe(loop.stop)
        thread.join(5.0)
        loop.close()


@pytest.mark.parametrize("broker", [mosquitto, embedded])
def test_an_alert_reaches_the_phone_and_its_answer_the_guard(
    tmp_path: Path, broker: Callable[[Path], Any]
) -> None:
    """The whole way there and back: event, text, order, reply."""
    shown: list[str] = []
    with broker(tmp_path) as port:
        phone = Phone("127.0.0.1", port, "classroom", shown.append)
        assert phone.start()
        with linked(port) as link:
            opened = Event(EventKind.TOP_OFF_OPENED, 1.0, "top-off-valve", "Top-off opened")
            link.hand_over(decision(SITE, opened, raised(), alarms=(alarm(),)), 1, WALL)
            assert eventually(lambda: shown), link.status
            assert shown[0].startswith("Water stands at the spill edge of the display")
            assert shown[0].endswith("acknowledge 4821")
            phone.acknowledge("4821", "keeper")
            commands: list[Any] = []
            assert eventually(lambda: commands.extend(link.commands()) or commands)
            assert (commands[0].code, commands[0].person) == ("4821", "keeper")
            done = alarm(state=AlarmState.ACK_ALARM)
            event = Event(EventKind.ALARM_ACKNOWLEDGED, 2.0, "display-high", "Acknowledged", done)
            link.hand_over(decision(SITE, event, alarms=(done,)), 2, WALL)
            assert eventually(lambda: len(shown) == 2)
        phone.stop()
    assert shown[1] == "Acknowledged."


def test_a_phone_shows_each_alert_once_and_survives_rubbish(tmp_path: Path) -> None:
    """Doubles by id, payloads that are no events, and a screen that fails."""
    shown: list[str] = []

    def show(text: str) -> None:
        shown.append(text)
        if text == "first":
            raise RuntimeError("no screen")

    def event(number: str, text: str, kind: str = "alarm-raised") -> str:
        return json.dumps({"id": number, "kind": kind, "text": text})

    with Mosquitto(tmp_path) as broker, Reader(broker.port, EVENTS) as sender:
        phone = Phone("127.0.0.1", broker.port, "classroom", show)
        assert phone.start()
        for payload in (
            "rubbish", b"\xff\xfe", "[]", "{}", "7", '{"id": 1, "kind": 2}',
            '{"id": 1, "kind": 2, "text": 3}',
            event("a-1", "first"),
            event("a-1", "first"),
            event("a-2", "valve", kind="top-off-opened"),
            event("a-3", "cut", kind="pump-cut"),
            event("a-4", "last"),
        ):  # fmt: skip
            sender.send(EVENTS, payload)
        assert eventually(lambda: shown[-1:] == ["last"])
        phone.stop()
    assert shown == ["first", "cut", "last"]
    assert phone.unreadable == 6


def test_a_phone_without_a_broker_says_so() -> None:
    """`start` comes back and tells; nothing hangs."""
    phone = Phone("127.0.0.1", free_port(), "classroom", print)
    assert phone.start(timeout_s=0.3) is False
    phone.stop()
