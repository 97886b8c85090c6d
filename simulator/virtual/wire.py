"""A session with the simulated broker, in the place of the one that speaks to a real broker.

It keeps the habits of the real one: back-off with jitter, a ping when nothing was sent or heard
for a keep alive, the end when the ping stays unanswered for another, and everything that was not
acknowledged sent again after a new connection.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from math import inf

from daemon.session import Acknowledged, Address, Arrived, Down, Signal, Up
from daemon.wire import LONGEST_KEPT_BYTES, LONGEST_WAIT_S, MOST_JITTER_S, SHORTEST_WAIT_S
from simulator.virtual.broker import Broker, Connection
from simulator.virtual.loop import Strand

UNANSWERED_S = 5.0
"""How long an attempt to connect waits for an answer [s], as the real one does."""


class VirtualWire:
    """See `daemon.session.Session`."""

    def __init__(
        self,
        strand: Strand,
        broker: Broker,
        chance: random.Random,
        address: Address,
        client_id: str,
        *,
        will: tuple[str, str],
        subscriptions: tuple[str, ...],
        wake: Callable[[], None],
    ) -> None:
        self.client_id = client_id
        self.subscriptions = subscriptions
        self.will: tuple[str, bytes] | None = (will[0], will[1].encode())
        self.keep_alive_s = float(address.keep_alive_s)
        self._broker = broker
        self._loop = broker.loop
        self.context = strand.context
        self._chance = chance
        self._address = address
        self._wake = wake
        self._signals: list[Signal] = []
        self._under_way: dict[int, tuple[str, bytes, bool]] = {}
        self._next = 1
        self._attempts = 0
        self._opened = self._up = self._closing = False
        self._connection: Connection | None = None
        self._sent_s = self._heard_s = 0.0
        self._pinged_s = inf

    # --- for the link -----------------------------------------------------------------------------

    def prepare(self) -> None:
        """See `Session`."""

    def open(self) -> bool:
        """See `Session`."""
        if self._opened:
            return False
        self._opened = True
        self._in(0.0, self._attempt)
        self._in(1.0, self._look)
        return True

    def publish(self, topic: str, payload: bytes | str, *, retain: bool) -> int | None:
        """See `Session`."""
        number, self._next = self._next, self._next + 1
        message = (topic, payload.encode() if isinstance(payload, str) else payload, retain)
        self._under_way[number] = message
        if self._up:
            self._send(number, *message)
        return number

    def signals(self) -> list[Signal]:
        """See `Session`."""
        found, self._signals = self._signals, []
        return found

    def close(self) -> None:
        """See `Session`."""
        self._closing, self.will = True, None
        self.sever()

    def sever(self) -> None:
        """The system closes the connection, as it does when the process ends in whatever way."""
        connection, self._connection, self._up = self._connection, None, False
        if connection is not None:
            connection.cut, in_order = True, self.will is None
            connection.to_broker(lambda: self._broker.lose(connection, in_order=in_order))

    def vanish(self) -> None:
        """The machine loses power: nobody closes anything."""
        if self._connection is not None:
            self._connection.cut = True
        self._connection, self._up = None, False

    # --- for the broker ---------------------------------------------------------------------------

    def accepted(self) -> None:
        """See `Client`."""
        self._hear()
        self._attempts, self._up = 0, True
        for number, message in self._under_way.items():
            self._send(number, *message)
        self._tell(Up(0))

    def refused(self, sentence: str) -> None:
        """See `Client`."""
        self._failed(f"The broker at {self._address}: {sentence}")

    def closed(self) -> None:
        """See `Client`."""
        self._failed(f"The broker at {self._address} closed the connection.")

    def acknowledged(self, number: int) -> None:
        """See `Client`."""
        self._hear()
        if self._under_way.pop(number, None) is not None:
            self._tell(Acknowledged(number))

    def arrived(self, topic: str, payload: bytes, retained: bool) -> None:
        """See `Client`."""
        self._hear()
        self._tell(Arrived(topic, payload[:LONGEST_KEPT_BYTES], retained))

    def answered(self) -> None:
        """See `Client`."""
        self._hear()

    # --- its own thread ---------------------------------------------------------------------------

    def _in(self, delay_s: float, act: Callable[[], None]) -> None:
        self._loop.call_later(delay_s, act, context=self.context)

    def _attempt(self) -> None:
        if self._closing:
            return
        self._attempts += 1
        connection = self._connection = self._broker.connect(self)
        number = self._attempts
        if connection is None:
            self._in(UNANSWERED_S, lambda: self._unanswered(number))
        else:
            self._hear()
            self._sent_s = self._loop.time()

    def _unanswered(self, number: int) -> None:
        if not self._up and self._attempts == number:
            self._failed(f"The broker at {self._address} does not answer.")

    def _failed(self, sentence: str) -> None:
        if self._closing:
            return
        self._up, self._connection = False, None
        self._tell(Down(sentence))
        wait_s = min(LONGEST_WAIT_S, SHORTEST_WAIT_S * 2.0 ** min(self._attempts, 10))
        jitter_s = self._chance.uniform(0.0, min(MOST_JITTER_S, self._attempts * 0.5))
        self._in(wait_s + jitter_s, self._attempt)

    def _send(self, number: int, topic: str, payload: bytes, retain: bool) -> None:
        connection = self._connection
        if connection is None:
            return
        self._sent_s = self._loop.time()
        connection.to_broker(
            lambda: self._broker.publish(connection, number, topic, payload, retain)
        )

    def _look(self) -> None:
        """Once a second: whether the other end still lives."""
        if self._closing:
            return
        self._in(1.0, self._look)
        connection, now_s = self._connection, self._loop.time()
        if connection is None or now_s - min(self._sent_s, self._heard_s) < self.keep_alive_s:
            return
        if self._pinged_s == inf:
            self._pinged_s = self._sent_s = self._heard_s = now_s
            connection.to_broker(lambda: connection.to_client(self.answered))
        elif now_s - self._pinged_s >= self.keep_alive_s:
            self._broken_off(connection)

    def _broken_off(self, connection: Connection) -> None:
        connection.cut = True
        connection.to_broker(lambda: self._broker.lose(connection, in_order=False))
        self._failed(f"The broker at {self._address} fell silent.")

    def _hear(self) -> None:
        self._heard_s = self._loop.time()
        self._pinged_s = inf

    def _tell(self, signal: Signal) -> None:
        self._signals.append(signal)
        self._wake()
