"""How fast simulated time goes: the plant alone, a drill, the nights of a campaign."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable

from rules.signals import TICK_S
from simulator import library
from simulator.campaign.draw import draw
from simulator.night.night import QUIET_S
from simulator.night.runner import run
from simulator.water.plant import Plant

Say = Callable[[str, str], None]
SEED = 4711
NIGHTS = 10_000


def plant_speed(name: str, say: Say) -> None:
    """Simulated seconds a second of the plant alone: at rest, and after its main drain closed."""
    site = library.load_site(name)
    plant = Plant(site, 1)
    began = time.process_time()
    plant.settle()
    settled = time.process_time()
    for _ in range(2880):
        plant.advance(10.0)
    quiet = time.process_time()
    drain = next(iter(site.drains_from(site.drained_chambers()[0])))
    plant.condition[drain] = 0.0
    for _ in range(600):
        plant.advance(TICK_S)
    surge = time.process_time()
    say(f"plant settled, {name}", f"{(settled - began) * 1e3:9.0f} ms")
    say(f"plant at rest, simulated seconds a second, {name}", f"{28800.0 / (quiet - settled):9.0f}")
    say(f"plant in a surge, simulated seconds a second, {name}", f"{60.0 / (surge - quiet):9.0f}")


def drill_speed(say: Say) -> None:
    """One short drill at every tick, and one of ten hours as it is usually played."""
    site, drill = library.load_site("classroom"), library.load_drill("main-drain-blocked")
    began = time.perf_counter()
    run(site, drill, 1, every_tick=True)
    taken = time.perf_counter() - began
    simulated_s = drill.lasts + QUIET_S
    say("full drill at every tick, ticks a second", f"{simulated_s / TICK_S / taken:9.0f}")
    long = library.load_drill("long-healthy-night")
    began = time.perf_counter()
    run(site, long, 1)
    taken = time.perf_counter() - began
    say(f"drill of {long.lasts / 3600.0:.0f} h, looks left out", f"{taken:9.2f} s")
    say("  simulated seconds a second", f"{long.lasts / taken:9.0f}")


def campaign_speed(name: str, nights: int, say: Say) -> None:
    """What a campaign's night with the guard costs, by kind, and what 10,000 would on one core."""
    site = library.load_site(name)
    taken: dict[str, list[float]] = defaultdict(list)
    simulated_s = 0.0
    for number in range(1, nights + 1):
        drawn = draw(site, SEED, number)
        began = time.process_time()
        run(site, drawn.drill, drawn.seed, trace=False)
        taken[drawn.label].append(time.process_time() - began)
        simulated_s += drawn.drill.lasts
    whole = sum(sum(each) for each in taken.values())
    for label, each in sorted(taken.items()):
        say(
            f"night, {label}, {name}",
            f"{sum(each) / len(each):9.2f} s   (most {max(each):.2f}, {len(each)} of {nights})",
        )
    say(f"  simulated seconds a second, {name}", f"{simulated_s / whole:9.0f}")
    say(f"  {NIGHTS} such nights on one core, {name}", f"{whole / nights * NIGHTS / 60.0:9.0f} min")
