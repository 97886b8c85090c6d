"""The demo sites with a second drain-watch float in every overflow box, for tests."""

from __future__ import annotations

from simulator.library import site_text

_FLOAT = """
[sensors.{key}]
name = "{name}"
kind = "float"
chamber = "{chamber}"
height = "{height}"
duty = "drain-watch"
pin = {pin}
"""

SECOND = {
    "classroom": (("box-upper", "upper float in the overflow box", "overflow-box", "280 mm", 4),),
    "rack": tuple(
        (
            f"{side}-upper-watch",
            f"{side.replace('-', ' ')} upper watch",
            f"{side}-box",
            "7.5 in",
            pin,
        )
        for side, pin in (
            ("upper-left", 20),
            ("upper-right", 21),
            ("lower-left", 24),
            ("lower-right", 25),
        )
    ),
}
"""Key, name, chamber, height and pin of each float."""


def witness_text(site: str) -> str:
    """The text of the site file."""
    tables = [
        _FLOAT.format(key=key, name=name, chamber=chamber, height=height, pin=pin)
        for key, name, chamber, height, pin in SECOND[site]
    ]
    return "\n".join([site_text(site), *tables])
