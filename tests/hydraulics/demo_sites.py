"""Sites for these tests: the demo sites as they ship, and small ones written here."""

from __future__ import annotations

from pathlib import Path

from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.site.parse import parse_site

SITES = Path(__file__).parents[2] / "simulator" / "sites"

HEAD = """
[site]
id = "test"
name = "test"
[water]
temperature = "25 degC"
"""

CHAMBERS = """
[chambers.display]
bottom = "900 mm"
rim = "500 mm"
area = "0.5 m^2"
[chambers.sump]
bottom = "100 mm"
rim = "400 mm"
area = "0.2 m^2"
level = "200 mm"
"""

PUMP = """
[pumps.pump]
from = "sump"
intake = "50 mm"
curve = [
  { flow = "0 l/h", head = "3.0 m" },
  { flow = "2000 l/h", head = "2.5 m" },
  { flow = "4000 l/h", head = "1.2 m" },
]
[passages.riser]
kind = "branch"
pump = "pump"
to = "display"
outlet = "440 mm"
siphon_break = "450 mm"
pipe = "1 in sch40"
length = "1.5 m"
fittings = ["elbow-90", "elbow-90", "exit"]
"""

WEIR = """
[passages.edge]
kind = "weir"
from = "display"
to = "sump"
crest = "450 mm"
width = "300 mm"
"""


def demo(name: str) -> Site:
    """A demo site as it ships."""
    path = SITES / f"{name}.toml"
    return parse_site(path.read_text(encoding="utf-8"), path.name)


def site_of(*parts: str) -> Site:
    """A site of these tables."""
    return parse_site("\n".join((HEAD, *parts)), "test.toml")


def unbalanced_m3_s(hydraulics: Hydraulics) -> dict[str, float]:
    """What reaches each chamber less what leaves it, in the steady state [m3/s]."""
    site, running = hydraulics.site, hydraulics.running()
    net = dict.fromkeys(site.chambers, 0.0)
    for key, passage in site.passages.items():
        net[passage.to] += running.flows_m3_s[key]
    for key, passage in site.gravity().items():
        net[passage.from_] -= running.flows_m3_s[key]
    for key, pump in site.pumps.items():
        net[pump.from_] -= running.pumps[key].flow_m3_s
    return net
