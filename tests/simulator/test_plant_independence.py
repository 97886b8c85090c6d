"""The plant shares nothing with the rules but the site file and the words: it must be able to
prove them wrong."""

from __future__ import annotations

import ast
from importlib.resources import files
from pathlib import Path

WORDS = ("rules.site", "rules.signals", "daemon.ports")
"""What every part of the simulator may know: the site file, and what is said across the pins."""

BESIDES = {
    "signals": ("daemon.pins",),
    "story": ("rules.orders",),  # what people may say
    # it runs a guard, and hands on to the next what the last one kept
    "night": ("daemon.guard", "daemon.pins", "daemon.recording", "rules.memory"),
    # it holds the rules' own detectors against water of its own making
    "detection": ("rules.engine", "rules.observer", "rules.plan"),
    # there the daemon itself runs, all of it but its command line
    "virtual": ("daemon", "rules.memory"),
}
"""What a folder may know besides; none of it computes water."""

NEVER = ("daemon.commands", "rules.hydraulics", "rules.estimate", "rules.assessment")


def _imports(source: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
    return found


def test_the_simulator_takes_only_words_from_the_rules() -> None:
    root = Path(str(files("simulator")))
    sources = list(root.rglob("*.py"))
    assert len(sources) > 20
    for source in sources:
        folder = source.relative_to(root).parts[0]
        allowed = WORDS + BESIDES.get(folder, ())
        for name in _imports(source.read_text()):
            if name.split(".")[0] in ("rules", "daemon"):
                assert name.startswith(allowed), f"{source.name} imports {name}"
                assert not name.startswith(NEVER), f"{source.name} imports {name}"


def test_the_physics_know_no_guard() -> None:
    for path in Path(str(files("simulator") / "water")).glob("*.py"):
        source = path.read_text()
        assert not any(found.startswith("daemon") for found in _imports(source))


def test_a_running_guard_knows_no_simulator() -> None:
    """Only the command line, which starts drills, does."""
    root = Path(str(files("daemon")))
    for path in root.rglob("*.py"):
        if path.relative_to(root).parts[0] not in ("commands", "campaign", "recording"):
            found = _imports(path.read_text())
            assert not any(name.startswith("simulator") for name in found), path.name
