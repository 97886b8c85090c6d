"""The rules are pure: same inputs same outputs, nothing grows, and nothing impure is imported."""

from __future__ import annotations

import ast
import hashlib
import pickle
import random
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import rules
from rules.engine import plan_for, step
from rules.memory import begin
from rules.signals import Command, Observation, Order, Origin, Quality, Reading
from tests.rules.nights import TICK_S, Night, site_of, text_of

ROOT = Path(rules.__file__).parent.parent

STDLIB = {
    "__future__", "bisect", "collections", "dataclasses", "difflib", "enum", "functools",
    "itertools", "math", "re", "tomllib", "types", "typing", "zlib",
}  # fmt: skip
BUILTINS_THAT_REACH_OUT = {"open", "print", "input", "exec", "eval", "compile", "__import__"}


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, also inside functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            assert node.module is not None
            yield node.module


def files(package: str) -> list[Path]:
    """Every module of a package."""
    found = sorted((ROOT / package).rglob("*.py"))
    assert len(found) > 3
    return found


def where(path: Path) -> str:
    """A file's path inside the project."""
    return path.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("path", files("rules"), ids=where)
def test_the_rules_import_nothing_impure(path: Path) -> None:
    third = {"pydantic", "rules"} | ({"pint"} if path.parent.name == "site" else set())
    for module in imports(path):
        top = module.split(".")[0]
        assert top in STDLIB | third, f"{where(path)} imports {module}"


@pytest.mark.parametrize("path", files("rules"), ids=where)
def test_the_rules_call_nothing_that_reaches_out(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in BUILTINS_THAT_REACH_OUT, f"{where(path)}:{node.lineno}"
        assert not isinstance(node, (ast.Global, ast.AsyncFunctionDef, ast.Await)), where(path)


def test_the_list_of_what_is_allowed_is_of_the_standard_library() -> None:
    assert set(sys.stdlib_module_names) >= STDLIB
    impure = {"time", "datetime", "random", "os", "io", "asyncio", "threading", "logging", "socket"}
    assert not STDLIB & impure


@pytest.mark.parametrize("path", files("daemon"), ids=where)
def test_the_daemon_imports_the_simulator_only_for_its_commands(path: Path) -> None:
    """`daemon/campaign` belongs to a command: nothing else of the daemon may import it."""
    if not {"commands", "campaign"} & set(path.parts):
        outside = ("simulator.", "daemon.campaign")
        assert not [module for module in imports(path) if f"{module}.".startswith(outside)]


ESTIMATES = ("hydraulics", "estimate", "plan", "figures", "hazards", "engine", "observer")


@pytest.mark.parametrize("path", files("simulator"), ids=where)
def test_the_simulator_knows_none_of_the_rules_estimates(path: Path) -> None:
    """It must be able to prove them wrong. One file holds the guard's detector itself, to have it
    measured over boxes that know nothing of it."""
    if path.parts[-2:] == ("detection", "detectors.py"):
        return
    for module in imports(path):
        assert not module.startswith(tuple(f"rules.{name}" for name in ESTIMATES)), module


def test_no_package_is_imported_by_one_below_it() -> None:
    for path in files("rules"):
        assert not {m.split(".")[0] for m in imports(path)} & {"daemon", "simulator", "deploy"}


# --- same inputs, same outputs -------------------------------------------------------------------


def observations(name: str, seed: int, steps: int) -> list[Observation]:
    """A restless night by seed: readings of every quality, orders, and leases that drop."""
    draw = random.Random(seed)
    site = site_of(text_of(name))
    values = {key: Reading(0.0) for key in site.sensors}
    found = []
    for i in range(steps):
        for key in site.sensors:
            if draw.random() < 0.01:
                quality = draw.choice(list(Quality))
                value = draw.choice([0.0, 1.0, 0.0011, float("nan")])
                values[key] = Reading(value, quality, draw.random(), "by chance")
        orders = tuple(
            Command(draw.choice(list(Order)), str(draw.randrange(1000, 10000)), Origin.LOCAL)
            for _ in range(draw.random() < 0.02)
        )
        dropped = tuple(draw.random() < 0.001 for _ in site.outputs)
        found.append(Observation(round(i * 0.1, 6), tuple(values.values()), orders, dropped))
    return found


def digest(name: str, seen: list[Observation]) -> list[bytes]:
    """Every memory and decision of a night, written out; plan and memory are made anew."""
    plan = plan_for(site_of(text_of(name)))
    memory = begin(plan, "boot-a")
    log = []
    for observation in seen:
        memory, decision = step(plan, memory, observation)
        log.append(hashlib.sha256(pickle.dumps((memory, decision))).digest())
    return log


@pytest.mark.parametrize(("name", "steps"), [("classroom", 3000), ("rack", 1000)])
def test_the_same_night_twice_is_the_same_to_the_bit(name: str, steps: int) -> None:
    first = digest(name, observations(name, 7, steps))
    assert first == digest(name, observations(name, 7, steps))
    assert first[:300] != digest(name, observations(name, 8, 300))


def test_a_step_changes_nothing_of_what_it_was_given() -> None:
    night = Night()
    night.good(100)
    night.wet("display-high")
    night.run(0.9)
    before = repr(night.memory)
    observation = Observation(night.t_s + 0.1, night.readings(), (), (False,) * 5)
    first = step(night.plan, night.memory, observation)
    assert repr(night.memory) == before
    assert repr(step(night.plan, night.memory, observation)) == repr(first)


def test_one_plan_serves_two_nights_at_once() -> None:
    """Stepping one guard leaves no trace in another that shares its plan."""
    alone = Night(site_of(text_of("classroom")))
    alone.good(60)
    shared, other = Night("classroom"), Night("classroom")
    assert other.plan is shared.plan
    assert alone.plan is not shared.plan
    other.wet("display-high", "floor-pad")
    for _ in range(600):
        shared.tick()
        other.tick()
    assert repr(shared.memory) == repr(alone.memory)


def test_the_memory_does_not_grow_in_a_hundred_thousand_steps() -> None:
    night = Night()
    sizes, t_s = [], 0.0
    for block in range(100):
        match block % 4:
            case 1:
                night.wet("return-high")
            case 2:
                night.bad("return-flow", "box-watch")
            case 3:
                night.mend()
                night.dry("return-level")
            case _:
                night.mend()
        readings = night.readings()
        for _ in range(1000):
            t_s += TICK_S
            night.memory, _ = step(night.plan, night.memory, Observation(t_s, readings))
        sizes.append(len(pickle.dumps(night.memory)))
    # nothing is added with time, once the pump has been off for two hours and that is told; an
    # occurrence past 255 takes one byte more
    assert max(sizes[80:]) <= max(sizes[:80]) + len(night.plan.rows)
    assert max(sizes[90:]) <= max(sizes[80:90]) + 8
