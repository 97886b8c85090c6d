"""Property tests: no deadline (shared machines stall), the same examples every time."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("hydraulics", deadline=None, derandomize=True)
settings.load_profile("hydraulics")
