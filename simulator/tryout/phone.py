"""A phone for the try-out: it shows the alerts of one site as a person would get them.

It knows nothing of the guard but what is published for everybody: the topics and the JSON.
"""

from __future__ import annotations

import json
import ssl
import threading
import uuid
from collections import OrderedDict
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

MOST_SEEN = 1000


class Phone:
    """Subscribes to the events of a site; works with any broker that speaks MQTT 3.1.1.

    `on_message` gets the text of each alert once, in a thread of the phone's own. Start it before
    the guard: what is published while a phone is off is not kept for it.
    """

    def __init__(
        self,
        host: str,
        port: int,
        site_id: str,
        on_message: Callable[[str], None],
        *,
        user: str | None = None,
        password: str | None = None,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        self._host, self._port, self._site_id = host, port, site_id
        self._show = on_message
        self._seen: OrderedDict[str, None] = OrderedDict()
        self._listening = threading.Event()
        self.unreadable = 0
        self._client = client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"phone-{uuid.uuid4().hex[:12]}",
            protocol=MQTTProtocolVersion.MQTTv311,
        )
        if user is not None:
            client.username_pw_set(user, password)
        if tls is not None:
            client.tls_set_context(tls)
        client.reconnect_delay_set(1, 5)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message

    def start(self, timeout_s: float = 5.0) -> bool:
        """Connect; True once it listens, False if that took longer than `timeout_s` [s]."""
        self._client.connect_async(self._host, self._port, keepalive=15)
        self._client.loop_start()
        return self._listening.wait(timeout_s)

    def acknowledge(self, code: str, person: str = "") -> None:
        """Send `acknowledge CODE`, as a person would answer an alert."""
        order = f"acknowledge {code} {person}".strip()
        self._client.publish(f"weirkeeper/{self._site_id}/command", order, qos=1)

    def stop(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self, client: Client, _data: object, _flags: object, reason: Any, _properties: object
    ) -> None:
        if not reason.is_failure:
            client.subscribe(f"weirkeeper/{self._site_id}/events", qos=1)

    def _on_subscribe(self, *_arguments: object) -> None:
        self._listening.set()

    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        try:
            event = json.loads(message.payload)
            number, kind, text = (str(event[key]) for key in ("id", "kind", "text"))
        except (ValueError, KeyError, TypeError):
            self.unreadable += 1
            return
        # news of the plumbing do not wake anybody
        if kind != "pump-cut" and not kind.startswith("alarm-"):
            return
        # a broker may deliver a message twice; the id tells
        if number in self._seen:
            return
        self._seen[number] = None
        if len(self._seen) > MOST_SEEN:
            self._seen.popitem(last=False)
        try:
            self._show(text)
        except Exception as error:
            # an exception would end the client's thread, and with it every later alert
            print(f"the phone could not show a message: {error!r}")
