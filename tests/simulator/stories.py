"""Short stories for tests: what happens, on a settled plant, told second by second."""

from __future__ import annotations

from collections.abc import Iterator

from rules.signals import Alarm, Command
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import site_text
from simulator.signals.stand import PlantBoard
from simulator.story.drill import Drill
from simulator.story.drill_file import parse_drill
from simulator.story.script import Script
from simulator.water.plant import Plant

HEAD = """
title = "A small night"
story = "Something happens."
starts_at = "02:40"
lasts = "10 h"
"""

CANISTER = 'valve_loss = 100\ncanister = { loss = "300 mm", at_flow = "200 l/h" }'
WATER_CHANGE = """
[water_change]
out_of = "inlet"
into = "return"
daily = "40 l"
"""
LEVEL_SENSOR = """
[sensors.return-depth]
name = "level sensor of the return chamber"
kind = "level"
chamber = "return"
converter = "mcp3008"
channel = 2
low = { level = "100 mm", share = "20 %" }
high = { level = "300 mm", share = "80 %" }
"""


def everything() -> Site:
    """The classroom with a water change, a canister on its refugium's feed and a level sensor."""
    text = site_text("classroom").replace("valve_loss = 120", CANISTER)
    return parse_site(text + WATER_CHANGE + LEVEL_SENSOR, "everything.toml")


def drill_of(*happens: str, states: str = 'must_not = [{ what = "spill" }]') -> Drill:
    """A drill of these happenings, each written as an inline table without its braces."""
    told = "".join(f"[[happens]]\n{text.replace('; ', chr(10))}\n" for text in happens)
    return parse_drill(f"{HEAD}{states}\n{told}", "small.toml")


class Recorder:
    """A host that writes down what is done to it, and has alarms to answer."""

    def __init__(self, alarms: tuple[Alarm, ...] = ()) -> None:
        self.done: list[tuple[object, ...]] = []
        self._alarms = alarms

    def kill(self, back_after_s: float, held: bool = True) -> None:
        """See `GuardHost`."""
        self.done.append(("kill", back_after_s, held))

    def hang(self, lasts_s: float, whole: bool = False) -> None:
        """See `GuardHost`."""
        self.done.append(("hang", lasts_s, whole))

    def reboot(self, back_after_s: float) -> None:
        """See `GuardHost`."""
        self.done.append(("reboot", back_after_s))

    def unpower(self, lasts_s: float) -> None:
        """See `GuardHost`."""
        self.done.append(("unpower", lasts_s))

    def upgrade(self, back_after_s: float) -> None:
        """See `GuardHost`."""
        self.done.append(("upgrade", back_after_s))

    def order(self, command: Command) -> None:
        """See `GuardHost`."""
        self.done.append(("order", command))

    def standing(self) -> tuple[Alarm, ...]:
        """See `GuardHost`."""
        return self._alarms


class Tale:
    """A drill told on the direct board, without a guard: everything runs, nobody acts."""

    def __init__(
        self, site: Site, *happens: str, host: Recorder | None = None, exact: bool = True
    ) -> None:
        self.plant = Plant(site, 3, exact=exact)
        self.plant.settle()
        self.board = PlantBoard(site, self.plant)
        self.script = Script(site, self.board, drill_of(*happens), host)
        self.sensors = self.board.sensors
        self.began_s = self.plant.t_s

    def to(self, t_s: float) -> None:
        """Tell on to so many seconds after the beginning, and let everything due happen."""
        for _ in self.seconds(t_s):
            pass

    def seconds(self, t_s: float, every_s: float = 1.0) -> Iterator[float]:
        """The same, with a stop every second."""
        while (now_s := self.plant.t_s - self.began_s) < t_s - 1e-6:
            self.script.advance(round(now_s, 6))
            self.board.advance_to(self.plant.t_s + min(every_s, t_s - now_s))
            yield self.plant.t_s - self.began_s
        self.script.advance(t_s)
