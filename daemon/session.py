"""What the broker link asks of a session with a broker, and what the session tells it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from daemon.secrets import Secret


@dataclass(frozen=True, slots=True)
class Address:
    """Where the broker is and how to speak to it."""

    host: str
    port: int
    tls: bool
    ca_file: str | None
    cert_file: str | None
    key_file: str | None
    keep_alive_s: int

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class Up:
    """The session stands and its subscriptions are made; `refused` counts those denied."""

    refused: int


@dataclass(frozen=True, slots=True)
class Down:
    """The session ended, or an attempt failed; the sentence says why."""

    sentence: str


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """The broker took over the message that `publish` gave this number."""

    number: int


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message came; a payload too long to be obeyed is cut."""

    topic: str
    payload: bytes
    retained: bool


@dataclass(frozen=True, slots=True)
class Broken:
    """A callback failed, which is a mistake in this program."""

    sentence: str


Signal = Up | Down | Acknowledged | Arrived | Broken


class Session(Protocol):
    """A session that connects again for ever. Only `close` may wait for the network."""

    def prepare(self) -> None:
        """Read certificates and check names; raises OSError or ValueError if unusable."""

    def open(self) -> bool:
        """Begin to connect, or begin again if that ended; True if there was need to."""

    def publish(self, topic: str, payload: bytes | str, *, retain: bool) -> int | None:
        """Hand over one message at QoS 1, sent again until it is acknowledged.

        Returns its number, or None when it was not taken and must be offered again.
        """

    def signals(self) -> list[Signal]:
        """What happened since the last call, oldest first."""

    def close(self) -> None:
        """End the session in order."""


class OpenSession(Protocol):
    """Makes a session; `wake` is called, from anywhere, whenever there is a signal to fetch."""

    def __call__(
        self,
        address: Address,
        client_id: str,
        secret: Secret | None,
        *,
        will: tuple[str, str],
        subscriptions: tuple[str, ...],
        wake: Callable[[], None],
    ) -> Session:
        """See `OpenSession`."""
