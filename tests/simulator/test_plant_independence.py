"""The plant shares nothing with the rules but the site file and the words: it must be able to
prove them wrong."""

from __future__ import annotations

import ast
from importlib.resources import files

ALLOWED = ("rules.site", "rules.signals", "daemon.ports", "daemon.guard", "daemon.pins")
PHYSICS = ("build", "drains", "draw", "flows", "lift", "outside", "plant", "settling", "shapes")


def _imports(source: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
    return found


def test_the_simulator_takes_only_words_from_the_rules() -> None:
    sources = [f for f in files("simulator").iterdir() if f.name.endswith(".py")]
    assert len(sources) > 20
    for source in sources:
        for name in _imports(source.read_text()):
            if name.split(".")[0] in ("rules", "daemon"):
                assert name.startswith(ALLOWED), f"{source.name} imports {name}"


def test_the_physics_know_no_guard() -> None:
    for name in PHYSICS:
        source = (files("simulator") / f"{name}.py").read_text()
        assert not any(found.startswith("daemon") for found in _imports(source))
