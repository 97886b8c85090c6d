"""How fast simulated time goes: the plant alone, a drill, the nights of a campaign."""

from __future__ import annotations

import pickle
import time
import tracemalloc
from collections import defaultdict
from collections.abc import Callable

from daemon.guard import Guard
from rules.signals import TICK_S, Decision, EventKind, Observation
from simulator import library
from simulator.campaign.draw import draw
from simulator.night.night import QUIET_S
from simulator.night.runner import run
from simulator.water.plant import Plant

Say = Callable[[str, str], None]
SEED = 4711
DAY_S = 86400.0
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


def month(say: Say) -> None:
    """Four healthy weeks on end: what the guard remembers, and all that the process holds, by day.

    What is remembered is measured as it would be written to a file; it differs by texts that stand
    only now and then, and must not grow.
    """
    site, week = library.load_site("classroom"), library.load_drill("healthy-week")
    happens = [
        event.model_copy(update={"at": event.at + n * week.lasts})
        for n in range(4)
        for event in week.happens
    ]
    drill = week.model_copy(update={"lasts": 4 * week.lasts, "happens": tuple(happens)})
    days: dict[int, tuple[int, int]] = {}

    def tap(t_s: float, _seen: Observation, _decided: Decision, guard: Guard) -> None:
        day = int(t_s // DAY_S)
        if day not in days:
            days[day] = len(pickle.dumps(guard.before)), tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    outcome = run(site, drill, 1, tap=tap, trace=False)
    tracemalloc.stop()
    cuts = sum(event.kind is EventKind.PUMP_CUT for event in outcome.events)
    for day in (1, 7, 14, 21, 27):
        remembered, held = days[day]
        say(f"day {day}: the guard's memory", f"{remembered:9d} B   (process {held / 1e6:.2f} MB)")
    say("cuts, alarms in four healthy weeks", f"{cuts:9d}, {len(outcome.alarms)}")


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
