"""Processes that play nights side by side, each given the next night when it has done its last.

Results come as they are done, in any order. When the parent is gone, however it went, a worker
ends with the night it is at.
"""

from __future__ import annotations

import multiprocessing as mp
import signal
from collections.abc import Iterable, Iterator
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess

from simulator.campaign.play import Record, Terms, play


class CrewError(Exception):
    """A worker ended by itself; the text is a sentence."""


def _work(terms: Terms, line: Connection) -> None:
    """A worker's whole life: a number in, a record out."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends us
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            line.send(play(terms, line.recv()))


def work(terms: Terms, numbers: Iterable[int], jobs: int) -> Iterator[Record]:
    """Play the nights of these numbers with so many processes; raises CrewError."""
    if jobs == 1:
        for number in numbers:
            yield play(terms, number)
        return
    context = mp.get_context("spawn")
    waiting = iter(numbers)
    workers: dict[Connection, BaseProcess] = {}
    try:
        for _, number in zip(range(jobs), waiting, strict=False):
            ours, theirs = context.Pipe()
            worker: BaseProcess = context.Process(target=_work, args=(terms, theirs), daemon=True)
            worker.start()
            theirs.close()
            workers[ours] = worker
            ours.send(number)
        while workers:
            for line in wait(list(workers)):
                assert isinstance(line, Connection)
                try:
                    record: Record = line.recv()
                except EOFError:
                    workers[line].join()
                    code = workers[line].exitcode
                    raise CrewError(
                        f"a worker process ended by itself (exit code {code}); the nights played "
                        "are kept, and the same command goes on from there"
                    ) from None
                number_next = next(waiting, None)
                if number_next is None:
                    line.close()
                    workers.pop(line).join()
                else:
                    line.send(number_next)
                yield record
    finally:
        for worker in workers.values():
            worker.terminate()
        for worker in workers.values():
            worker.join()
