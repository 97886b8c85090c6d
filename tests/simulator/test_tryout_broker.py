"""The broker of the try-out: it delivers, keeps what is retained, stops, and says when it is not
there."""

from __future__ import annotations

import queue
import socket
import sys

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from simulator.tryout.broker import NoBrokerError, TryOutBroker


def _client(port: int) -> tuple[Client, queue.Queue[MQTTMessage]]:
    got: queue.Queue[MQTTMessage] = queue.Queue()
    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: got.put(message)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client, got


def test_alert_arrives_and_a_retained_state_waits() -> None:
    with TryOutBroker() as broker:
        sender, _ = _client(broker.port)
        sender.publish("site/state", b"ready", qos=1, retain=True).wait_for_publish(5.0)
        reader, got = _client(broker.port)
        reader.subscribe("site/#", qos=1)
        assert got.get(timeout=5.0).payload == b"ready"
        sender.publish("site/alert", b"cut", qos=1).wait_for_publish(5.0)
        assert got.get(timeout=5.0).payload == b"cut"
        for client in (sender, reader):
            client.disconnect()
            client.loop_stop()


def test_stop_frees_the_port_and_it_starts_again() -> None:
    broker = TryOutBroker()
    port = broker.start()
    broker.stop()
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0
    broker.stop()
    assert broker.start() > 0
    broker.stop()


def test_it_listens_on_this_machine_alone() -> None:
    """A broker on every address would answer at 127.0.0.2 too."""
    with TryOutBroker() as broker, socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.2", broker.port)) != 0


def test_it_is_not_started_twice() -> None:
    with TryOutBroker() as broker, pytest.raises(NoBrokerError, match="running already"):
        broker.start()


def test_a_missing_package_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "amqtt.broker", None)
    with pytest.raises(NoBrokerError, match='"try" extra'):
        TryOutBroker().start()
