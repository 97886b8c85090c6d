"""The local way in: a Unix socket at the guard, for status and for the orders of a person there.

One line of JSON each way, then the connection ends: `{"order": "status"}`,
`{"order": "acknowledge", "code": "4821"}`, `{"order": "reset"}`,
`{"order": "pause", "kind": "feeding", "for_s": 600, "pump": "return-pump"}` (the last two where
somebody says so), `{"order": "end-pause"}`, `{"order": "shelve", "code": "4821", "for_s": 3600}`,
`{"order": "unshelve", "code": "4821"}`, or `{"order": "out-of-service", "thing": "box-watch"}` and
`in-service` after it. Every answer holds `accepted` and `sentence`; the
answer to `status` holds `status` as well.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import os
import re
import socket
import stat
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from structlog.typing import FilteringBoundLogger

from daemon.messages import answers, sentence
from rules.signals import AskedPause, AskedShelf, Command, Decision, EventKind, Order, Origin

LONGEST_REQUEST_BYTES = 4096
MOST_CONNECTIONS = 16
MOST_ORDERS = 10

REQUEST_S = 5.0
"""How long somebody may take to say what they want, or to read the answer [s]."""

ANSWER_S = 2.0
"""How long an order waits for the engine [s]; it answers at the next tick or it is not well."""

EVERYTHING = "all"
"""What stands in the place of a code in a reset."""

_CODE = re.compile(r"[0-9A-Za-z]{1,16}", re.ASCII)
_THING = re.compile(r"[a-z0-9.-]{1,81}", re.ASCII)
_ID = re.compile(r"[a-z0-9-]{1,40}", re.ASCII)

Answer = dict[str, Any]


class ControlError(Exception):
    """The guard cannot be spoken to, or its socket not be opened; the text is for people."""


class Control:
    """The server side; everything here runs in the loop's own thread, so nothing needs a lock."""

    def __init__(
        self, path: Path, status: Callable[[], Mapping[str, object]], log: FilteringBoundLogger
    ) -> None:
        self._path = path
        self._status = status
        self._log = log
        self._server: asyncio.Server | None = None
        self._connections = 0
        self._orders: deque[Command] = deque()
        self._waiting: list[tuple[Command, asyncio.Future[Answer]]] = []

    async def start(self) -> None:
        """Open the socket, for the guard's own user alone; replace one that nobody answers."""
        _clear_stale(self._path)
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            # before bind, so that there is no moment at which others could connect (Linux)
            os.fchmod(listener.fileno(), 0o600)
            listener.bind(str(self._path))
        except OSError as error:
            listener.close()
            raise ControlError(
                f"The socket {self._path} cannot be opened: {error.strerror or error}."
            ) from None
        self._server = await asyncio.start_unix_server(
            self._serve, sock=listener, limit=LONGEST_REQUEST_BYTES
        )

    async def stop(self) -> None:
        """Close the socket and remove it."""
        if self._server is None:
            return
        self._server.close()
        self._server = None
        self._path.unlink(missing_ok=True)
        for _, future in self._waiting:
            if not future.done():
                future.set_result(_answer(False, "The guard is stopping."))
        self._waiting.clear()

    def commands(self) -> tuple[Command, ...]:
        """The orders that came since the last call, for the engine."""
        orders = tuple(self._orders)
        self._orders.clear()
        return orders

    def hand_over(self, decision: Decision) -> None:
        """Give the engine's answers to those who wait for them."""
        if not self._waiting:
            return
        for event in decision.events:
            for pair in self._waiting:
                command, future = pair
                if answers(event, command) and not future.done():
                    future.set_result(
                        _answer(event.kind is EventKind.ORDER_OBEYED, sentence(event.text))
                    )
                    self._waiting.remove(pair)
                    break

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._connections += 1
        try:
            writer.write(await self._answer_to(reader))
            await asyncio.wait_for(writer.drain(), REQUEST_S)
        except (OSError, TimeoutError):
            # whoever asked has gone; there is nobody left to tell
            self._log.debug("a connection to the control socket ended early")
        finally:
            self._connections -= 1
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _answer_to(self, reader: asyncio.StreamReader) -> bytes:
        if self._connections > MOST_CONNECTIONS:
            return _line(_answer(False, "Too many are asking at once; try again."))
        try:
            line = await asyncio.wait_for(reader.readline(), REQUEST_S)
        except ValueError:
            return _line(_answer(False, f"A request has at most {LONGEST_REQUEST_BYTES} bytes."))
        except TimeoutError:
            return _line(_answer(False, "No request came."))
        try:
            request = json.loads(line)
        except (ValueError, RecursionError):
            return _line(_answer(False, "A request is one line of JSON."))
        if not isinstance(request, dict):
            return _line(_answer(False, "A request is a JSON object."))
        try:
            return _line(await self._obey(request))
        except Exception:
            # the status of a guard in trouble may be what fails; say so and keep the door open
            self._log.exception("a request at the control socket failed")
            return _line(_answer(False, "The guard failed to answer; its log says why."))

    async def _obey(self, request: dict[str, Any]) -> Answer:
        order = request.get("order")
        if order == "status":
            return {**_answer(True, "The guard is running."), "status": dict(self._status())}
        command = _command(request)
        if isinstance(command, str):
            return _answer(False, command)
        if max(len(self._waiting), len(self._orders)) >= MOST_ORDERS:
            return _answer(False, "Too many orders are waiting; try again.")
        future: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        pair = (command, future)
        self._waiting.append(pair)
        self._orders.append(command)
        try:
            return await asyncio.wait_for(future, ANSWER_S)
        except TimeoutError:
            return _answer(
                False, f"The guard took the order but did not answer within {ANSWER_S:.0f} s."
            )
        finally:
            if pair in self._waiting:
                self._waiting.remove(pair)


class _WrongError(ValueError):
    """A request that is no order; the text is a sentence of what is wrong with it."""


def _command(request: Mapping[str, Any]) -> Command | str:
    """The order in a request for the engine, or a sentence of what is wrong with it."""
    order = request.get("order")
    try:
        match order:
            case Order.ACKNOWLEDGE | Order.UNSHELVE:
                code = _code(request.get("code"))
            case Order.RESET:  # for everything that is latched, it needs no code
                code = _code(request.get("code", EVERYTHING))
            case Order.PAUSE:
                code = _pause(request).text
            case Order.END_PAUSE:
                code = EVERYTHING
            case Order.SHELVE:
                code = AskedShelf(_code(request.get("code")), _seconds(request, "shelf")).text
            case Order.OUT_OF_SERVICE | Order.IN_SERVICE:
                code = _thing(request.get("thing"))
            case _:
                known = ", ".join(f'"{each}"' for each in ("status", *Order))
                return f"The order must be one of {known}."
    except _WrongError as wrong:
        return str(wrong)
    return Command(Order(order), code, Origin.LOCAL)


def _code(given: object) -> str:
    if not isinstance(given, str) or not _CODE.fullmatch(given):
        raise _WrongError('Give the code of the alert as text, like "4821".')
    return given


def _thing(given: object) -> str:
    if not isinstance(given, str) or not _THING.fullmatch(given):
        raise _WrongError("Give a sensor by its id in the site file, or a row as check prints it.")
    return given


def _seconds(request: Mapping[str, Any], what: str) -> float | None:
    lasts_s = request.get("for_s")
    if lasts_s is not None and not _is_number(lasts_s):
        raise _WrongError(f"Give the length of the {what} as a number of seconds.")
    return None if lasts_s is None else float(lasts_s)


def _pause(request: Mapping[str, Any]) -> AskedPause:
    kind, pump = request.get("kind"), request.get("pump", "")
    if not isinstance(kind, str) or not _ID.fullmatch(kind):
        raise _WrongError('Give the kind of the pause as text, like "feeding".')
    if not isinstance(pump, str) or (pump and not _ID.fullmatch(pump)):
        raise _WrongError("Give the pump by its id in the site file.")
    return AskedPause(kind, _seconds(request, "pause"), pump)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _answer(accepted: bool, text: str) -> Answer:
    return {"accepted": accepted, "sentence": text}


def _line(answer: Answer) -> bytes:
    return json.dumps(_plain(answer), allow_nan=False).encode() + b"\n"


def _plain(value: object) -> object:
    """A value as JSON can hold it: infinite and unknown numbers become null."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    raise TypeError(f"a status cannot hold a {type(value).__name__}")


def _clear_stale(path: Path) -> None:
    """Remove a socket that a dead guard left; refuse when somebody answers there."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise ControlError(f"{path} is in the way: it is not a socket, so it was left alone.")
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
        caller.settimeout(1.0)
        try:
            caller.connect(str(path))
        except ConnectionRefusedError:
            path.unlink(missing_ok=True)
            return
        except OSError as error:
            raise ControlError(f"The socket {path} cannot be tried: {error}.") from None
    raise ControlError(f"Another guard answers at {path}; stop it first.")


def ask(path: Path, request: Mapping[str, object], timeout_s: float = 10.0) -> Answer:
    """Put one request to the running guard and return its answer; for the command line.

    Raises ControlError, with a sentence, when no guard answers within `timeout_s` [s].
    """
    line = json.dumps(dict(request)).encode() + b"\n"
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
            caller.settimeout(timeout_s)
            caller.connect(str(path))
            caller.sendall(line)
            with caller.makefile("rb") as file:
                reply = json.loads(file.readline())
    except (FileNotFoundError, ConnectionRefusedError):
        raise ControlError(f"No guard is running at {path}.") from None
    except PermissionError:
        raise ControlError(
            f"The socket {path} belongs to another user; ask as the guard's own user or as root."
        ) from None
    except TimeoutError:
        raise ControlError(
            f"The guard at {path} did not answer within {timeout_s:.0f} s."
        ) from None
    except (OSError, ValueError) as error:
        raise ControlError(f"The guard at {path} gave no proper answer: {error}.") from None
    if not isinstance(reply, dict):
        raise ControlError(f"The guard at {path} gave no proper answer.")
    return reply
