"""Log lines: what stands on each, what never does, and that nobody waits for them."""

from __future__ import annotations

import io
import json
import logging
import re
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import structlog

from daemon import logs, secrets
from daemon.secrets import Secret, SecretError
from tests.daemon.brokers import eventually

PASSWORD = "correct-horse-7391"
SECRET = Secret("guard", PASSWORD)


@pytest.fixture(autouse=True)
def _leave_no_trace(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    monkeypatch.setattr(logs._stamp, "now", None)
    yield
    structlog.reset_defaults()
    root.handlers[:] = handlers
    root.setLevel(level)


def lines(stream: io.StringIO, count: int) -> list[str]:
    """The first `count` lines, once they are written."""
    assert eventually(lambda: stream.getvalue().count("\n") >= count, 3.0), stream.getvalue()
    return stream.getvalue().splitlines()


def json_lines(stream: io.StringIO, count: int) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines(stream, count)]


def test_each_line_carries_boot_tick_and_times() -> None:
    """JSON: boot id, wall time in ISO 8601 UTC, the tick and its time."""
    stream = io.StringIO()
    logs.configure(json=True, boot="boot-a", stream=stream)
    log = structlog.get_logger("anything")
    log.info("before the first tick")
    logs.at_tick(41, 4.1234)
    log.warning("a tick", row="leak.floor-pad")
    first, second = json_lines(stream, 2)
    assert first["boot"] == "boot-a"
    assert "tick" not in first
    assert (second["tick"], second["t_s"], second["level"]) == (41, 4.123, "warning")
    assert second["row"] == "leak.floor-pad"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z", second["wall"])


def test_lines_of_other_threads_carry_the_tick_too() -> None:
    """The link's and paho's threads know nothing of the loop's context."""
    stream = io.StringIO()
    logs.configure(json=True, boot="boot-a", stream=stream)
    logs.at_tick(7, 0.7)
    thread = threading.Thread(target=lambda: structlog.get_logger().info("elsewhere"))
    thread.start()
    thread.join()
    assert json_lines(stream, 1)[0]["tick"] == 7


def test_console_lines_are_for_people() -> None:
    """One line, with the words and the boot on it."""
    stream = io.StringIO()
    logs.configure(json=False, boot="boot-a", stream=stream)
    structlog.get_logger().info("the return pump runs", flow="60.0 l/min")
    (line,) = lines(stream, 1)
    assert "the return pump runs" in line
    assert "boot-a" in line


def test_what_libraries_log_goes_the_same_way() -> None:
    """asyncio's complaint about a lost task must not vanish, nor stand without a boot."""
    stream = io.StringIO()
    logs.configure(json=True, boot="boot-a", stream=stream)
    logging.getLogger("asyncio").error("Task %s was lost", "x")
    (line,) = json_lines(stream, 1)
    assert (line["event"], line["library"], line["boot"]) == (
        "Task x was lost",
        "asyncio",
        "boot-a",
    )


def test_a_secret_is_masked_before_anything_is_rendered() -> None:
    """Not even the user name is left, however deep the secret stands."""
    stream = io.StringIO()
    logs.configure(json=True, boot="boot-a", stream=stream)
    structlog.get_logger().info("start", secret=SECRET, broker={"port": 1, "keys": [SECRET, 2]})
    (line,) = json_lines(stream, 1)
    assert line["secret"] == "hidden"
    assert line["broker"] == {"port": 1, "keys": ["hidden", 2]}


@pytest.mark.parametrize("as_json", [True, False])
def test_no_line_ever_holds_the_password(as_json: bool) -> None:
    """Given outright, nested, in a message, and in the locals of a traceback."""
    stream = io.StringIO()
    logs.configure(json=as_json, boot="boot-a", stream=stream)
    log = structlog.get_logger()
    log.info("outright", secret=SECRET)
    log.info("nested", settings={"broker": [SECRET, (SECRET,)], "keys": {SECRET}})
    log.info("formatted %s", SECRET)
    log.info(f"in the words {SECRET} {SECRET!r}")
    logging.getLogger("paho").warning("from a library: %s %r", SECRET, SECRET)

    def fails(secret: Secret) -> None:
        hidden = secret.password  # a local that a rich traceback would print
        raise ValueError(f"refused, {len(hidden)} letters")

    try:
        fails(SECRET)
    except ValueError:
        log.exception("failed")
    assert eventually(
        lambda: "16 letters" in stream.getvalue() or "18 letters" in stream.getvalue()
    )
    written = stream.getvalue()
    assert "hidden" in written
    assert PASSWORD not in written
    # the check can fail: the same words are found when they are written
    log.info(PASSWORD)
    assert eventually(lambda: PASSWORD in stream.getvalue())


class _Stuck(io.StringIO):
    """A terminal that somebody has paused."""

    def __init__(self) -> None:
        super().__init__()
        self.go_on = threading.Event()

    def write(self, text: str) -> int:
        self.go_on.wait(10.0)
        return super().write(text)


def test_a_paused_terminal_holds_nobody_up_and_loses_only_what_it_must() -> None:
    """3,000 lines at once into a stream that takes none; afterwards the loss is said."""
    stream = _Stuck()
    logs.configure(json=True, boot="boot-a", stream=stream)
    log = structlog.get_logger()
    worst = 0.0
    for number in range(3000):
        began = time.perf_counter()
        log.info("line", number=number)
        worst = max(worst, time.perf_counter() - began)
    # one wait for the stream would take 10 s; the bound leaves room for a busy machine
    assert worst < 0.5
    stream.go_on.set()
    assert eventually(lambda: "log lines were dropped" in stream.getvalue(), 5.0)
    kept = [
        json.loads(line)["number"] for line in stream.getvalue().splitlines() if "number" in line
    ]
    assert kept == list(range(len(kept)))
    assert logs.MOST_WAITING <= len(kept) <= logs.MOST_WAITING + 1


def test_the_last_lines_are_written_before_a_log_file_is_closed(tmp_path: Path) -> None:
    """What was logged just before the end is there afterwards."""
    path = tmp_path / "log"
    with path.open("w") as file:
        logs.configure(json=True, boot="boot-a", stream=file)
        for number in range(500):
            structlog.get_logger().info("line", number=number)
        logs.finish()
    assert [json.loads(line)["number"] for line in path.read_text().splitlines()] == list(
        range(500)
    )


def test_a_closed_terminal_is_survived() -> None:
    """The guard outlives the shell it was started from."""
    stream = io.StringIO()
    logs.configure(json=True, boot="boot-a", stream=stream)
    stream.close()
    for _ in range(3):
        structlog.get_logger().info("nobody reads this")
    writer = logs.LineWriter(stream)
    writer.msg("nor this")
    writer.close()
    assert writer.dropped == 1


def secret_file(folder: Path, text: str, mode: int = 0o600) -> Path:
    path = folder / "broker.secret"
    path.write_text(text)
    path.chmod(mode)
    return path


def test_a_secret_comes_from_two_lines(tmp_path: Path) -> None:
    """User name, then password; a line end after it or not."""
    for text in (f"guard\n{PASSWORD}\n", f"guard\n{PASSWORD}"):
        assert secrets.find(str(secret_file(tmp_path, text)), {}) == SECRET


def test_the_environment_comes_first(tmp_path: Path) -> None:
    """Both variables, or a sentence about the one that is missing."""
    path = str(secret_file(tmp_path, "other\nother\n"))
    both = {secrets.USER_VARIABLE: "guard", secrets.PASSWORD_VARIABLE: PASSWORD}
    assert secrets.find(path, both) == SECRET
    for variable, value in both.items():
        with pytest.raises(SecretError, match="is not set") as refused:
            secrets.find(path, {variable: value})
        assert PASSWORD not in str(refused.value)


def test_no_secret_is_no_error() -> None:
    """A broker on the same machine may need none."""
    assert secrets.find(None, {}) is None


@pytest.mark.parametrize(
    ("text", "mode", "why"),
    [
        (f"guard\n{PASSWORD}\n", 0o640, "chmod 600"),
        (f"guard\n{PASSWORD}\n", 0o604, "chmod 600"),
        (f"guard\n{PASSWORD}\n", 0o620, "chmod 600"),
        ("guard\n", 0o600, "two lines"),
        ("", 0o600, "two lines"),
        (f"guard\n\n{PASSWORD}\n", 0o600, "two lines"),
        (f"\n{PASSWORD}\n", 0o600, "two lines"),
        (f"guard\n{PASSWORD * 400}\n", 0o600, "two lines"),
    ],
)
def test_files_that_are_refused(tmp_path: Path, text: str, mode: int, why: str) -> None:
    """With a sentence that helps, and without the password in it."""
    with pytest.raises(SecretError, match=why) as refused:
        secrets.find(str(secret_file(tmp_path, text, mode)), {})
    assert PASSWORD not in str(refused.value)


def test_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    """Missing, a folder, or bytes that are no text."""
    with pytest.raises(SecretError, match="cannot be read"):
        secrets.find(str(tmp_path / "none"), {})
    with pytest.raises(SecretError, match="not a plain file"):
        secrets.find(str(tmp_path), {})
    path = secret_file(tmp_path, "")
    path.write_bytes(b"guard\n\xff\xfe\n")
    with pytest.raises(SecretError, match="UTF-8"):
        secrets.find(str(path), {})


def test_no_way_of_printing_a_secret_shows_it() -> None:
    """str, repr, format, an f-string and a collection of them."""
    shown = f"{SECRET} {SECRET!r} {SECRET!s} {[SECRET]}" + str({"s": SECRET}) + format(SECRET)
    assert "guard" in shown
    assert PASSWORD not in shown
