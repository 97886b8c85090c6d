"""The plant shares nothing with the rules but the site file and the words: it must be able to
prove them wrong."""

from __future__ import annotations

import ast
from importlib.resources import files
from pathlib import Path

ALLOWED = ("rules.site", "rules.signals", "daemon.ports", "daemon.guard", "daemon.pins")


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
        for name in _imports(source.read_text()):
            if name.split(".")[0] in ("rules", "daemon"):
                assert name.startswith(ALLOWED), f"{source.name} imports {name}"


def test_the_physics_know_no_guard() -> None:
    for path in Path(str(files("simulator") / "water")).glob("*.py"):
        source = path.read_text()
        assert not any(found.startswith("daemon") for found in _imports(source))
