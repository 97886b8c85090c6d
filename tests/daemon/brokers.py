"""Helpers: real Mosquitto processes on free loopback ports, and a client that writes down all."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

MOSQUITTO = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")


def free_port() -> int:
    """A loopback port that nobody uses now."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port


def eventually(condition: Callable[[], object], timeout_s: float = 10.0) -> bool:
    """Wait until `condition` holds; False if it does not within `timeout_s`."""
    deadline = time.monotonic() + timeout_s
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.01)
    return bool(condition())


class Mosquitto:
    """One broker process with a configuration of its own in `folder`."""

    def __init__(self, folder: Path, *lines: str, port: int | None = None) -> None:
        assert MOSQUITTO, "these tests need Mosquitto (Debian: apt install mosquitto)"
        self.port = port or free_port()
        self.folder = folder
        self.config = folder / "mosquitto.conf"
        settings = [f"listener {self.port} 127.0.0.1", "user root", *lines]
        if not any(line.startswith(("allow_anonymous", "password_file")) for line in lines):
            settings.append("allow_anonymous true")
        self.config.write_text("\n".join(settings) + "\n")
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> Mosquitto:
        """Start it, and return once it accepts connections."""
        log = (self.folder / "mosquitto.log").open("ab")
        self.process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self.config)], stdout=log, stderr=log, cwd=self.folder
        )
        log.close()

        def accepts() -> bool:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return True
            return False

        assert eventually(accepts, 5.0), (self.folder / "mosquitto.log").read_text()
        return self

    def send(self, number: int) -> None:
        """Send it a signal."""
        assert self.process is not None
        self.process.send_signal(number)

    def end(self, number: int = signal.SIGTERM) -> None:
        """End it with a signal and wait until it is gone."""
        if self.process is None:
            return
        self.process.send_signal(signal.SIGCONT)
        self.process.send_signal(number)
        self.process.wait(5.0)
        self.process = None

    def received(self, client_id: str, topic: str) -> int:
        """How often that client published there; needs "log_type all" in the configuration."""
        log = (self.folder / "mosquitto.log").read_text()
        return sum(
            f"Received PUBLISH from {client_id} (" in line and f"'{topic}'" in line
            for line in log.splitlines()
        )

    def __enter__(self) -> Mosquitto:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.end(signal.SIGKILL)


@dataclass(frozen=True)
class Message:
    """One message as it arrived."""

    topic: str
    payload: bytes
    retain: bool
    qos: int

    @property
    def text(self) -> str:
        return self.payload.decode()


class Reader:
    """A client that subscribes, connects again within a tenth of a second, and keeps all."""

    def __init__(
        self,
        port: int,
        *topics: str,
        user: str | None = None,
        password: str | None = None,
        client_id: str | None = None,
    ) -> None:
        self.messages: list[Message] = []
        self._listening = threading.Event()
        self.client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id or f"reader-{uuid.uuid4().hex[:10]}",
            clean_session=client_id is None,
            protocol=MQTTProtocolVersion.MQTTv311,
        )
        if user is not None:
            self.client.username_pw_set(user, password)
        self.client.reconnect_delay_set(0.1, 0.1)
        self.client.on_connect = lambda client, *_: client.subscribe([(t, 1) for t in topics])
        self.client.on_subscribe = lambda *_: self._listening.set()
        self.client.on_message = lambda _client, _data, m: self.messages.append(
            Message(m.topic, bytes(m.payload), m.retain, m.qos)
        )
        self.client.connect_async("127.0.0.1", port, keepalive=10)

    def __enter__(self) -> Reader:
        self.client.loop_start()
        assert self._listening.wait(5.0), "the reader could not subscribe"
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def send(self, topic: str, payload: bytes | str, *, retain: bool = False) -> None:
        """Publish at QoS 1 and wait for the broker's acknowledgement."""
        self.client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(5.0)

    def on(self, topic: str) -> list[Message]:
        """The messages of one topic so far, oldest first."""
        return [message for message in list(self.messages) if message.topic == topic]

    def texts(self, topic: str) -> list[str]:
        """Their payloads as text."""
        return [message.text for message in self.on(topic)]


def retained(port: int, topics: str, **credentials: str) -> dict[str, str]:
    """What a broker retains under a filter now, by topic."""
    with Reader(port, topics, **credentials) as reader:
        marker = f"marker/{uuid.uuid4().hex}"
        reader.client.subscribe(marker, 1)
        # the broker sends what it retains before it takes the next message of this client
        reader.send(marker, "x")
        assert eventually(lambda: reader.on(marker))
        return {m.topic: m.text for m in reader.messages if m.retain}
