"""The whole interview: every part in its order, over one sheet."""

from __future__ import annotations

from daemon.wizard.alerts import alerts
from daemon.wizard.displays import Display, display, site
from daemon.wizard.drains import drains
from daemon.wizard.form import Desk
from daemon.wizard.outputs import outputs
from daemon.wizard.question import Ask
from daemon.wizard.refugium import refugium
from daemon.wizard.sensors import Plumbing, sensors
from daemon.wizard.sheet import Sheet
from daemon.wizard.sump import sump
from daemon.wizard.topoff import top_off
from daemon.wizard.wayup import way_up


def describe(ask: Ask) -> Sheet:
    """Ask through `ask` for all that a site file says; the filled sheet."""
    desk = Desk(ask)
    number, displays = site(desk), list[Display]()
    for one in range(1, number + 1):
        displays.append(display(desk, one, displays[0] if displays else None, number > 1))
    below = sump(desk, displays)
    watched = [(one, drains(one, below)) for one in displays]
    side = refugium(desk, below)
    meter_on, intake_m = way_up(desk, displays, below, side)
    reservoir = top_off(desk, below)
    outputs(desk, reservoir)
    sensors(desk, Plumbing(watched, below, side, reservoir, meter_on, intake_m))
    alerts(desk)
    return desk.sheet
