"""One MQTT 3.1.1 session through paho: it connects again for ever, and tells what happened.

Callbacks run in paho's own thread, which dies of any exception in them and must never wait; so
they only put a signal in a queue, and whoever owns the session reads the queue.
"""

from __future__ import annotations

import random
import socket
import ssl
import sys
import threading
from collections.abc import Callable
from functools import wraps
from queue import Empty, SimpleQueue
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from daemon.secrets import Secret
from daemon.session import Acknowledged, Address, Arrived, Broken, Down, Signal, Up

SHORTEST_WAIT_S, LONGEST_WAIT_S = 1, 30
"""Back-off between two attempts: doubled each time, within these [s]."""

MOST_JITTER_S = 5.0
"""Added to it at random, more with every attempt, so that many guards do not call at once [s]."""

MOST_ARRIVED = 500
"""Messages that may wait to be read; a broker that sends more is not obeyed."""

LONGEST_KEPT_BYTES = 256
"""How much of a message is kept; nothing longer is ever obeyed, and its start can be echoed."""


DENIED = frozenset({0x86, 0x87})
"""Reason codes "bad user name or password" and "not authorized" (MQTT 5.0, 3.2.2.2)."""

SILENT = 0x8D
"""Reason code "keep alive timeout" (MQTT 5.0, 3.14.2.1)."""


def _stores(callback: Callable[..., None]) -> Callable[..., None]:
    """A callback whose failure becomes a signal instead of the end of paho's thread."""

    @wraps(callback)
    def guarded(wire: Wire, *arguments: Any) -> None:
        try:
            callback(wire, *arguments)
        except Exception as error:
            wire.tell(Broken(f"{callback.__name__} failed: {error!r}"))

    return guarded


class Wire:
    """The session. `publish` and `open` never wait for the network; `close` may."""

    def __init__(
        self,
        address: Address,
        client_id: str,
        secret: Secret | None,
        *,
        will: tuple[str, str],
        subscriptions: tuple[str, ...],
        wake: Callable[[], None],
    ) -> None:
        self._address = address
        self._client_id = client_id
        self._subscriptions = subscriptions
        self._wake = wake
        self._closing = threading.Event()
        self._attempts = 0
        self._explained = False
        self._signals: SimpleQueue[Signal] = SimpleQueue()
        self.arrivals_dropped = 0
        self._thread: threading.Thread | None = None
        self._client = client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=False,
            protocol=MQTTProtocolVersion.MQTTv311,
        )
        client.will_set(will[0], will[1], qos=1, retain=True)
        if secret is not None:
            client.username_pw_set(secret.user, secret.password)
        client.reconnect_delay_set(SHORTEST_WAIT_S, LONGEST_WAIT_S)
        # the owner keeps few messages under way; none of them may wait inside paho for others
        client.max_inflight_messages_set(0)
        client.on_pre_connect = self._on_pre_connect
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message

    def prepare(self) -> None:
        """Read the certificates and check the name; raises OSError or ValueError if unusable."""
        address = self._address
        address.host.encode("idna")
        if address.tls:
            context = ssl.create_default_context(cafile=address.ca_file)
            if address.cert_file:
                # a key with a passphrase would ask for it at the terminal: refuse it instead
                context.load_cert_chain(address.cert_file, address.key_file, password="")
            self._client.tls_set_context(context)

    def open(self) -> bool:
        """Begin to connect, or begin again if paho's thread died; True if there was need to."""
        if self._thread is not None and self._thread.is_alive():
            return False
        address = self._address
        self._client.connect_async(address.host, address.port, keepalive=address.keep_alive_s)
        # paho does not show its thread, so it is told by being new, and named after the client
        before = set(threading.enumerate())
        self._client.loop_start()
        started = [each for each in threading.enumerate() if each not in before]
        name = f"paho-mqtt-client-{self._client_id}"
        self._thread = next((each for each in started if each.name == name), None)
        return True

    def close(self) -> None:
        """End the session in order, then paho's thread; may take as long as a connect takes."""
        self._closing.set()
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes | str, *, retain: bool) -> int | None:
        """Hand one message (QoS 1) to paho, which sends it again until it is acknowledged.

        Returns its number, or None when paho did not take it. Any other outcome, "no connection"
        among them, means that it is taken: to hand it over again would send it twice.
        """
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        return None if info.rc == MQTTErrorCode.MQTT_ERR_QUEUE_SIZE else info.mid

    def tell(self, signal: Signal) -> None:
        """Queue one signal for the owner."""
        self._signals.put(signal)
        self._wake()

    def signals(self) -> list[Signal]:
        """What happened since the last call, oldest first."""
        found: list[Signal] = []
        while True:
            try:
                found.append(self._signals.get_nowait())
            except Empty:
                return found

    @_stores
    def _on_pre_connect(self, _client: Client, _data: object) -> None:
        self._explained = False
        if self._attempts:
            self._closing.wait(random.uniform(0.0, min(MOST_JITTER_S, self._attempts * 0.5)))
        self._attempts += 1

    @_stores
    def _on_connect(
        self, client: Client, _data: object, _flags: object, reason: Any, _properties: object
    ) -> None:
        if reason.is_failure:
            hint = " Check the user name and password." if reason.value in DENIED else ""
            self._explain(f"The broker at {self._address} refused this guard: {reason}.{hint}")
            return
        # only the answer to this counts as connected: paho sends old messages again in between
        client.subscribe([(topic, 1) for topic in self._subscriptions])

    @_stores
    def _on_subscribe(
        self, _client: Client, _data: object, _mid: int, reasons: list[Any], _properties: object
    ) -> None:
        self._attempts = 0
        self.tell(Up(sum(reason.is_failure for reason in reasons)))

    @_stores
    def _on_connect_fail(self, _client: Client, _data: object) -> None:
        # paho calls this from the handler of the exception, and does not pass it on
        self._explain(why_not(sys.exception(), self._address))

    @_stores
    def _on_disconnect(
        self, _client: Client, _data: object, _flags: object, reason: Any, _properties: object
    ) -> None:
        if self._attempts:
            self._explain(f"The broker at {self._address} hung up before it let this guard in.")
        else:
            how = "fell silent" if reason.value == SILENT else "closed the connection"
            self._explain(f"The broker at {self._address} {how}.")

    @_stores
    def _on_publish(
        self, _client: Client, _data: object, mid: int, _reason: object, _properties: object
    ) -> None:
        self.tell(Acknowledged(mid))

    @_stores
    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        if self._signals.qsize() >= MOST_ARRIVED:
            self.arrivals_dropped += 1
            return
        payload = bytes(message.payload[:LONGEST_KEPT_BYTES])
        self.tell(Arrived(message.topic, payload, message.retain))

    def _explain(self, sentence: str) -> None:
        """One sentence an attempt: paho may report the same end twice, first in better words."""
        if not self._explained:
            self._explained = True
            self.tell(Down(sentence))


def why_not(error: BaseException | None, address: Address) -> str:
    """Why a connection did not come about, as a sentence."""
    match error:
        case ssl.SSLCertVerificationError():
            return (
                f"The certificate of the broker at {address} was refused: {error.verify_message}."
            )
        case ssl.SSLError():
            return (
                f"The broker at {address} and this guard agree on no TLS: {error.reason or error}."
            )
        case ConnectionRefusedError():
            return f"Nobody listens at {address}."
        case socket.gaierror():
            return f"The name {address.host} leads to no address: {error.strerror}."
        case TimeoutError():
            return f"The broker at {address} does not answer."
        case OSError():
            return f"The broker at {address} cannot be reached: {error.strerror or error}."
    return f"The broker at {address} cannot be reached."
