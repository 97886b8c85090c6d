"""The classroom with two or three spill-edge floats at one height in its display, for tests."""

from __future__ import annotations

from simulator.library import site_text

_FLOAT = """
[sensors.{key}]
name = "{name}"
kind = "float"
chamber = "{chamber}"
height = "{height}"
duty = "{duty}"
pin = {pin}
"""

FIRST, LEFT, RIGHT = "display-high", "left-high", "right-high"


def more_float(key: str, height: str, pin: int, *, duty: str, chamber: str) -> str:
    """The table of one more float."""
    name = key.replace("-", " ") + " float"
    return _FLOAT.format(key=key, name=name, height=height, pin=pin, duty=duty, chamber=chamber)


def edge(key: str, height: str, pin: int) -> str:
    """The table of one more spill-edge float of the display."""
    return more_float(key, height, pin, duty="spill-edge", chamber="display")


def two_text(height: str = "585 mm") -> str:
    """The text with a second spill-edge float; the first one hangs at 585 mm."""
    return "\n".join((site_text("classroom"), edge(LEFT, height, 4)))


def three_text(left: str = "583 mm", right: str = "587 mm") -> str:
    """The text with three, as they hang when somebody has used a ruler."""
    return "\n".join((site_text("classroom"), edge(LEFT, left, 4), edge(RIGHT, right, 14)))
