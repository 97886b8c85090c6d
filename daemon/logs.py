"""Logs: one line an occurrence, with boot id and tick on it, written without holding anybody up."""

from __future__ import annotations

import atexit
import logging
import queue
import sys
import threading
from collections.abc import Mapping
from typing import Any, TextIO

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

from daemon.secrets import Secret

MOST_WAITING = 2000
"""Lines that may wait for a slow terminal or journal; about a minute of a very bad night."""

FLUSH_AT_EXIT_S = 2.0


class _Stamp:
    """The tick and its time, put on every line whichever thread writes it."""

    def __init__(self) -> None:
        self.now: tuple[int, float] | None = None

    def __call__(self, _logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
        if self.now is not None:
            event.setdefault("tick", self.now[0])
            event.setdefault("t_s", round(self.now[1], 3))
        return event


_stamp = _Stamp()


def at_tick(tick: int, t_s: float) -> None:
    """Say which tick it is, for every line from now on; costs one assignment."""
    _stamp.now = (tick, t_s)


class LineWriter:
    """Takes lines at once and writes them from a thread of its own.

    A journal that stalls must not stall the tick, so nothing here waits: when too many lines are
    waiting, the newest are dropped, counted, and the count is written when there is room.
    """

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream
        self._waiting: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self.dropped = 0
        self._thread = threading.Thread(target=self._run, name="weirkeeper-logs", daemon=True)
        self._thread.start()

    def msg(self, message: str) -> None:
        """Take one line."""
        if self._waiting.qsize() >= MOST_WAITING:
            self.dropped += 1
            return
        self._waiting.put(message)

    debug = info = warning = error = critical = fatal = exception = log = warn = msg

    def close(self, timeout_s: float = FLUSH_AT_EXIT_S) -> None:
        """Write what is waiting, for as long as `timeout_s` [s] allows."""
        self._waiting.put(None)
        self._thread.join(timeout_s)

    def _run(self) -> None:
        said = 0
        while (line := self._waiting.get()) is not None:
            self._write(line)
            if self.dropped > said and self._waiting.empty():
                self._write(f"{self.dropped - said} log lines were dropped: the log was too slow")
                said = self.dropped

    def _write(self, line: str) -> None:
        stream = self._stream if self._stream is not None else sys.stderr
        try:
            stream.write(line + "\n")
            stream.flush()
        except (OSError, ValueError):
            # nobody reads any more (a closed terminal); the guard goes on without a log
            self.dropped += 1


_writers: list[LineWriter] = []


def finish() -> None:
    """Write what is waiting; for the end of a process, and before a log file is closed."""
    while _writers:
        _writers.pop().close()


def mask_secrets(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
    """The structlog processor that puts `hidden` in the place of every secret, however deep."""
    return {key: _masked(value) for key, value in event.items()}


def _masked(value: Any) -> Any:
    if isinstance(value, Secret):
        return "hidden"
    if isinstance(value, Mapping):
        return {key: _masked(each) for key, each in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_masked(each) for each in value]
    return value


class _ToStructlog(logging.Handler):
    """Sends what libraries log through the same processors and the same writer."""

    def emit(self, record: logging.LogRecord) -> None:
        structlog.get_logger().log(
            max(record.levelno, logging.DEBUG),
            record.getMessage(),
            library=record.name,
            exc_info=record.exc_info,
        )


def configure(json: bool, boot: str, stream: TextIO | None = None) -> None:
    """Set up logging for the process, to stderr unless told otherwise.

    `json` chooses one JSON object a line instead of text for a terminal. Every line carries the
    boot id, the wall time (ISO 8601, UTC) and, once the loop calls `at_tick`, the tick.
    """
    finish()
    writer = LineWriter(stream)
    _writers.append(writer)

    def add_boot(_logger: WrappedLogger, _method: str, event: EventDict) -> EventDict:
        event["boot"] = boot
        return event

    shared: list[Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True, key="wall"),
        add_boot,
        _stamp,
        mask_secrets,
    ]
    shared += _json_lines() if json else _console_lines()
    structlog.configure(
        processors=shared,
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        logger_factory=lambda *_: writer,
        cache_logger_on_first_use=False,
    )
    logging.basicConfig(level=logging.WARNING, handlers=[_ToStructlog()], force=True)


atexit.register(finish)


def _json_lines() -> list[Processor]:
    # plain text of the exception: the structured form would list local variables, secrets too
    return [structlog.processors.format_exc_info, structlog.processors.JSONRenderer(default=repr)]


def _console_lines() -> list[Processor]:
    return [
        structlog.dev.ConsoleRenderer(
            colors=sys.stderr.isatty(),
            timestamp_key="wall",
            exception_formatter=structlog.dev.plain_traceback,
        )
    ]
