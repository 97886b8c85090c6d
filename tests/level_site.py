"""The classroom with an analog level sensor in its overflow box, for tests."""

from __future__ import annotations

from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import site_text

LEVEL = "box-level"

TABLE = f"""
[sensors.{LEVEL}]
name = "level sensor of the overflow box"
kind = "level"
chamber = "overflow-box"
converter = "mcp3008"
channel = 3
select = 0
low = {{ level = "20 mm", share = "10 %" }}
high = {{ level = "320 mm", share = "85 %" }}
tolerance = "5 mm"
"""


def level_text(table: str = TABLE) -> str:
    """The text of the site file."""
    return f"{site_text('classroom')}\n{table}"


def level_site(table: str = TABLE) -> Site:
    """The site."""
    return parse_site(level_text(table), "levels.toml")
