"""One tick, whole: read, step, drive. What runs it, and how fast time goes, is not its business."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from daemon.lease import Leases
from daemon.ports import Board
from daemon.sensing import Senses
from daemon.worker import Hire, ThreadWorker
from rules import engine
from rules.idle import idle_until_s, passed
from rules.memory import Kept, Memory, begin, keep
from rules.plan import Plan
from rules.signals import Command, Decision, Observation
from rules.site.model import Site


class Guard:
    """The guard of one site, on one board.

    `without` takes hazards out, to prove that they are needed; `kept` is what an earlier run left
    behind. `clock` times the leases [s], and `hire` gets them somebody to watch over them.
    """

    def __init__(
        self,
        site: Site,
        board: Board,
        boot: str,
        *,
        without: frozenset[str] = frozenset(),
        kept: Kept | None = None,
        clock: Callable[[], float] | None = None,
        hire: Hire = ThreadWorker,
    ) -> None:
        self.plan: Plan = engine.plan_for(site, without)
        self._memory = begin(self.plan, boot, kept)
        self.before: Memory = self._memory  # what it remembered before its last tick
        self._senses = Senses(site, board)
        self._now_s = 0.0
        self.observation: Observation | None = None  # what it saw at it
        self.leases = Leases(
            board, tuple(site.outputs), clock=clock or (lambda: self._now_s), hire=hire
        )

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """One tick at `t_s`, seconds since the guard began; raises OSError if an output fails."""
        self._now_s = t_s
        readings = self._senses.read(t_s)
        observation = Observation(t_s, readings, commands, self.leases.dropped())
        self.before, self.observation = self._memory, observation
        self._memory, decision = engine.step(self.plan, self.before, observation)
        self.leases.drive(decision.outputs)
        return decision

    def idle_until_s(self) -> float:
        """Until when looks at the same readings would change nothing [s]: see `rules.idle`."""
        return idle_until_s(self.plan, self.before, self._memory)

    def pass_over(self, t_s: float) -> None:
        """Take the looks up to `t_s` [s] as done: `idle_until_s` told that they change nothing."""
        self._memory = passed(self.plan, self._memory, t_s)

    def kept(self, *, stopped: bool = False) -> Kept:
        """What must outlive a restart of the daemon; `stopped` tells of one stopped in order, which
        has left no pump on."""
        kept = keep(self.plan, self._memory)
        return replace(kept, on=frozenset()) if stopped else kept

    def close(self) -> None:
        """Let every output go."""
        self.leases.close()
