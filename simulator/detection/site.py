"""The classroom with an analog level sensor in its overflow box, and that box for a formula."""

from __future__ import annotations

from rules.site.model import Site
from rules.site.parse import parse_site
from rules.site.passages import EmergencyDrain, OpenDrain, SiphonDrain
from simulator.detection.boxes import Geometry
from simulator.library import site_text
from simulator.water.drains import stack_limit_m3_s

LEVEL = "box-level"
BOX = "overflow-box"

TABLE = f"""
[sensors.{LEVEL}]
name = "level sensor of the overflow box"
kind = "level"
chamber = "{BOX}"
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


def geometry(site: Site, flow_m3_s: float, below_m: float) -> Geometry:
    """Its overflow box; what comes [m3/s] and the level below its drains [m above the datum] are
    not in the drawing."""
    drains = site.drains_from(BOX).values()
    main = next(drain for drain in drains if isinstance(drain, SiphonDrain))
    beside = next(drain for drain in drains if isinstance(drain, OpenDrain))
    spare = next(drain for drain in drains if isinstance(drain, EmergencyDrain))
    outlet_m = site.chambers[main.to].above_datum_m(main.outlet)
    assert main.tuned_share is not None
    return Geometry(
        main_fall_m=site.chambers[BOX].bottom - max(outlet_m, below_m),
        open_mouth_m=beside.mouth,
        emergency_mouth_m=spare.mouth,
        bore_m=beside.pipe.bore_m,
        trickle=1.0 - main.tuned_share,
        limit_m3_s=stack_limit_m3_s(beside.pipe.bore_m),
        flow_m3_s=flow_m3_s,
    )
