"""What the guard costs, all measured in one run: `python tests/benchmarks/run.py`.

Absolute times are this machine's; compare them only with others of the same run. Nothing here
passes or fails.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from gpiozero import DigitalInputDevice, DigitalOutputDevice  # noqa: E402
from gpiozero.pins.mock import MockFactory  # noqa: E402

from daemon import logs  # noqa: E402
from daemon.assembly import Assembly  # noqa: E402
from daemon.flight import Flight, Records  # noqa: E402
from daemon.guard import Guard  # noqa: E402
from daemon.loop import RealTime  # noqa: E402
from daemon.machine import THIS  # noqa: E402
from daemon.pins import PinBoard  # noqa: E402
from rules import engine  # noqa: E402
from rules.assessment.assess import assess  # noqa: E402
from rules.hydraulics.network import Hydraulics  # noqa: E402
from rules.memory import begin  # noqa: E402
from rules.signals import (  # noqa: E402
    TICK_S,
    Observation,
    Reading,
)
from rules.site.model import Site  # noqa: E402
from simulator import library  # noqa: E402
from tests.benchmarks.nights import campaign_speed, drill_speed, month, plant_speed  # noqa: E402
from tests.daemon.boards import MemoryBoard  # noqa: E402

CHILD = """
import asyncio, sys
from gpiozero.pins.mock import MockFactory
from daemon import logs
from daemon.assembly import Assembly
from daemon.commands.finding import find_site
from daemon.commands.wiring_up import make_link
from daemon.loop import RealTime
from daemon.pins import PinBoard
site = find_site(sys.argv[1], lean=True)
logs.configure(True, "bench")
board = PinBoard(site, MockFactory())
link = make_link(site, "bench", "127.0.0.1:9")
asyncio.run(Assembly(site, board, "bench", RealTime(), link=link, latches=None, socket=None).run())
"""


def say(what: str, value: str) -> None:
    """One figure."""
    print(f"{what:<58} {value}")


def spread(values: list[float], scale: float, unit: str) -> str:
    """Median, and the 1st and 99th percentile."""
    cuts = statistics.quantiles(values, n=100)
    middle = statistics.median(values) * scale
    return f"{middle:9.1f} {unit}   (1 % {cuts[0] * scale:.1f}, 99 % {cuts[98] * scale:.1f})"


def good_readings(site: Site) -> list[Reading]:
    """A good day's readings, in the order of the sensors."""
    readings = []
    for sensor in site.sensors.values():
        if sensor.kind == "flow-meter":
            readings.append(Reading(1.1e-3))
        elif sensor.kind == "float":
            readings.append(Reading(float(sensor.duty in ("dry-run", "top-off"))))
        else:
            readings.append(Reading(float(sensor.kind == "mains")))
    return readings


def engine_step(name: str, steps: int) -> None:
    """Time of one step, with a little noise on the flow and a float that bobs now and then."""
    site = library.load_site(name)
    plan = engine.plan_for(site)
    memory = begin(plan, "bench")
    noise = random.Random(1)
    readings = good_readings(site)
    meter = next(i for i, s in enumerate(site.sensors.values()) if s.kind == "flow-meter")
    taken = []
    for n in range(steps):
        readings[meter] = Reading(1.1e-3 * noise.uniform(0.98, 1.02))
        readings[0] = Reading(float(noise.random() < 0.1))
        observation = Observation(n * TICK_S, tuple(readings))
        began = time.perf_counter()
        memory, _ = engine.step(plan, memory, observation)
        taken.append(time.perf_counter() - began)
    say(f"engine step, {name}", spread(taken, 1e6, "us"))


def bare_two_liner(trials: int) -> list[float]:
    """A float that switches a relay off in gpiozero's own callback: no filter, no thought."""
    factory = MockFactory()
    relay = DigitalOutputDevice(17, initial_value=True, pin_factory=factory)
    switch = DigitalInputDevice(5, pull_up=True, pin_factory=factory)
    factory.pin(5).drive_low()
    switch.when_deactivated = relay.off
    taken = []
    for _ in range(trials):
        relay.on()
        began = time.perf_counter()
        factory.pin(5).drive_high()
        while factory.pin(17).state:
            pass
        taken.append(time.perf_counter() - began)
        factory.pin(5).drive_low()
    return taken


def edge_to_off(trials: int) -> list[float]:
    """Float edge to relay pin off, beyond the float's own filter, in the running daemon."""
    site = library.load_site("classroom")
    filter_s = site.floats()["display-high"].filter
    return [_one_edge(site, random.Random(n)) - filter_s for n in range(trials)]


def _one_edge(site: Site, chance: random.Random) -> float:
    factory = MockFactory()
    board = PinBoard(site, factory)
    for sensor, closed in MemoryBoard(site).contacts.items():
        pin = factory.pin(site.sensors[sensor].pin)
        pin.drive_low() if closed else pin.drive_high()
    assembly = Assembly(site, board, "bench", RealTime(), link=None, latches=None, socket=None)
    thread = threading.Thread(target=lambda: asyncio.run(assembly.run()))
    thread.start()
    relay = factory.pin(site.outputs["pump-relay"].pin)
    while not relay.state:
        time.sleep(0.01)
    time.sleep(0.2 + chance.random() * 0.1)
    began = time.perf_counter()
    factory.pin(site.sensors["display-high"].pin).drive_high()
    while relay.state:
        time.sleep(0.0002)
    taken = time.perf_counter() - began
    assembly.loop.stop()
    thread.join()
    board.close()
    return taken


def memory_of(command: list[str], seconds: float) -> float:
    """Resident memory [MB] of a process `seconds` after its start."""
    process = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        time.sleep(seconds)
        status = Path(f"/proc/{process.pid}/status").read_text()
        line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
        return int(line.split()[1]) * 1024 / 1e6
    finally:
        process.kill()
        process.wait()


def median_of(command: list[str], runs: int = 5) -> float:
    """Median wall time of a command [s]."""
    taken = []
    for _ in range(runs):
        began = time.perf_counter()
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def hydraulics(name: str, rounds: int) -> None:
    """Building a site's hydraulics, one network solve of its pump, and a whole assessment."""
    site = library.load_site(name)
    built, solved, assessed = [], [], []
    for _ in range(rounds):
        began = time.perf_counter()
        found = Hydraulics(site)
        built.append(time.perf_counter() - began)
        levels = found.running().levels_m
        for n in range(20):
            moved = {key: level + 1e-4 * n for key, level in levels.items()}
            began = time.perf_counter()
            found.pump_point("return-pump", moved)
            solved.append(time.perf_counter() - began)
    plan = engine.plan_for(site)
    for _ in range(3):
        began = time.perf_counter()
        assess(plan)
        assessed.append(time.perf_counter() - began)
    say(f"hydraulics built with its steady state, {name}", spread(built, 1e3, "ms"))
    say(f"network solve of the pump and its branches, {name}", spread(solved, 1e3, "ms"))
    say(f"whole assessment, {name}", f"{statistics.median(assessed) * 1e3:9.0f} ms")


def start_times() -> None:
    """Time of a bare Python, of our imports for a running guard, and of a whole check."""
    bare = median_of([sys.executable, "-c", "pass"])
    imports = median_of([sys.executable, "-c", "import daemon.assembly, daemon.pins"])
    check = median_of([sys.executable, "-m", "daemon.cli", "check", "rack"])
    say("bare Python, start to end", f"{bare * 1e3:9.0f} ms")
    say("imports of a running guard, beyond that", f"{(imports - bare) * 1e3:9.0f} ms")
    say("weirkeeper check rack, whole", f"{check * 1e3:9.0f} ms")


def cost_of_edges(trials: int) -> None:
    """The guard's way from edge to relay beside the bare two-liner's."""
    bare, ours = bare_two_liner(2000), edge_to_off(trials)
    say("float edge to relay off, bare gpiozero callback", spread(bare, 1e6, "us"))
    middle, worst = statistics.median(ours) * 1e3, max(ours) * 1e3
    beyond = f"{middle:9.1f} ms   (most {worst:.1f})"
    say("the same in the guard, beyond the float's filter", beyond)
    say("  as a share of one tick, most", f"{worst / 1e3 / TICK_S:9.2f}")


def recorder(name: str, looks: int) -> None:
    """What the flight recorder takes of a tick, and of memory, in ten minutes and a trip.

    The loop rests after every hundred looks, as a guard does after every one.
    """
    site = library.load_site(name)
    board, taken = MemoryBoard(site), []
    guard, noise, began = Guard(site, board, "bench"), random.Random(1), datetime.now(UTC)
    edge = next(key for key, each in site.floats().items() if each.duty == "spill-edge")
    with tempfile.TemporaryDirectory() as folder:
        flight = Flight(guard, "bench", Records(Path(folder), "", "bench"), THIS)
        for n in range(1, looks):
            board.counts.update(
                (key, was + noise.randint(45, 52)) for key, was in board.counts.items()
            )
            if n == looks - 50:
                board.wet(edge, True)
            t_s = n * TICK_S + noise.uniform(0.0, 2e-3)
            decision, wall = guard.tick(t_s), began + timedelta(seconds=t_s)
            start = time.perf_counter()
            flight.take(t_s, n, wall, decision)
            taken.append(time.perf_counter() - start)
            if n % 100 == 0:
                time.sleep(0.02)
        flight.close()
        size = sum(each.stat().st_size for each in Path(folder).glob("recordings/*"))
    kept = sum(len(block.rows) + len(block.remembered) for block in flight.ring.blocks)
    say(f"flight recorder, one tick, {name}", spread(taken, 1e6, "us"))
    say(f"  its last ten minutes in memory, {name}", f"{kept / 1e6:9.2f} MB")
    say(f"  as a file on the disk, {name}", f"{size / 1e6:9.2f} MB")


def resident() -> None:
    """Memory of the daemon as on a Pi, its pins mocked, its broker away."""
    megabytes = memory_of([sys.executable, "-c", CHILD, "simulator/sites/classroom.toml"], 8.0)
    say("resident memory of the daemon on (mock) pins", f"{megabytes:9.1f} MB")


PARTS: dict[str, Callable[[int], None]] = {
    "step": lambda n: [engine_step(name, 4000 * n) for name in ("classroom", "rack")] and None,
    "plant": lambda _n: [plant_speed(name, say) for name in ("classroom", "rack")] and None,
    "drill": lambda _n: drill_speed(say),
    "month": lambda _n: month(say),
    "campaign": lambda n: [campaign_speed(s, 8 * n, say) for s in ("classroom", "rack")] and None,
    "edge": lambda n: cost_of_edges(2 * n),
    "recorder": lambda n: [recorder(name, 1300 * n) for name in ("classroom", "rack")] and None,
    "memory": lambda _n: resident(),
    "hydraulics": lambda n: [hydraulics(name, 4 * n) for name in ("classroom", "rack")] and None,
    "start": lambda _n: start_times(),
}


def main() -> None:
    """Run the parts that are asked for."""
    command = argparse.ArgumentParser(description=__doc__)
    command.add_argument("parts", nargs="*", choices=[*PARTS, []], help="default: all")
    command.add_argument("--size", type=int, default=5, help="how much of each; 1 is quick")
    options = command.parse_args()
    logs.configure(True, "bench", open(os.devnull, "w"))  # noqa: SIM115 - for the whole run
    for name in options.parts or PARTS:
        PARTS[name](options.size)


if __name__ == "__main__":
    main()
