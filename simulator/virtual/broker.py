"""A broker of MQTT 3.1.1 as far as the guard and a phone use it, which can fail in every way.

Messages are of QoS 1, sessions outlive their connections, and what is retained is kept. Times and
duplicates are those of the protocol: what a broker took and could not acknowledge is sent again.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from contextvars import Context
from dataclasses import dataclass, field
from typing import Protocol

from simulator.virtual.loop import VirtualLoop
from simulator.virtual.trace import Trace

ONE_WAY_S = (0.0005, 0.004)
"""How long a packet takes within a house [s]; own estimate."""

GRACE = 1.5
"""A client that has not been heard for so many keep alives is gone (MQTT 3.1.1, 3.1.2.10)."""


class Client(Protocol):
    """The far end of a connection; all of these are called by the broker's packets."""

    client_id: str
    keep_alive_s: float
    subscriptions: tuple[str, ...]
    will: tuple[str, bytes] | None
    context: Context
    """In which it takes what reaches it: a process that stands still takes nothing."""

    def accepted(self) -> None:
        """The connection stands, and the subscriptions are made."""

    def refused(self, sentence: str) -> None:
        """It does not, and why."""

    def closed(self) -> None:
        """The broker ended it."""

    def acknowledged(self, number: int) -> None:
        """The broker took over the message of this number."""

    def arrived(self, topic: str, payload: bytes, retained: bool) -> None:
        """A message for this client."""

    def answered(self) -> None:
        """The broker answers a ping."""


class Connection:
    """One connection; packets keep their order. Either end can be gone without the other's word."""

    def __init__(self, broker: Broker, client: Client) -> None:
        self.client = client
        self.open = True  # to the broker: False once it knows of the end
        self.cut = False  # to the client: nothing reaches it any more
        self.heard_s = broker.loop.time()
        self._broker = broker
        self._up_s = self._down_s = 0.0

    def to_broker(self, act: Callable[[], None]) -> None:
        """A packet of the client's."""
        loop = self._broker.loop
        self._up_s = max(self._up_s, loop.time() + self._broker.one_way_s())
        loop.call_at(self._up_s, self._broker.receive, self, act, context=loop.world)

    def to_client(self, act: Callable[[], None]) -> None:
        """A packet of the broker's."""
        loop = self._broker.loop
        self._down_s = max(self._down_s, loop.time() + self._broker.one_way_s())
        loop.call_at(self._down_s, self._deliver, act, context=self.client.context)

    def _deliver(self, act: Callable[[], None]) -> None:
        if not self.cut:
            act()


@dataclass(slots=True)
class _Kept:
    """What the broker keeps of a client: messages that it has not acknowledged, in order."""

    subscriptions: tuple[str, ...]
    connection: Connection | None = None
    waiting: dict[int, tuple[str, bytes, bool]] = field(default_factory=dict)
    next: int = 1


class Broker:
    """The broker. `stop`, `start`, `hang`, `go_on`, `refuses` and `forget` are its faults.

    `forgotten` are messages that it had taken over and then lost with its disk, or that came when
    it no longer knew of anybody to keep them for.
    """

    def __init__(self, loop: VirtualLoop, chance: random.Random, trace: Trace) -> None:
        self.loop = loop
        self._chance = chance
        self._trace = trace
        self.up = True
        self.hangs = False
        self.refuses = False
        self.forgotten: list[bytes] = []
        self.retained: dict[str, bytes] = {}
        self._clients: dict[str, _Kept] = {}
        self._stalled: list[tuple[Connection, Callable[[], None]]] = []

    def one_way_s(self) -> float:
        """How long the next packet takes [s]."""
        return self._chance.uniform(*ONE_WAY_S)

    # --- its faults -----------------------------------------------------------------------------

    def stop(self) -> None:
        """It dies: every connection ends; sessions and retained messages are on its disk."""
        self._trace.add("broker", "down")
        self.up, self._stalled = False, []
        for kept in self._clients.values():
            if kept.connection is not None:
                connection, kept.connection = kept.connection, None
                connection.open = False
                connection.to_client(connection.client.closed)

    def start(self) -> None:
        """It listens again."""
        self._trace.add("broker", "up")
        self.up = True

    def hang(self) -> None:
        """It does nothing any more; connections stand, and take in what is sent."""
        self._trace.add("broker", "hangs")
        self.hangs = True

    def go_on(self) -> None:
        """It goes on with all that was sent meanwhile, in order."""
        self._trace.add("broker", "goes on")
        self.hangs = False
        stalled, self._stalled = self._stalled, []
        for connection, act in stalled:
            self.receive(connection, act)
        for kept in list(self._clients.values()):
            if kept.connection is not None:
                kept.connection.heard_s = self.loop.time()

    def forget(self) -> None:
        """It starts anew with an empty disk."""
        for kept in self._clients.values():
            self.forgotten += [payload for _, payload, _ in kept.waiting.values()]
        was_up = self.up
        self.stop()
        self._clients, self.retained = {}, {}
        if was_up:
            self.start()

    # --- what it does ---------------------------------------------------------------------------

    def connect(self, client: Client) -> Connection | None:
        """A client calls; None when nothing will ever come back."""
        connection = Connection(self, client)
        if not self.up:
            connection.to_client(lambda: client.refused("Nobody listens there."))
        elif self.hangs:
            return None
        else:
            connection.to_broker(lambda: self._accept(connection))
        return connection

    def receive(self, connection: Connection, act: Callable[[], None]) -> None:
        """Take a packet of a client's."""
        if not self.up:
            return
        if self.hangs:
            self._stalled.append((connection, act))
        elif connection.open:
            connection.heard_s = self.loop.time()
            act()

    def publish(
        self, connection: Connection, number: int, topic: str, payload: bytes, retain: bool
    ) -> None:
        """Take over a message, hand it on, and acknowledge it."""
        self._route(connection.client.client_id, topic, payload, retain)
        connection.to_client(lambda: connection.client.acknowledged(number))

    def acknowledge(self, client_id: str, number: int) -> None:
        """A client has got a message."""
        kept = self._clients.get(client_id)
        if kept is not None:
            kept.waiting.pop(number, None)

    def lose(self, connection: Connection, *, in_order: bool) -> None:
        """A connection ends; out of order, the last will speaks."""
        if not connection.open:
            return
        connection.open = False
        kept = self._clients.get(connection.client.client_id)
        if kept is not None and kept.connection is connection:
            kept.connection = None
        will = connection.client.will
        if not in_order and will is not None:
            self._route(connection.client.client_id, *will, True)

    def _accept(self, connection: Connection) -> None:
        client = connection.client
        if self.refuses:
            connection.open = False
            connection.to_client(lambda: client.refused("It refuses this client."))
            return
        kept = self._clients.get(client.client_id)
        if kept is None:
            kept = self._clients[client.client_id] = _Kept(client.subscriptions)
        if (old := kept.connection) is not None:
            old.to_client(old.client.closed)
            self.lose(old, in_order=False)  # taken over (MQTT 3.1.1, 3.1.4)
        kept.connection = connection
        self._trace.add("broker", f"{client.client_id} connects")
        connection.to_client(client.accepted)
        again = list(kept.waiting.items())
        for topic, payload in list(self.retained.items()):
            if any(matches(each, topic) for each in kept.subscriptions):
                self._hand(kept, topic, payload, retained=True)
        for number, (topic, payload, retained) in again:
            self._deliver(kept, number, topic, payload, retained=retained)
        self._watch(connection)

    def _route(self, sender: str, topic: str, payload: bytes, retain: bool) -> None:
        kind = "retained" if retain else "message"
        self._trace.add("broker", f"{kind} of {sender} {topic} {payload!r}")
        if retain:
            if payload:
                self.retained[topic] = payload
            else:
                self.retained.pop(topic, None)
        takers = [
            kept
            for kept in self._clients.values()
            if any(matches(each, topic) for each in kept.subscriptions)
        ]
        for kept in takers:
            self._hand(kept, topic, payload, retained=False)
        if not takers and not retain:
            self.forgotten.append(payload)

    def _hand(self, kept: _Kept, topic: str, payload: bytes, *, retained: bool) -> None:
        number, kept.next = kept.next, kept.next + 1
        kept.waiting[number] = (topic, payload, retained)
        self._deliver(kept, number, topic, payload, retained=retained)

    def _deliver(
        self, kept: _Kept, number: int, topic: str, payload: bytes, *, retained: bool
    ) -> None:
        connection = kept.connection
        if connection is None:
            return
        client = connection.client

        def reach() -> None:
            client.arrived(topic, payload, retained)
            connection.to_broker(lambda: self.acknowledge(client.client_id, number))

        connection.to_client(reach)

    def _watch(self, connection: Connection) -> None:
        """Look, as long as the connection stands, whether its client is still heard."""
        silent_s = GRACE * connection.client.keep_alive_s
        due_s = connection.heard_s + silent_s
        if not connection.open or silent_s == 0.0:
            return
        if self.hangs:
            self.loop.call_later(silent_s, self._watch, connection, context=self.loop.world)
        elif self.loop.time() >= due_s:
            self._trace.add("broker", f"{connection.client.client_id} fell silent")
            self.lose(connection, in_order=False)
        else:
            self.loop.call_at(due_s, self._watch, connection, context=self.loop.world)


def matches(pattern: str, topic: str) -> bool:
    """Whether a topic filter takes in a topic (MQTT 3.1.1, 4.7)."""
    wanted, given = pattern.split("/"), topic.split("/")
    for at, level in enumerate(wanted):
        if level == "#":
            return True
        if at >= len(given) or level not in ("+", given[at]):
            return False
    return len(wanted) == len(given)
