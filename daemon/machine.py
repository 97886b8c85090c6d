"""What the running guard needs of its machine beside pins: clock, threads, disk, network."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.clock import Clock, SystemClock
from daemon.disk import Disk, SystemDisk
from daemon.session import OpenSession
from daemon.wire import Wire
from daemon.worker import Hire, ThreadWorker


@dataclass(frozen=True, slots=True)
class Machine:
    """Everything outside the process; a simulated machine puts its own in each place."""

    clock: Clock
    hire: Hire
    disk: Disk
    open_session: OpenSession


THIS = Machine(SystemClock(), ThreadWorker, SystemDisk(), Wire)
"""The machine on which this process runs."""
