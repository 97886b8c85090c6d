"""A phone that listens to one site: what it shows, when, and what it answers."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from rules.site.model import Site
from simulator.virtual.broker import Broker, Connection
from simulator.virtual.trace import Trace

AGAIN_S = 2.0
"""How soon a phone that lost the broker calls again [s]."""


@dataclass(frozen=True, slots=True)
class Shown:
    """One event as the phone shows it, and when [s]: a message of a known id is not shown again."""

    t_s: float
    event: dict[str, Any]

    @property
    def id(self) -> str:
        """The message's id."""
        return str(self.event["id"])

    @property
    def hazard(self) -> str:
        """The hazard of its alarm, as far as the row tells; empty if it is about no alarm."""
        alarm = self.event["alarm"]
        return "" if alarm is None else str(alarm["row"]).split(".", maxsplit=1)[0]


class Phone:
    """A client with a session of its own, which the broker keeps while it is away."""

    client_id = "phone"
    keep_alive_s = 0.0  # none: it need not be watched (MQTT 3.1.1, 3.1.2.10)
    will: tuple[str, bytes] | None = None

    def __init__(self, broker: Broker, site: Site, trace: Trace) -> None:
        base = f"weirkeeper/{site.site.id}"
        self.subscriptions: tuple[str, ...] = (f"{base}/events", f"{base}/reply")
        self.shown: list[Shown] = []
        self.replies: list[dict[str, Any]] = []
        self.doubles = 0
        self.told: list[Callable[[Shown], None]] = []
        self._command_topic = f"{base}/command"
        self._broker = broker
        self._loop = broker.loop
        self.context = broker.loop.world
        self._trace = trace
        self._known: set[str] = set()
        self._connection: Connection | None = None
        self._number = 0
        self._away_until_s = 0.0
        self._call()

    def send(self, order: str) -> None:
        """Send an order, if there is a broker to take it."""
        connection = self._connection
        if connection is None:
            return
        self._number += 1
        self._trace.add("phone", f"sends {order}")
        number, topic, payload = self._number, self._command_topic, order.encode()
        connection.to_broker(
            lambda: self._broker.publish(connection, number, topic, payload, False)
        )

    def leave(self, lasts_s: float) -> None:
        """Be out of reach for so long."""
        self._away_until_s = self._loop.time() + lasts_s
        connection, self._connection = self._connection, None
        if connection is not None:
            self._trace.add("phone", f"away for {lasts_s:.1f} s")
            connection.cut = True
            connection.to_broker(lambda: self._broker.lose(connection, in_order=False))
            self._later()

    def _call(self) -> None:
        if self._loop.time() < self._away_until_s:
            self._later()
            return
        if self._connection is not None:
            return
        self._connection = self._broker.connect(self)
        if self._connection is None:
            self._later()

    def _later(self) -> None:
        self._loop.call_later(AGAIN_S, self._call, context=self._loop.world)

    def accepted(self) -> None:
        """See `Client`."""

    def refused(self, sentence: str) -> None:
        """See `Client`."""
        del sentence  # a phone just tries again
        self._connection = None
        self._later()

    def closed(self) -> None:
        """See `Client`."""
        self._connection = None
        self._later()

    def acknowledged(self, number: int) -> None:
        """See `Client`."""

    def answered(self) -> None:
        """See `Client`."""

    def arrived(self, topic: str, payload: bytes, retained: bool) -> None:
        """See `Client`."""
        del retained
        message = json.loads(payload)
        if topic.endswith("/reply"):
            self._trace.add("phone", f"reply {message['sentence']}")
            self.replies.append(message)
        elif message["id"] in self._known:
            self.doubles += 1
            self._trace.add("phone", f"again {message['id']}")
        else:
            self._known.add(message["id"])
            shown = Shown(self._loop.time(), message)
            self.shown.append(shown)
            self._trace.add("phone", f"shows {message['id']} {message['text']}")
            for tell in self.told:
                tell(shown)
