"""The one way in which the running guard learns what time it is."""

from __future__ import annotations

import ctypes
import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Two times: one that only goes on, for everything decided here, and one for people."""

    def monotonic_s(self) -> float:
        """Seconds since some moment, that no setting of a clock can move."""

    def wall(self) -> datetime:
        """The time of day and date; it may jump, so nothing is decided by it."""

    def synchronised(self) -> bool | None:
        """Whether the wall clock follows a time source; None if that cannot be told."""


class SystemClock:
    """The clock of this machine."""

    def monotonic_s(self) -> float:
        """See `Clock`."""
        return time.monotonic()

    def wall(self) -> datetime:
        """See `Clock`."""
        return datetime.now(UTC)

    def synchronised(self) -> bool | None:
        """See `Clock`.

        adjtimex(2) with no mode set only reads, and returns TIME_ERROR (5) while the clock is not
        synchronised.
        """
        try:
            state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(512))
        except AttributeError:  # not Linux
            return None
        return None if state < 0 else state != 5
