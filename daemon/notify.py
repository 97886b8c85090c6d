"""Telling systemd that the guard is ready, alive, or stopping (the sd_notify protocol)."""

from __future__ import annotations

import os
import socket

from daemon.clock import Clock, SystemClock

PET_EVERY_S = 0.5
"""How often the watchdog is told at most [s]; WatchdogSec must be several times this."""


class Notify:
    """Sends to $NOTIFY_SOCKET; silent where there is none, as when run by hand."""

    def __init__(self, clock: Clock | None = None) -> None:
        self._clock = clock or SystemClock()
        address = os.environ.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self._petted_s = -PET_EVERY_S
        self._socket: socket.socket | None = None
        if self._address:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)

    def ready(self, status: str) -> None:
        """The guard watches; `status` is one line for `systemctl status`."""
        self._send(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """A whole control cycle is done. Called by the tick itself, never by a thread."""
        now_s = self._clock.monotonic_s()
        if now_s - self._petted_s >= PET_EVERY_S:
            self._petted_s = now_s
            self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """The guard is going, in order."""
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if self._socket is None:
            return
        try:
            self._socket.sendto(text.encode(), self._address)
        except OSError:
            # a supervisor that does not listen must not stop the guard; it will see the silence
            return
