"""A guard in a process of its own whose output pins are seen from outside, one datagram a change.

Run as `python -m tests.daemon.outside PORT [FAIL_AFTER_S]`: a good day on the classroom site, in
real time, on gpiozero's mock pins. After FAIL_AFTER_S a listener inside the tick raises.
"""

from __future__ import annotations

import asyncio
import socket
import sys
from datetime import datetime
from typing import Any

from gpiozero.pins.mock import MockFactory, MockPin

from daemon import logs
from daemon.assembly import Assembly
from daemon.loop import RealTime
from daemon.pins import PinBoard
from rules.signals import Decision
from simulator.library import load_site
from tests.daemon.boards import MemoryBoard

SENDER = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)


class SeenPin(MockPin):
    """Tells every change of an output to whoever listens outside."""

    port = 0

    def _change_state(self, value: Any) -> Any:
        changed = super()._change_state(value)
        if changed and self.function == "output":
            SENDER.sendto(f"{self.info.name} {int(value)}".encode(), ("127.0.0.1", SeenPin.port))
        return changed


def main() -> int:
    """Guard until stopped."""
    SeenPin.port = int(sys.argv[1])
    fail_after_s = float(sys.argv[2]) if len(sys.argv) > 2 else None
    logs.configure(True, "outside")
    site = load_site("classroom")
    factory = MockFactory(pin_class=SeenPin)
    board = PinBoard(site, factory, "pins")
    for sensor, closed in MemoryBoard(site).contacts.items():
        pin = factory.pin(site.sensors[sensor].pin)
        pin.drive_low() if closed else pin.drive_high()
    assembly = Assembly(site, board, "outside", RealTime(), link=None, latches=None, socket=None)

    def fail(t_s: float, _tick: int, _wall: datetime, _decision: Decision) -> None:
        if fail_after_s is not None and t_s >= fail_after_s:
            raise RuntimeError("thrown inside the tick by the test")

    assembly.loop.listeners.append(fail)
    code = asyncio.run(assembly.run())
    logs.finish()
    return code


if __name__ == "__main__":
    sys.exit(main())
