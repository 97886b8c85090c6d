"""Leases: on lasts only while it is renewed, whatever holds the loop up."""

from __future__ import annotations

import threading
import time

import pytest

from daemon.lease import Leases
from simulator.library import load_site
from tests.daemon.boards import MemoryBoard

OUTPUTS = ("pump-relay", "top-off-valve", "spare-pump", "sounder", "heartbeat")
PUMP_ON = (True, False, False, False, False)
ALL_OFF = (False,) * 5


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def board() -> MemoryBoard:
    return MemoryBoard(load_site("classroom"))


def test_a_renewed_output_stays_on(board: MemoryBoard) -> None:
    clock = Clock()
    leases = Leases(board, OUTPUTS, clock=clock)
    for _ in range(100):
        clock.now_s += 0.1
        assert leases.dropped() == ALL_OFF
        leases.drive(PUMP_ON)
    assert board.on["pump-relay"]


def test_an_output_not_renewed_drops_by_its_thread(board: MemoryBoard) -> None:
    leases = Leases(board, OUTPUTS, lease_s=0.2)
    leases.start()
    leases.drive(PUMP_ON)
    assert board.on["pump-relay"]
    deadline = time.monotonic() + 5.0
    while board.on["pump-relay"] and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not board.on["pump-relay"], "nobody renewed it and it stayed on"
    leases.close()


def test_without_the_thread_nothing_drops_it(board: MemoryBoard) -> None:
    """The test above rests on the thread and on nothing else."""
    leases = Leases(board, OUTPUTS, lease_s=0.2)
    leases.drive(PUMP_ON)
    time.sleep(0.5)
    assert board.on["pump-relay"]


def test_a_lease_that_ran_out_is_not_renewed_by_the_tick_that_comes_late(
    board: MemoryBoard,
) -> None:
    clock = Clock()
    leases = Leases(board, OUTPUTS, clock=clock)
    leases.drive(PUMP_ON)
    clock.now_s = 5.0  # the process stood still; the tick wakes before the thread does
    leases.drive(PUMP_ON)
    assert not board.on["pump-relay"]
    assert leases.dropped()[0], "the engine must be told, so that it starts in the guarded order"
    assert not leases.dropped()[0], "it is told once"


def test_an_output_that_is_off_has_no_lease_to_lose(board: MemoryBoard) -> None:
    clock = Clock()
    leases = Leases(board, OUTPUTS, clock=clock)
    leases.drive(ALL_OFF)
    clock.now_s = 60.0
    assert leases.dropped() == ALL_OFF


def test_one_broken_output_does_not_keep_the_others_on(board: MemoryBoard) -> None:
    clock = Clock()
    leases = Leases(board, OUTPUTS, clock=clock)
    leases.drive((True, True, False, False, False))
    board.broken.add("pump-relay")
    clock.now_s = 3.0
    leases.dropped()
    assert not board.on["top-off-valve"]


def test_close_lets_everything_go_and_ends_the_thread(board: MemoryBoard) -> None:
    leases = Leases(board, OUTPUTS)
    leases.start()
    leases.drive((True,) * 5)
    leases.close()
    assert not any(board.on.values())
    assert not any(thread.name == "leases" for thread in threading.enumerate())
