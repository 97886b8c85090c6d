"""Orders that come over the broker: checked, passed to the engine once, and always answered."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from daemon import messages
from rules.signals import Command, Event, EventKind, Order
from rules.site.model import Person

MOST_ORDERS = 10
"""Orders that may wait for the engine at once; more are refused."""

MOST_REPLIES = 20
"""Replies that may wait for the broker; the oldest go first."""

MOST_OBEYED_KEPT = 256

LET_IN = frozenset({Order.ACKNOWLEDGE, Order.SHELVE})
"""Orders that may come over the broker. Whoever lets in more has `messages.read_order` read them,
and `rules` obey them from there: both refuse by themselves what moves a pump."""

ORDER_S = 10.0
"""How long an order waits for the engine before its sender is told that nothing happened [s]."""


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to one order; `order` is the order as it may be shown."""

    accepted: bool
    sentence: str
    order: str


@dataclass(frozen=True, slots=True)
class _Asked:
    command: Command
    shown: str
    since_s: float


class Orders:
    """Orders of one site. `commands` is for the tick; the rest belongs to the link's worker."""

    def __init__(self, people: Mapping[str, Person], let_in: Collection[Order] = LET_IN) -> None:
        self._people = people
        self._let_in = let_in
        self._for_the_tick: deque[Command] = deque()
        self._asked: list[_Asked] = []
        self._obeyed: deque[str] = deque(maxlen=MOST_OBEYED_KEPT)
        self.replies: deque[Reply] = deque(maxlen=MOST_REPLIES)

    def commands(self) -> tuple[Command, ...]:
        """The orders that came since the last call."""
        found = []
        while self._for_the_tick:
            found.append(self._for_the_tick.popleft())
        return tuple(found)

    def arrive(
        self, payload: bytes, *, retained: bool, open_codes: Collection[str], now_s: float
    ) -> None:
        """Take one payload from the command topic.

        `open_codes` still wait for an answer: one of them is no repetition, even if the same
        digits were obeyed earlier in a long night.
        """
        order = messages.read_order(
            payload, retained=retained, people=self._people, let_in=self._let_in
        )
        shown = messages.echo(payload)
        if isinstance(order, messages.Refusal):
            self._refuse(order.sentence, shown)
        elif any(asked.command.code == order.code for asked in self._asked):
            self._refuse("This order is on its way already.", shown)
        elif order.code in self._obeyed and order.code not in open_codes:
            self._refuse("This order has been obeyed already.", shown)
        elif len(self._asked) >= MOST_ORDERS:
            self._refuse("Too many orders are waiting; try again in a moment.", shown)
        else:
            self._asked.append(_Asked(order, shown, now_s))
            self._for_the_tick.append(order)

    def settle(self, event: Event) -> None:
        """Pass on the engine's answer, if this event is one."""
        for asked in self._asked:
            if messages.answers(event, asked.command):
                self._asked.remove(asked)
                obeyed = event.kind is EventKind.ORDER_OBEYED
                if obeyed:
                    self._obeyed.append(asked.command.code)
                self.replies.append(Reply(obeyed, messages.sentence(event.text), asked.shown))
                return

    def forget(self, now_s: float) -> None:
        """Give up orders that the engine has left unanswered."""
        for asked in [each for each in self._asked if now_s - each.since_s > ORDER_S]:
            self._asked.remove(asked)
            self._refuse("The guard took the order but has not answered it.", asked.shown)

    def _refuse(self, sentence: str, shown: str) -> None:
        self.replies.append(Reply(False, sentence, shown))
