"""Small circuits with round numbers, written as site files, for courses that a hand can follow."""

from __future__ import annotations

from rules.hydraulics.network import Hydraulics
from rules.site.model import Site
from rules.site.parse import parse_site
from rules.transient.stepper import Stepper

HEAD = """
[site]
id = "test"
name = "test"
[water]
temperature = "25 degC"
"""
LITRE_A_SECOND = (("0 l/h", "100 m"), ("3599 l/h", "90 m"), ("3600 l/h", "0 m"))
"""A curve so steep that the pump gives 1 l/s whatever it lifts to."""


def shaped(key: str, bottom_mm: float, rim_mm: float, shape: str, more: str = "") -> str:
    """A chamber of any shape."""
    return f'[chambers.{key}]\nbottom = "{bottom_mm} mm"\nrim = "{rim_mm} mm"\n{shape}\n{more}\n'


def chamber(key: str, bottom_mm: float, rim_mm: float, area_m2: float, more: str = "") -> str:
    """A chamber by its plan area."""
    return shaped(key, bottom_mm, rim_mm, f'area = "{area_m2} m^2"', more)


def standing(level_mm: float) -> str:
    """A chamber's level, where nothing holds it."""
    return f'level = "{level_mm} mm"'


def edge(key: str, source: str, to: str, crest_mm: float, width_mm: float) -> str:
    """A baffle over its whole width."""
    return (
        f'[passages.{key}]\nkind = "baffle"\nfrom = "{source}"\nto = "{to}"\n'
        f'crest = "{crest_mm} mm"\nwidth = "{width_mm} mm"\n'
    )


def drain(key: str, kind: str, mouth_mm: float, pipe: str, more: str = "") -> str:
    """A drain from the box to the inlet chamber, with its end above that chamber's rim."""
    return (
        f'[passages.{key}]\nkind = "{kind}"\nfrom = "box"\nto = "inlet"\nmouth = "{mouth_mm} mm"\n'
        f'outlet = "420 mm"\npipe = "{pipe}"\nlength = "0.8 m"\n'
        f'fittings = ["entrance-projecting", "elbow-90", "exit"]\n{more}\n'
    )


def pump(
    key: str,
    source: str,
    intake_mm: float,
    branches: dict[str, tuple[str, str]],
) -> str:
    """A pump; each branch is (to, its other keys)."""
    points = ", ".join(f'{{ flow = "{flow}", head = "{head}" }}' for flow, head in LITRE_A_SECOND)
    lines = [f'[pumps.{key}]\nfrom = "{source}"\nintake = "{intake_mm} mm"\ncurve = [{points}]\n']
    for name, (to, more) in branches.items():
        lines.append(
            f'[passages.{name}]\nkind = "branch"\npump = "{key}"\nto = "{to}"\n'
            f'pipe = "1 in sch40"\nlength = "1 m"\nfittings = ["exit"]\n{more}\n'
        )
    return "".join(lines)


def top_off(area_m2: float, level_mm: float, to: str = "sump", rate: str = "0.1 l/s") -> str:
    """A reservoir, 400 mm high, and what it tops up."""
    return (
        chamber("reservoir", 100, 400, area_m2, standing(level_mm))
        + f'[top_off]\nreservoir = "reservoir"\nto = "{to}"\nrate = "{rate}"\n'
    )


def two_tanks(
    rim_mm: float = 500,
    intake_mm: float = 50,
    riser: str = 'outlet = "600 mm"',
    *more: str,
    area: str = 'area = "1 m^2"',
) -> Site:
    """A display with its crest at 450 mm over a sump with 200 mm of water, 1 m2 each."""
    return parse_site(
        "\n".join(
            (
                HEAD,
                shaped("display", 900, rim_mm, area),
                chamber("sump", 100, 400, 1.0, standing(200)),
                edge("edge", "display", "sump", 450, 300),
                pump("pump", "sump", intake_mm, {"riser": ("display", riser)}),
                *more,
            )
        ),
        "two-tanks.toml",
    )


def stepper(site: Site, tolerance_m: float = 1e-4) -> Stepper:
    """A stepper from the site's running state on."""
    hydraulics = Hydraulics(site)
    return Stepper(site, hydraulics, hydraulics.running(), tolerance_m)


def water_m3(site: Site, levels_m: dict[str, float]) -> float:
    """All water in the chambers of a site."""
    return sum(
        chamber.volume_m3(levels_m[key] - chamber.bottom) for key, chamber in site.chambers.items()
    )


def drop_in_a_row() -> Site:
    """Five tanks in a row, each running into the next through other ways than the demo sites'."""
    return parse_site(
        "\n".join(
            (
                HEAD,
                chamber("first", 2000, 400, 0.5),
                shaped("second", 1500, 400, 'diameter = "400 mm"'),
                chamber("third", 1000, 300, 0.08),
                chamber("fourth", 1000, 300, 0.02),
                chamber("sump", 100, 500, 0.3, standing(250)),
                edge("edge", "first", "second", 330, 250),
                '[passages.hole]\nkind = "hole"\nfrom = "second"\nto = "third"\n'
                'centre = "60 mm"\ndiameter = "45 mm"\n',
                '[passages.gap]\nkind = "under-baffle"\nfrom = "third"\nto = "fourth"\n'
                'gap = "30 mm"\nwidth = "200 mm"\n',
                '[passages.screen]\nkind = "screen"\nfrom = "third"\nto = "fourth"\n'
                'top = "200 mm"\nclean_loss = "5 mm"\nat_flow = "1 l/s"\n',
                edge("last", "fourth", "sump", 150, 200),
                edge("beside", "third", "sump", 240, 200),
                pump(
                    "pump",
                    "sump",
                    40,
                    {
                        "riser": ("first", 'outlet = "200 mm"\nsiphon_break = "340 mm"'),
                        "side": ("second", 'outlet = "100 mm"\nvalve_loss = 900'),
                    },
                ),
            )
        ),
        "row.toml",
    )
