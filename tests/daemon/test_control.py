"""The local socket: who may use it, what it answers, and what it survives."""

from __future__ import annotations

import asyncio
import json
import os
import socket
import stat
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from math import inf
from pathlib import Path
from typing import Any

import pytest
import structlog

from daemon import control
from daemon.control import Control, ControlError, ask
from rules.signals import Command, Event, EventKind, Order, Origin
from tests.daemon.decisions import classroom, decision

SITE = classroom()
Status = Callable[[], dict[str, Any]]


@asynccontextmanager
async def server(path: Path, status: Status = dict) -> AsyncIterator[Control]:
    log = structlog.wrap_logger(structlog.PrintLogger())
    running = Control(path, status, log)
    await running.start()
    try:
        yield running
    finally:
        await running.stop()


async def asked(path: Path, request: dict[str, Any]) -> dict[str, Any]:
    return await asyncio.to_thread(ask, path, request)


async def raw(path: Path, line: bytes, *, end: bool = False) -> dict[str, Any]:
    """Send bytes as they are and read the answer."""
    reader, writer = await asyncio.open_unix_connection(str(path))
    writer.write(line)
    if end:
        writer.write_eof()
    answer: dict[str, Any] = json.loads(await reader.readline())
    writer.close()
    return answer


async def obey(running: Control, kind: EventKind, text: str) -> Command:
    """Stand for the tick: collect one order and answer it as the engine does."""
    while not (commands := running.commands()):
        await asyncio.sleep(0.005)
    (command,) = commands
    running.hand_over(decision(SITE, Event(kind, 1.0, command.code, text)))
    return command


async def test_status_is_what_the_guard_says(tmp_path: Path) -> None:
    """Nested values arrive; what JSON cannot hold becomes null."""
    status = {"pumps": {"return-pump": "running"}, "spill_s": inf, "levels": (0.1, None)}
    async with server(tmp_path / "s", lambda: status):
        answer = await asked(tmp_path / "s", {"order": "status"})
    assert answer["accepted"] is True
    assert answer["status"] == {
        "pumps": {"return-pump": "running"},
        "spill_s": None,
        "levels": [0.1, None],
    }


@pytest.mark.parametrize("kind", [EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED])
async def test_an_order_is_answered_by_the_engine(tmp_path: Path, kind: EventKind) -> None:
    """The answer is the engine's event, in its words."""
    async with server(tmp_path / "s") as running:
        request = {"order": "acknowledge", "code": "4821"}
        answer, command = await asyncio.gather(
            asked(tmp_path / "s", request), obey(running, kind, "the engine's words")
        )
    assert command == Command(Order.ACKNOWLEDGE, "4821", Origin.LOCAL)
    assert answer == {
        "accepted": kind is EventKind.ORDER_OBEYED,
        "sentence": "The engine's words.",
    }


async def test_a_reset_needs_no_code(tmp_path: Path) -> None:
    """It is for everything that is latched."""
    async with server(tmp_path / "s") as running:
        answer, command = await asyncio.gather(
            asked(tmp_path / "s", {"order": "reset"}),
            obey(running, EventKind.ORDER_OBEYED, "Reset"),
        )
    assert command == Command(Order.RESET, "all", Origin.LOCAL)
    assert answer["accepted"] is True


async def test_an_order_is_given_to_the_engine_once(tmp_path: Path) -> None:
    """Collected by one tick, it is not there for the next."""
    async with server(tmp_path / "s") as running:
        waiting = asyncio.create_task(asked(tmp_path / "s", {"order": "reset"}))
        await obey(running, EventKind.ORDER_REFUSED, "nothing is latched")
        assert running.commands() == ()
        assert (await waiting)["accepted"] is False


async def test_a_silent_engine_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks is told after a while, and the order is not kept waiting for an answer."""
    monkeypatch.setattr(control, "ANSWER_S", 0.1)
    async with server(tmp_path / "s") as running:
        answer = await asked(tmp_path / "s", {"order": "acknowledge", "code": "4821"})
        assert answer["accepted"] is False
        assert "did not answer" in answer["sentence"]
        # an answer that comes too late hurts nobody
        running.hand_over(decision(SITE, Event(EventKind.ORDER_OBEYED, 1.0, "4821", "late")))


async def test_orders_do_not_pile_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With no tick to collect them, ten wait and the others are refused."""
    monkeypatch.setattr(control, "ANSWER_S", 0.3)
    async with server(tmp_path / "s") as running:
        line = b'{"order": "acknowledge", "code": "%d"}\n'
        answers = await asyncio.gather(*(raw(tmp_path / "s", line % n) for n in range(14)))
        assert sum("Too many orders" in each["sentence"] for each in answers) == 4
        assert len(running.commands()) == 10


@pytest.mark.parametrize(
    "line",
    [
        b"\n",
        b"status\n",
        b"[]\n",
        b'"status"\n',
        b"{}\n",
        b'{"order": "open"}\n',
        b'{"order": ["status"]}\n',
        b'{"order": "acknowledge"}\n',
        b'{"order": "acknowledge", "code": 4821}\n',
        b'{"order": "acknowledge", "code": ""}\n',
        b'{"order": "acknowledge", "code": "../../etc"}\n',
        b'{"order": "reset", "code": null}\n',
        b"\xff\xfe\x00\n",
        b"[" * 4000 + b"\n",
        b'{"order": "status"' + b" " * 5000 + b"}\n",
    ],
)
async def test_malformed_requests_get_a_sentence(tmp_path: Path, line: bytes) -> None:
    """Never an exception, never an order to the engine; the next request is served."""
    async with server(tmp_path / "s") as running:
        answer = await raw(tmp_path / "s", line)
        assert answer["accepted"] is False
        assert answer["sentence"].endswith(".")
        assert running.commands() == ()
        assert (await raw(tmp_path / "s", b'{"order": "status"}\n'))["accepted"] is True


async def test_somebody_who_hangs_up_is_no_trouble(tmp_path: Path) -> None:
    """Half a line and gone; many of them; then a proper request."""
    async with server(tmp_path / "s"):
        for _ in range(40):
            with socket.socket(socket.AF_UNIX) as rude:
                rude.connect(str(tmp_path / "s"))
                rude.sendall(b'{"ord')
            await asyncio.sleep(0)
        assert (await asked(tmp_path / "s", {"order": "status"}))["accepted"] is True


async def test_the_silent_cannot_shut_others_out_for_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Connections that say nothing are ended, so their places come free."""
    monkeypatch.setattr(control, "REQUEST_S", 0.2)
    async with server(tmp_path / "s"):
        idle = [await asyncio.open_unix_connection(str(tmp_path / "s")) for _ in range(16)]
        full = await raw(tmp_path / "s", b'{"order": "status"}\n')
        assert "Too many" in full["sentence"]
        await asyncio.sleep(0.4)
        assert (await raw(tmp_path / "s", b'{"order": "status"}\n'))["accepted"] is True
        for _, writer in idle:
            writer.close()


async def test_a_status_that_fails_is_said_and_logged(tmp_path: Path) -> None:
    """A guard in trouble must still answer orders."""

    def fails() -> dict[str, Any]:
        raise RuntimeError("no figures")

    logged: list[str] = []
    log: Any = structlog.wrap_logger(
        structlog.PrintLogger(), processors=[lambda _l, m, e: logged.append(m) or str(e)]
    )
    running = Control(tmp_path / "s", fails, log)
    await running.start()
    answer = await asked(tmp_path / "s", {"order": "status"})
    await running.stop()
    assert answer["accepted"] is False
    assert logged == ["error"]


async def test_the_socket_is_for_its_owner_alone(tmp_path: Path) -> None:
    """Mode 0600 whatever the umask, and gone after the stop."""
    before = os.umask(0)
    try:
        async with server(tmp_path / "s"):
            assert stat.S_IMODE((tmp_path / "s").stat().st_mode) == 0o600
    finally:
        os.umask(before)
    assert not (tmp_path / "s").exists()


async def test_a_dead_guards_socket_is_replaced(tmp_path: Path) -> None:
    """After a kill the file is still there and nobody answers."""
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(tmp_path / "s"))
        dead.listen()
    async with server(tmp_path / "s"):
        assert (await asked(tmp_path / "s", {"order": "status"}))["accepted"] is True


async def test_a_living_guards_socket_is_left_alone(tmp_path: Path) -> None:
    """Two guards on one pump would fight; the second does not start."""
    async with server(tmp_path / "s"):
        second = Control(tmp_path / "s", dict, structlog.get_logger())
        with pytest.raises(ControlError, match="Another guard"):
            await second.start()
        assert (await asked(tmp_path / "s", {"order": "status"}))["accepted"] is True


async def test_a_file_in_the_way_is_not_deleted(tmp_path: Path) -> None:
    """Only a socket is ever removed."""
    (tmp_path / "s").write_text("precious")
    with pytest.raises(ControlError, match="not a socket"):
        await Control(tmp_path / "s", dict, structlog.get_logger()).start()
    assert (tmp_path / "s").read_text() == "precious"


async def test_a_folder_that_is_not_there_gets_a_sentence(tmp_path: Path) -> None:
    """The path is named."""
    with pytest.raises(ControlError, match="cannot be opened"):
        await Control(tmp_path / "none" / "s", dict, structlog.get_logger()).start()


async def test_those_who_wait_are_told_of_the_stop(tmp_path: Path) -> None:
    """Nobody is left hanging."""
    async with server(tmp_path / "s") as running:
        waiting = asyncio.create_task(asked(tmp_path / "s", {"order": "reset"}))
        while not running.commands():
            await asyncio.sleep(0.005)
    assert "stopping" in (await waiting)["sentence"]


def test_no_guard_gets_a_sentence(tmp_path: Path) -> None:
    """At the command line, without a traceback."""
    with pytest.raises(ControlError, match="No guard is running"):
        ask(tmp_path / "s", {"order": "status"})


def test_a_guard_that_does_not_answer_gets_a_sentence(tmp_path: Path) -> None:
    """A stopped process accepts in its backlog and says nothing."""
    with socket.socket(socket.AF_UNIX) as silent:
        silent.bind(str(tmp_path / "s"))
        silent.listen()
        began = time.monotonic()
        with pytest.raises(ControlError, match="did not answer"):
            ask(tmp_path / "s", {"order": "status"}, timeout_s=0.2)
        assert time.monotonic() - began < 2.0
