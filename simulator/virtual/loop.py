"""An asyncio event loop whose clock is simulated: it never waits, it goes to what is due next.

What runs on it belongs to strands, one for each thread that a simulated process would have. A
strand can be held up while the others go on, and be killed, so that it never runs again.
"""

from __future__ import annotations

import asyncio
import heapq
from asyncio.events import _set_running_loop
from collections import deque
from collections.abc import Callable, Coroutine, Generator
from contextvars import Context, ContextVar, copy_context
from typing import Any, TypeVar, TypeVarTuple

T = TypeVar("T")
Ts = TypeVarTuple("Ts")


class NothingLeftError(RuntimeError):
    """Everything waits for something, and nothing of it can ever happen."""


class Strand:
    """One thread of a simulated process.

    A call that would block a thread cannot be waited for here in the middle of a turn: it returns
    at once, and what it would have taken is made up for before the strand's next turn.
    """

    def __init__(self, loop: VirtualLoop, name: str) -> None:
        self.name = name
        self.dead = False
        self.context = copy_context()
        self.context.run(_STRAND.set, self)
        self._loop = loop
        self._held: dict[object, float] = {}
        self._parked: list[asyncio.Handle] = []

    @property
    def held(self) -> bool:
        """True while something holds it up."""
        return bool(self._held)

    @property
    def free_at_s(self) -> float:
        """When it can go on, as far as is known [s]; now, if nothing holds it up."""
        return max(self._held.values(), default=self._loop.time())

    def hold(self, why: object, until_s: float) -> None:
        """Let it run nothing until then, or until released; each `why` counts for itself."""
        if until_s > max(self._loop.time(), self._held.get(why, 0.0)):
            self._held[why] = until_s
            self._loop.call_at(until_s, self._release_at, why, until_s, context=self._loop.world)

    def release(self, why: object) -> None:
        """Let it go on, if nothing else holds it up."""
        if self._held.pop(why, None) is not None and not self._held:
            self._loop.take_back(self._parked)
            self._parked = []

    def park(self, handle: asyncio.Handle) -> None:
        """Keep what would have run now; of a dead strand for ever, so that nothing unwinds."""
        self._parked.append(handle)

    def _release_at(self, why: object, until_s: float) -> None:
        if self._held.get(why) == until_s:
            self.release(why)


_STRAND: ContextVar[Strand] = ContextVar("strand")


def current_strand() -> Strand | None:
    """The strand that runs now; None for what belongs to the world and to no process."""
    return _STRAND.get(None)


class VirtualLoop(asyncio.AbstractEventLoop):
    """Runs callbacks in order of time, and those of one moment in the order they were asked for.

    An exception in a callback ends the run: in a simulation it is a mistake, never weather.
    """

    def __init__(self) -> None:
        self.world = Context()  # in which everything runs that belongs to no process
        self._now_s = 0.0
        self._asked = 0
        self._ready: deque[asyncio.Handle] = deque()
        self._timers: list[tuple[float, int, asyncio.TimerHandle]] = []
        self._failure: BaseException | None = None
        self._closed = False

    def time(self) -> float:
        """Virtual time since the loop began [s]."""
        return self._now_s

    # --- asking for things ----------------------------------------------------------------------

    def call_soon(
        self, callback: Callable[[*Ts], object], *args: *Ts, context: Context | None = None
    ) -> asyncio.Handle:
        """Run it at this moment, after all that was asked for earlier."""
        handle = asyncio.Handle(callback, args, self, context)
        self._ready.append(handle)
        return handle

    def call_later(
        self,
        delay: float,
        callback: Callable[[*Ts], object],
        *args: *Ts,
        context: Context | None = None,
    ) -> asyncio.TimerHandle:
        """Run it after so many virtual seconds."""
        return self.call_at(self._now_s + delay, callback, *args, context=context)

    def call_at(
        self,
        when: float,
        callback: Callable[[*Ts], object],
        *args: *Ts,
        context: Context | None = None,
    ) -> asyncio.TimerHandle:
        """Run it when virtual time has come so far."""
        handle = asyncio.TimerHandle(when, callback, args, self, context)
        self._asked += 1
        heapq.heappush(self._timers, (when, self._asked, handle))
        return handle

    def take_back(self, handles: list[asyncio.Handle]) -> None:
        """Run first, and in this order, what was put aside."""
        self._ready.extendleft(reversed(handles))

    def create_future(self) -> asyncio.Future[Any]:
        """A future of this loop."""
        return asyncio.Future(loop=self)

    def create_task(
        self,
        coro: Generator[Any, None, T] | Coroutine[Any, Any, T],
        *,
        name: str | None = None,
        context: Context | None = None,
    ) -> asyncio.Task[T]:
        """A task of this loop, in the strand that asks for it."""
        return asyncio.Task(coro, loop=self, name=name, context=context)

    # --- running ----------------------------------------------------------------------------------

    def run_until_complete(self, future: Any) -> Any:
        """Let virtual time pass until this is done; raises NothingLeftError if it never can be."""
        task = asyncio.ensure_future(future, loop=self)
        _set_running_loop(self)
        try:
            while not task.done():
                self._run_one()
        finally:
            _set_running_loop(None)
        return task.result()

    def _run_one(self) -> None:
        if self._ready:
            handle = self._ready.popleft()
        elif self._timers:
            when, _, handle = heapq.heappop(self._timers)
            if handle.cancelled():
                return
            self._now_s = max(self._now_s, when)
        else:
            raise NothingLeftError("nothing is left that could ever happen")
        if handle.cancelled():
            return
        strand: Strand | None = handle._context.get(_STRAND)  # type: ignore[attr-defined]
        if strand is not None and (strand.dead or strand.held):
            strand.park(handle)
            return
        handle._run()
        if self._failure is not None:
            failure, self._failure = self._failure, None
            raise failure

    def is_running(self) -> bool:
        """True while it runs."""
        return asyncio._get_running_loop() is self

    def is_closed(self) -> bool:
        """True after it was closed."""
        return self._closed

    def close(self) -> None:
        """Forget all that is still to come."""
        self._closed = True
        self._ready.clear()
        self._timers.clear()

    def get_debug(self) -> bool:
        """Never: it would cost, and change what is done."""
        return False

    def call_exception_handler(self, context: dict[str, Any]) -> None:
        """Keep the exception of a callback, to end the run with it."""
        # a killed process leaves tasks that never end: told of when they are thrown away, and right
        if not self._closed and (error := context.get("exception")) is not None:
            self._failure = error

    def _timer_handle_cancelled(self, handle: asyncio.TimerHandle) -> None:
        """Asked by asyncio; it is left out when its time comes."""
