"""What both ways of `weirkeeper run` need: a broker link by its name, and a place for the log."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import structlog

from daemon import logs
from daemon.errors import InputError
from daemon.flight import Records
from daemon.link import Link
from daemon.recording.archive import Limits
from daemon.secrets import SecretError, find
from rules.site.model import Site


def host_and_port(text: str) -> tuple[str, int]:
    """HOST or HOST:PORT; raises InputError with a sentence."""
    host, colon, port = text.rpartition(":") if text.count(":") == 1 else (text, "", "")
    if not colon:
        return text, 1883
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise InputError(f'--broker {text}: write it like "localhost:1883"')
    return host, int(port)


def make_link(site: Site, boot: str, broker: str) -> Link | None:
    """The link to the broker that `broker` names; None for "none", or where a site has none."""
    log = structlog.get_logger("link")
    secret_file = site.broker.secret_file if site.broker and broker == "site" else None
    try:
        secret = find(secret_file, os.environ)
    except SecretError as error:
        raise InputError(str(error)) from None
    if broker == "none" or (broker == "site" and site.broker is None):
        return None
    if broker == "site":
        return Link(site, boot, secret, log=log)
    host, port = host_and_port(broker)
    return Link(site, boot, secret, host=host, port=port, tls=False, log=log)


def make_records(
    options: argparse.Namespace,
    state: Path | None,
    site_text: str,
    source: str,
    *,
    story: str = "",
    hastened: bool = False,
) -> Records | None:
    """What is recorded, and where; None, and a line in the log, where nothing is."""
    log = structlog.get_logger("records")
    if state is None or options.recordings == 0:
        why = "--recordings 0" if state is not None else "no --state"
        log.info("nothing is recorded", why=why)
        return None
    limits = Limits() if options.recordings is None else Limits(bytes=options.recordings)
    log.info("the last minutes before a trip, and every day, are recorded", folder=str(state))
    return Records(state, site_text, source, story, hastened=hastened, limits=limits)


@contextlib.contextmanager
def log_to(path: str | None, *, json: bool, boot: str) -> Iterator[None]:
    """Log to a file, or to standard error, until left; every line is written by then."""
    with contextlib.ExitStack() as stack:
        stream: TextIO = sys.stderr
        if path is not None:
            try:
                stream = stack.enter_context(Path(path).open("a", encoding="utf-8"))
            except OSError as error:
                sentence = f"--log-file {path}: cannot be written: {error.strerror}"
                raise InputError(sentence) from None
        stack.callback(logs.finish)
        logs.configure(json, boot, stream)
        yield
