"""The classroom with an analog level sensor in its overflow box, for tests."""

from __future__ import annotations

from simulator.detection.site import LEVEL, TABLE, level_site, level_text

__all__ = ["LEVEL", "TABLE", "level_site", "level_text"]
