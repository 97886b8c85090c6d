"""Helpers: a running link, and a log that can be read."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import structlog

from daemon import link as link_module
from daemon import wire
from daemon.link import Link
from daemon.secrets import Secret
from rules.site.model import Site
from tests.daemon.decisions import classroom


def recorder() -> tuple[Any, list[dict[str, Any]]]:
    """A logger, and the list in which its lines from INFO up are found."""
    entries: list[dict[str, Any]] = []

    def keep(_logger: object, method: str, event: dict[str, Any]) -> Any:
        entries.append({**event, "level": method})
        raise structlog.DropEvent

    log = structlog.wrap_logger(
        structlog.PrintLogger(),
        processors=[keep],
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
    )
    return log, entries


def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many attempts to connect in little time; the back-off itself has a test of its own."""
    monkeypatch.setattr(wire, "SHORTEST_WAIT_S", 0.05)
    monkeypatch.setattr(wire, "LONGEST_WAIT_S", 0.2)
    monkeypatch.setattr(wire, "MOST_JITTER_S", 0.05)
    monkeypatch.setattr(link_module, "OPEN_AGAIN_S", 0.1)


@contextmanager
def linked(
    port: int,
    site: Site | None = None,
    *,
    boot: str = "boot-a",
    secret: Secret | None = None,
    log: Any = None,
    tls: bool = False,
    host: str = "127.0.0.1",
) -> Iterator[Link]:
    """A link that runs, and is stopped in order."""
    link = Link(
        site or classroom(),
        boot,
        secret,
        host=host,
        port=port,
        tls=tls,
        log=log if log is not None else recorder()[0],
    )
    link.start()
    try:
        yield link
    finally:
        link.stop(3.0)
