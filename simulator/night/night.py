"""A drill's side of the world, moved tick by tick by whoever owns the clock.

The fast runner moves it in a plain loop, the running daemon by its own: `move` before each tick of
the guard, `take` after it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

from rules.signals import TICK_S, Decision, Event, Phase
from rules.site.model import Site
from simulator.night.evidence import Evidence
from simulator.night.outcome import Outcome
from simulator.signals.stand import Stand
from simulator.story.acts_guard import GuardHost
from simulator.story.drill import Drill
from simulator.story.judge import Finding, judge, statements_for
from simulator.story.script import Script
from simulator.water.plant import Plant

SAMPLE_S = 1.0  # one row of the trace, and one call of `progress`, so often at most
QUIET_S = 90.0  # the guard has had the pumps running for so long: by then it lets the top-off open
LONGEST_START_S = 900.0  # a guard that has not come so far by then begins the drill as it is

NEVER_QUIET = Finding(
    "the guard lets the pumps run on the good day before",
    False,
    f"not for {QUIET_S:.0f} s on end within {LONGEST_START_S:.0f} s",
)


@dataclass(frozen=True, slots=True)
class Moment:
    """How a drill stands, once a simulated second at most; `events` are those since the last."""

    t_s: float
    lasts_s: float
    plant: Plant
    decision: Decision
    events: tuple[Event, ...]


Progress = Callable[[Moment], None]


class Night:
    """One drill on one stand: a good day until the pumps have run for a while, then the story.

    Without a guard there is no good day to wait for. `host` is the machine that the guard is on,
    for what happens to it and for what people order. Raises NoSuchRoleError when the site has
    nothing that the drill could happen to.
    """

    def __init__(
        self,
        site: Site,
        drill: Drill,
        stand: Stand,
        *,
        guarded: bool,
        host: GuardHost | None = None,
        progress: Progress | None = None,
        trace: bool = True,
    ) -> None:
        self.site = site
        self.drill = drill
        self.stand = stand
        self._progress = progress
        self._script = Script(site, stand, drill, host)
        self._statements = statements_for(site, drill)
        self._trace = trace
        self._t_s = self._began_s = self._taken_s = 0.0
        self._running_since_s: float | None = None
        self._was_quiet = True
        self._sampled_s = -inf
        self._told = 0
        self._seen: Evidence | None = None
        if not guarded:
            self._begin()

    @property
    def begun(self) -> bool:
        """True once the story itself goes on."""
        return self._seen is not None

    @property
    def seen(self) -> Evidence | None:
        """What it is judged by; None before it has begun."""
        return self._seen

    def time_of(self, t_s: float) -> float:
        """A moment of the guard's clock as time from the start of the drill [s]."""
        return t_s - self._began_s

    @property
    def drill_s(self) -> float:
        """Time since the drill began [s]; nought before."""
        # rounded: what is to happen at 120 s must not wait because of 119.99999999999
        return round(self._t_s - self._began_s, 6) if self.begun else 0.0

    @property
    def ended(self) -> bool:
        """True when the story is over."""
        return self.begun and self.drill_s >= self.drill.lasts - TICK_S / 2

    def move(self, t_s: float) -> None:
        """Bring the world to `t_s`, the time of the guard's next tick [s]."""
        self._tell()
        self.stand.advance_to(t_s)
        self._t_s = t_s

    def move_until(self, t_s: float) -> float:
        """Bring the world to `t_s`, or to where a sensor shows anything new; the time then [s]."""
        self._tell()
        self._t_s = self.stand.advance_until(t_s)
        return self._t_s

    def _tell(self) -> None:
        if self.begun:
            self._script.advance(self.drill_s)

    def take(self, decision: Decision) -> None:
        """Look at the plant and at what the guard decided at this tick."""
        self.stand.obey()  # so that what is seen of the relays is this tick's
        lasted_s, self._taken_s = self._t_s - self._taken_s, self._t_s
        if self._seen is None:
            self._wait_for_quiet(decision)
            return
        seen, t_s = self._seen, self.drill_s
        seen.take(t_s, lasted_s, decision)
        if t_s - self._sampled_s < SAMPLE_S - TICK_S / 2:
            return
        self._sampled_s = t_s
        if self._trace:
            seen.sample(t_s, decision)
        if self._progress is not None:
            events = tuple(seen.events[self._told :])
            self._told = len(seen.events)
            lasts_s, plant = self.drill.lasts, self.stand.plant
            self._progress(Moment(t_s, lasts_s, plant, decision, events))

    def outcome(self, head: Outcome) -> Outcome:
        """What came of it, filled into `head`; only once it has begun."""
        seen = self._seen
        assert seen is not None
        findings = tuple(judge(self.site, statement, seen) for statement in self._statements)
        if not self._was_quiet:
            findings = (NEVER_QUIET, *findings)
        return replace(
            head,
            passed=all(finding.held for finding in findings),
            findings=findings,
            lasted_s=self.drill.lasts,
            cause_s=self.drill.cause_s,
            cut_s=seen.first_cut_s(),
            spilled_m3=dict(seen.plant.spilled_m3),
            leaked_m3=seen.plant.leaked_m3,
            dry_s=seen.plant.dry_s,
            needless_stop_s=_needless_s(self.drill, seen),
            events=tuple(seen.events),
            alarms=tuple(seen.alarms()),
            trace=seen.trace,
        )

    def _begin(self) -> None:
        self._began_s = self._t_s
        self._seen = Evidence(self.site, self.stand.plant, self.drill.cause_s, self._began_s)

    def _wait_for_quiet(self, decision: Decision) -> None:
        if not all(pump.phase is Phase.RUNNING for pump in decision.pumps):
            self._running_since_s = None
        elif self._running_since_s is None:
            self._running_since_s = self._t_s
        since_s = self._running_since_s
        self._was_quiet = since_s is not None and self._t_s - since_s >= QUIET_S - TICK_S / 2
        if self._was_quiet or self._t_s > LONGEST_START_S:
            self._begin()


def _needless_s(drill: Drill, seen: Evidence) -> float:
    """Time for which a pump stood that should not have: all of it where no cut was called for."""
    if any(statement.what == "pump cut" for statement in drill.must_not):
        return seen.off_s
    return seen.off_before_cause_s
