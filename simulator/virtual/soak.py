"""Nights of random faults of broker, disk, clock and process, on the whole daemon.

    python -m simulator.virtual.soak --seed 7 --nights 100

First the safety phase: whatever fails around the guard, no water is spilled, no pump runs dry, and
outputs that nobody renews are off in time. Then the faults end, and all must be well again: the
link connected, every alert shown once, what is latched readable, the device at the broker true.
One seed is one night; a night that fails says its seed, which plays it again.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from random import Random
from typing import TextIO

from rules.signals import Decision, Phase
from rules.site.model import Site
from simulator.library import load_drill, load_site
from simulator.story.drill import Drill
from simulator.virtual.afterwards import amiss
from simulator.virtual.host import LATCHES
from simulator.virtual.phone import Shown
from simulator.virtual.play import Stage, staged
from simulator.virtual.trace import Trace
from simulator.water.wiring import TIMER_S

STORIES = (
    "healthy-night",
    "main-drain-blocked",
    "two-drains-blocked",
    "pump-dies",
    "leak-on-the-floor",
)
"""What the water does meanwhile; in none of them it has to go over a rim."""

FAULTS_S = 1200.0
"""How long things may fail [s]."""

RECOVERY_S = 300.0
"""How long all has time to be well again [s]: a boot, and the longest back-off of the link."""

MOST_FAULTS = 12

LEASE_S = 2.0
"""An output that is not renewed for so long drops: what is promised, whatever the code says [s]."""

SLACK_S = 0.15
"""The leases are looked at ten times a second; a little more than that [s]."""

Fault = tuple[str, Callable[[], None]]


def night_of(seed: int) -> Drill:
    """The drill of a seed: what the water does in it."""
    story = load_drill(Random(f"{seed}/story").choice(STORIES))
    return story.model_copy(update={"lasts": FAULTS_S + RECOVERY_S})


class Faults:
    """The faults of one night, drawn from its seed; `wrong` tells what was unsafe meanwhile."""

    def __init__(self, stage: Stage, seed: int) -> None:
        self.stage = stage
        self.wrong: list[str] = []
        self.told: list[str] = []
        self._chance = Random(f"{seed}/faults")
        self._began = False

    def begin(self, began_s: float) -> None:
        """Draw them; the story begins at `began_s`."""
        for _ in range(self._chance.randint(1, MOST_FAULTS)):
            at_s = self._chance.uniform(0.0, FAULTS_S)
            what, act = self._draw(FAULTS_S - at_s)
            self.told.append(f"{at_s:.1f} s: {what}")
            self.stage.world.at(began_s + at_s, act)

    def _draw(self, left_s: float) -> Fault:
        chance, weather, host = self._chance, self.stage.world.weather, self.stage.host

        def lasts(most_s: float) -> float:
            return min(left_s, chance.uniform(0.5, most_s))

        long_s, short_s, held = lasts(240.0), lasts(20.0), chance.random() < 0.5
        jump_s = chance.choice((-1.0, 1.0)) * chance.uniform(1.0, 7200.0)
        faults: tuple[Fault, ...] = (
            (f"broker down {long_s:.1f} s", lambda: weather.stop_broker(long_s)),
            (f"broker hangs {long_s:.1f} s", lambda: weather.hang_broker(long_s)),
            (f"broker refuses {long_s:.1f} s", lambda: weather.refuse(long_s)),
            ("broker loses all", weather.forget),
            (f"phone away {long_s:.1f} s", lambda: self.stage.phone.leave(long_s)),
            (f"disk full {long_s:.1f} s", lambda: weather.fill_disk(long_s)),
            (f"disk stalls {short_s:.1f} s", lambda: weather.stall_disk(short_s)),
            (f"clock jumps {jump_s:.0f} s", lambda: weather.jump_clock(jump_s)),
            (f"guard killed {short_s:.1f} s, {held=}", lambda: host.kill(short_s, held)),
            (f"loop hangs {short_s:.1f} s", lambda: self._hang(short_s, whole=False)),
            (f"guard hangs {short_s:.1f} s", lambda: self._hang(short_s, whole=True)),
            (f"guard reboots {short_s:.1f} s", lambda: host.reboot(short_s)),
            (f"guard without power {short_s:.1f} s", lambda: host.unpower(short_s)),
            (f"guard upgraded {short_s:.1f} s", lambda: host.upgrade(short_s)),
        )
        return chance.choice(faults)

    def _hang(self, lasts_s: float, *, whole: bool) -> None:
        """Hold the guard up, and look in time whether that stopped the pumps."""
        host, stage = self.stage.host, self.stage
        run = host.run
        if host.run is not None and any(each.held for each in host.run.process.strands[1:]):
            whole = True  # it hung already, and the leases with it
        host.hang(lasts_s, whole)
        limit_s = (TIMER_S + LEASE_S if whole else LEASE_S) + SLACK_S
        if run is None or lasts_s <= limit_s:
            return

        def look() -> None:
            if host.run is not run or not run.process.main.held:
                return  # something else happened to it meanwhile
            if not whole and (on := [key for key, is_on in stage.pins.left.items() if is_on]):
                self.wrong.append(f"on {limit_s:.1f} s after the loop hung: {', '.join(on)}")
            plant = stage.night.stand.plant
            if powered := [pump for pump in plant.lifts if plant.powered(pump)]:
                self.wrong.append(f"with current while the guard hung: {', '.join(powered)}")

        stage.world.at(stage.loop.time() + limit_s, look)


class Latched:
    """Pumps that wait for a person, and that nobody may start again: a restart is no reset."""

    def __init__(self, site: Site, stage: Stage) -> None:
        self.wrong: list[str] = []
        self._stage = stage
        self._waiting: set[str] = set()
        self._pumps = {relay: pump for pump in site.pumps if (relay := site.pump_output(pump))}
        stage.host.taps.append(self._decided)
        stage.pins.told.append(self._driven)

    def _decided(self, _t_s: float, _seen: object, decision: Decision, _guard: object) -> None:
        # one that died before the disk had it is forgotten, as nobody could know
        if '"latched": []' not in self._stage.disk.files.get(str(LATCHES), '"latched": []'):
            self._waiting |= {each.pump for each in decision.pumps if each.phase is Phase.LATCHED}

    def _driven(self, output: str, on: bool) -> None:
        pump = self._pumps.get(output)
        if on and pump in self._waiting:
            self._waiting.discard(pump)
            self.wrong.append(f"{pump} was started, and waited for a person")


class Answers:
    """A person with the phone, who acknowledges about half of the alerts after a while."""

    def __init__(self, stage: Stage, seed: int) -> None:
        self._stage = stage
        self._chance = Random(f"{seed}/person")
        stage.phone.told.append(self._shown)

    def _shown(self, shown: Shown) -> None:
        event = shown.event
        answers, after_s = self._chance.random() < 0.5, self._chance.uniform(2.0, 120.0)
        if event["kind"] == "alarm-raised" and answers:
            code = event["alarm"]["code"]
            at_s = self._stage.loop.time() + after_s
            self._stage.world.at(at_s, lambda: self._stage.phone.send(f"acknowledge {code}"))


def soak(site: Site, seed: int, trace: Trace) -> list[str]:
    """Play the night of this seed; returns what was not as it must be, nothing if all was."""
    with staged(site, night_of(seed), seed, trace) as stage:
        faults = Faults(stage, seed)
        Answers(stage, seed)
        latched = Latched(site, stage)
        stage.world.on_begin.append(faults.begin)
        stage.loop.run_until_complete(stage.world.over)
        wrong = faults.wrong + latched.wrong + amiss(site, stage)
        return [*faults.told, *wrong] if wrong else []


def main() -> int:
    """Play nights until one fails; 0 if none did."""
    command = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    command.add_argument("--seed", type=int, default=1, help="of the first night (default: 1)")
    command.add_argument("--nights", type=int, default=20, help="how many (default: 20)")
    command.add_argument("--site", default="classroom", help="a demo site (default: classroom)")
    command.add_argument("--trace", metavar="FILE", help="write down all that happens")
    options = command.parse_args()
    site = load_site(options.site)
    with ExitStack() as stack:
        file: TextIO | None = None
        if options.trace:
            file = stack.enter_context(Path(options.trace).open("w", encoding="utf-8"))
        for seed in range(options.seed, options.seed + options.nights):
            trace, began_s = Trace(file), time.perf_counter()
            wrong = soak(site, seed, trace)
            faster = (FAULTS_S + RECOVERY_S) / (time.perf_counter() - began_s)
            if wrong:
                print(f"seed {seed} on {options.site}:", *wrong, sep="\n  ")
                print(f"again: python -m simulator.virtual.soak --seed {seed} --nights 1")
                return 1
            print(f"seed {seed}: {trace.digest[:16]}, {faster:.0f} simulated s a second")
    return 0


if __name__ == "__main__":
    sys.exit(main())
