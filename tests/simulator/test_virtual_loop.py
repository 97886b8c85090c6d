"""The event loop under virtual time: it goes to what is due, and never waits."""

from __future__ import annotations

import asyncio
import time

import pytest

from simulator.virtual.loop import NothingLeftError, Strand, VirtualLoop, current_strand


@pytest.fixture
def loop() -> VirtualLoop:
    return VirtualLoop()


def test_a_year_passes_in_no_time(loop: VirtualLoop) -> None:
    async def sleep() -> float:
        await asyncio.sleep(365 * 86400.0)
        return asyncio.get_running_loop().time()

    began_s = time.monotonic()
    assert loop.run_until_complete(sleep()) == 365 * 86400.0
    assert time.monotonic() - began_s < 1.0


def test_what_is_due_together_runs_in_the_order_it_was_asked_for(loop: VirtualLoop) -> None:
    ran: list[int] = []
    for number in range(50):
        loop.call_at(5.0 if number % 2 else 3.0, ran.append, number)

    async def wait() -> None:
        await asyncio.sleep(6.0)

    loop.run_until_complete(wait())
    assert ran == [*range(0, 50, 2), *range(1, 50, 2)]


def test_waiting_with_a_limit_ends_at_the_limit(loop: VirtualLoop) -> None:
    async def wait() -> float:
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(asyncio.Event().wait(), 7.5)
        return loop.time()

    assert loop.run_until_complete(wait()) == 7.5


def test_what_can_never_happen_is_said_and_not_waited_for(loop: VirtualLoop) -> None:
    async def wait() -> None:
        await asyncio.Event().wait()

    with pytest.raises(NothingLeftError):
        loop.run_until_complete(wait())


def test_a_mistake_in_a_callback_ends_the_run(loop: VirtualLoop) -> None:
    loop.call_later(1.0, lambda: 1 // 0)

    async def wait() -> None:
        await asyncio.sleep(2.0)

    with pytest.raises(ZeroDivisionError):
        loop.run_until_complete(wait())
    assert loop.time() == 1.0


def ticking(loop: VirtualLoop, strand: Strand, ran: list[float], unwound: list[str]) -> None:
    """Let a strand note the time every second."""

    async def tick() -> None:
        try:
            while True:
                assert current_strand() is strand
                ran.append(round(loop.time(), 6))
                await asyncio.sleep(1.0)
        finally:
            unwound.append("unwound")

    strand.context.run(loop.create_task, tick())


def until(loop: VirtualLoop, t_s: float) -> None:
    """Let time pass."""

    async def wait() -> None:
        await asyncio.sleep(t_s - loop.time())

    loop.run_until_complete(wait())


def test_a_strand_that_is_held_up_goes_on_after_it_and_others_meanwhile(loop: VirtualLoop) -> None:
    held, other = Strand(loop, "held"), Strand(loop, "other")
    ran: list[float] = []
    others: list[float] = []
    ticking(loop, held, ran, [])
    ticking(loop, other, others, [])
    until(loop, 2.5)
    held.hold("a disk", 7.2)
    until(loop, 9.5)
    assert ran == [0.0, 1.0, 2.0, 7.2, 8.2, 9.2]
    assert others == [float(n) for n in range(10)]


def test_a_strand_goes_on_once_nothing_holds_it_any_more(loop: VirtualLoop) -> None:
    strand = Strand(loop, "main")
    ran: list[float] = []
    ticking(loop, strand, ran, [])
    until(loop, 0.5)
    strand.hold("a disk", 3.3)
    strand.hold("a thread", 6.6)
    until(loop, 4.0)
    assert ran == [0.0]
    strand.release("a thread")
    until(loop, 5.5)
    assert ran == [0.0, 4.0, 5.0]


def test_a_killed_strand_never_runs_again_and_nothing_of_it_is_unwound(loop: VirtualLoop) -> None:
    """A process that is killed runs no `finally`: nothing is switched off, nothing said."""
    strand = Strand(loop, "main")
    ran: list[float] = []
    unwound: list[str] = []
    ticking(loop, strand, ran, unwound)
    until(loop, 2.5)
    strand.dead = True
    until(loop, 100.0)
    assert ran == [0.0, 1.0, 2.0]
    assert unwound == []
