"""A broker inside this process, for the try-out alone: a real night needs one that stands apart."""

from __future__ import annotations

import asyncio
import logging
import socket
import threading
from types import TracebackType
from typing import Any, Self

START_S = 10.0
STOP_S = 10.0


class NoBrokerError(RuntimeError):
    """The broker cannot be had or did not come up; the text is a sentence."""


class TryOutBroker:
    """An MQTT 3.1.1 broker on a free port of this machine alone, in a thread of its own."""

    host = "127.0.0.1"

    def __init__(self) -> None:
        self.port = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None
        self._up = threading.Event()
        self._failure: BaseException | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> int:
        """Start it and return its port; raises NoBrokerError."""
        try:
            from amqtt.broker import Broker
        except ImportError as error:
            raise NoBrokerError(
                f"the try-out's own broker is not installed ({error}): install weirkeeper with "
                'its "try" extra, or name a broker of yours'
            ) from None
        if self._thread is not None:
            raise NoBrokerError("the broker is running already")
        self.port = _free_port(self.host)
        self._up.clear()
        self._failure = None
        self._thread = threading.Thread(
            target=self._run, args=(Broker,), name="try-out-broker", daemon=True
        )
        self._thread.start()
        if not self._up.wait(START_S):
            raise NoBrokerError(f"the broker did not come up within {START_S:.0f} s")
        if self._failure is not None:
            self._thread = None
            raise NoBrokerError(f"the broker did not come up: {self._failure}")
        return self.port

    def stop(self) -> None:
        """Stop it and free its port; does nothing when it is not running."""
        if self._thread is None or self._loop is None or self._stop is None:
            return
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(STOP_S)
        if self._thread.is_alive():
            raise NoBrokerError(f"the broker did not stop within {STOP_S:.0f} s")
        self._thread = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def _run(self, broker_class: Any) -> None:
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # it tells of every packet
        try:
            asyncio.run(self._serve(broker_class))
        except Exception as error:
            # told to whoever waits in `start`; later than that, clients see the link go down
            self._failure = error
        finally:
            self._up.set()

    async def _serve(self, broker_class: Any) -> None:
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        broker = broker_class(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"{self.host}:{self.port}"}},
                "plugins": {
                    "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}
                },
            }
        )
        await broker.start()
        self._up.set()
        try:
            await self._stop.wait()
        finally:
            await broker.shutdown()


def _free_port(host: str) -> int:
    with socket.socket() as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port
