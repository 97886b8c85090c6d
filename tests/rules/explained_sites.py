"""Plans whose derivations are followed: the demo sites, and others with what those do not have."""

from __future__ import annotations

import re
from functools import cache

from rules import engine
from rules.explain.explain import derive
from rules.explain.ground import Ground
from rules.plan import Plan
from tests.rules.nights import edited, site_of, text_of, without_table
from tests.rules.worked_pages import Worked, read

CLASSROOM = text_of("classroom")


def _all(text: str, tables: dict[str, dict[str, str | None]]) -> str:
    for table, values in tables.items():
        text = edited(text, table, **values)
    return text


def _pumped(points: str) -> str:
    """The classroom with another pump curve."""
    return re.sub(r"curve = \[.*?\n\]", f"curve = [{points}]", CLASSROOM, flags=re.S)


_ODD = _all(
    CLASSROOM,
    {
        "passages.open-drain": {"level_run": '{ length = "800 mm", fall = "10 mm" }'},
        "passages.main-drain": {"tuned_share": None, "valve_open": '"40 %"'},
        "pumps.return-pump": {"worn": '"8 %"', "speed": '"95 %"'},
        "chambers.refugium": {"length": None, "width": None, "diameter": '"380 mm"'},
        "chambers.return": {
            "length": None,
            "width": None,
            "displacement": '"3 %"',
            "fillings": '[{ level = "0 mm", volume = "0 l" }, { level = "100 mm", volume = "25 l" }'
            ', { level = "200 mm", volume = "58 l" }, { level = "400 mm", volume = "120 l" }]',
        },
        "passages.refugium-feed": {
            "canister": '{ loss = "0.3 m", at_flow = "300 l/h" }',
            "valve_loss": None,
        },
    },
)
_SLOT = (
    edited(CLASSROOM, "passages.first-baffle", kind='"under-baffle"', crest=None, gap='"30 mm"')
    + """
[passages.port]
kind = "hole"
from = "inlet"
to = "media"
centre = "220 mm"
diameter = "20 mm"
"""
)
_DROWNED = _all(
    CLASSROOM,
    {
        "passages.main-drain": {"pipe": '"1/2 in sch40"'},
        "passages.open-drain": {"pipe": '"1/2 in sch40"'},
        "passages.emergency-drain": {"pipe": '"1/2 in sch40"'},
    },
)
_PARTS_MEASURED = """
[measured.feed]
of = "riser"
flow = "60 l/min"
date = 2026-03-14
[measured.siphon]
of = "main-drain"
flow = "55 l/min"
level = "170 mm"
date = 2026-03-14
[measured.trickle]
of = "refugium-drain"
flow = "5 l/min"
level = "228 mm"
date = 2026-03-14
"""
_PUMP_MEASURED = """
[measured.lift]
of = "return-pump"
flow = "66 l/min"
date = 2026-03-14
[measured.edge]
of = "over-sponge"
flow = "45 l/min"
level = "250 mm"
date = 2026-03-14
"""
_TWO_PUMPS = (
    without_table(CLASSROOM, "passages.refugium-feed")
    + """
[passages.small-feed]
kind = "branch"
pump = "small-pump"
to = "refugium"
outlet = "290 mm"
pipe = "16x1.5 mm"
length = "1.2 m"
valve_loss = 300

[passages.small-riser]
kind = "branch"
pump = "small-pump"
to = "display"
outlet = "520 mm"
pipe = "16x1.5 mm"
length = "2 m"

[pumps.small-pump]
from = "return"
intake = "40 mm"
tolerance = "5 %"
curve = [{ flow = "0 l/h", head = "2.5 m" }, { flow = "900 l/h", head = "0.1 m" }]
"""
)

TEXTS = {
    "classroom": CLASSROOM,
    "rack": text_of("rack"),
    "odd": _ODD,
    "valve open": edited(CLASSROOM, "passages.main-drain", tuned_share=None),
    "short of its share": edited(CLASSROOM, "passages.main-drain", pipe='"3/4 in sch40"'),
    "drowned": _DROWNED,
    "held back": edited(CLASSROOM, "passages.comb", crest='"588 mm"'),
    "weak pump": edited(CLASSROOM, "pumps.return-pump", worn='"80 %"'),
    "dead pump": _pumped('{ flow = "0 l/h", head = "1 m" }, { flow = "3000 l/h", head = "0.2 m" }'),
    "past its curve": _pumped(
        '{ flow = "0 l/h", head = "3 m" }, { flow = "2000 l/h", head = "2.5 m" }'
    ),
    "before its curve": _pumped(
        '{ flow = "4000 l/h", head = "1 m" }, { flow = "6000 l/h", head = "0.5 m" }'
    ),
    "slot and hole": _SLOT,
    "parts measured": CLASSROOM + _PARTS_MEASURED,
    "pump measured": CLASSROOM + _PUMP_MEASURED,
    "two pumps": _TWO_PUMPS,
}


@cache
def plan_of(name: str) -> Plan:
    """The plan of one of these sites; never changed, so that tests may share it."""
    return engine.plan_for(site_of(TEXTS[name]))


@cache
def ground_of(name: str) -> Ground:
    """What the derivations of one site are worked from."""
    return Ground(plan_of(name))


@cache
def lines_of(name: str, figure: str) -> tuple[str, ...]:
    """One derivation of one site."""
    return derive(ground_of(name), figure)


@cache
def page(name: str, figure: str) -> Worked:
    """One derivation of one site, as read."""
    return read(lines_of(name, figure))
