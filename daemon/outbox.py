"""Messages that wait for the broker: a bounded queue that gives up the least important first."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

MOST_WAITING = 1000
"""Messages kept while the broker is away; at 2 kB each they take 2 MB."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """One message in the queue; `rank` is 0 for news, else the priority of the alert."""

    rank: int
    order: int
    payload: bytes


class Outbox:
    """First in, first out; when full, the oldest of the lowest rank goes, and is counted."""

    def __init__(self, most: int = MOST_WAITING) -> None:
        self._most = most
        self._next = 0
        self._ranks: dict[int, deque[Waiting]] = {}
        self.alerts_lost = 0
        self.news_lost = 0

    def __len__(self) -> int:
        return sum(map(len, self._ranks.values()))

    def put(self, rank: int, payload: bytes) -> None:
        """Queue one message."""
        self._ranks.setdefault(rank, deque()).append(Waiting(rank, self._next, payload))
        self._next += 1
        if len(self) > self._most:
            lowest = min(key for key, queue in self._ranks.items() if queue)
            self._ranks[lowest].popleft()
            if lowest > 0:
                self.alerts_lost += 1
            else:
                self.news_lost += 1

    def head(self) -> Waiting | None:
        """The oldest message, left where it is; None when nothing waits."""
        heads = [queue[0] for queue in self._ranks.values() if queue]
        return min(heads, key=lambda waiting: waiting.order, default=None)

    def remove_head(self) -> None:
        """Take the oldest message out, once somebody else is answerable for it."""
        head = self.head()
        if head is not None:
            self._ranks[head.rank].popleft()

    def alerts(self) -> int:
        """How many of the waiting messages are alerts."""
        return sum(len(queue) for rank, queue in self._ranks.items() if rank > 0)
