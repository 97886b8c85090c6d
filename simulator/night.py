"""A drill's side of the world, moved tick by tick by whoever owns the clock.

The fast runner moves it in a plain loop, the daemon by its own loop: `move` before each tick of the
guard, `take` after it.
"""

from __future__ import annotations

from rules.signals import Decision, Phase
from rules.site.model import Site
from simulator.drill import Drill
from simulator.evidence import Evidence
from simulator.faults import Script
from simulator.judge import Finding, judge, statements_for
from simulator.outcome import Outcome
from simulator.stand import Stand

TICK_S = 0.1
QUIET_S = 180.0  # the guard has had the pumps running for so long when a drill begins
LONGEST_START_S = 900.0  # a guard that has not come so far by then begins the drill as it is


class Night:
    """One drill on one stand: a good day until the pumps have run for a while, then the story.

    Raises NoSuchRoleError when the site has nothing that the drill could happen to.
    """

    def __init__(self, site: Site, drill: Drill, stand: Stand, *, guarded: bool) -> None:
        self.site = site
        self.drill = drill
        self.stand = stand
        self._guarded = guarded
        self._script = Script(site, stand, drill)
        self._statements = statements_for(site, drill)
        self._t_s = 0.0
        self._quiet_s = 0.0
        self._last_start = True
        self._seen: Evidence | None = None
        if not guarded:
            self._begin()

    @property
    def begun(self) -> bool:
        """True once the story itself goes on."""
        return self._seen is not None

    @property
    def drill_s(self) -> float:
        """Time since the drill began [s]."""
        return self._t_s - self._began_s if self.begun else 0.0

    @property
    def ended(self) -> bool:
        """True when the story is over."""
        return self.begun and self.drill_s >= self.drill.lasts - TICK_S / 2

    @property
    def seen(self) -> Evidence:
        """What there is to judge by; only once it has begun."""
        assert self._seen is not None
        return self._seen

    def _begin(self) -> None:
        self._began_s = self._t_s
        self._seen = Evidence(self.site, self.stand.plant, self.drill.cause_s, self._began_s)

    def move(self, t_s: float) -> None:
        """Bring the world to `t_s`, the time of the guard's next tick [s]."""
        if self.begun:
            self._script.advance(self.drill_s)
        self._t_s = t_s
        self.stand.advance_to(t_s)

    def take(self, t_s: float, decision: Decision) -> None:
        """Look at the plant and at what the guard decided at `t_s`."""
        if self._seen is not None:
            self._seen.take(self.drill_s, TICK_S, decision)
            return
        running = all(pump.phase is Phase.RUNNING for pump in decision.pumps)
        self._quiet_s = self._quiet_s + TICK_S if running else 0.0
        if self._quiet_s >= QUIET_S - TICK_S / 2:
            self._begin()
        elif t_s > LONGEST_START_S:
            self._last_start = False
            self._begin()

    def outcome(self, seed: int, source: str, without: frozenset[str] = frozenset()) -> Outcome:
        """What came of it."""
        seen, plant = self.seen, self.stand.plant
        findings = tuple(judge(self.site, statement, seen) for statement in self._statements)
        if not self._last_start:
            said = "the guard lets the pumps run on the good day before"
            detail = f"not for {QUIET_S:.0f} s on end within {LONGEST_START_S:.0f} s"
            findings = (Finding(said, False, detail), *findings)
        return Outcome(
            drill=self.drill.title,
            site=self.site.site.id,
            seed=seed,
            guarded=self._guarded,
            without=tuple(sorted(without)),
            source=source,
            passed=all(finding.held for finding in findings),
            findings=findings,
            lasted_s=self.drill.lasts,
            cause_s=self.drill.cause_s,
            cut_s=seen.first_cut_s(),
            spilled_m3=dict(plant.spilled_m3),
            leaked_m3=plant.leaked_m3,
            dry_s=plant.dry_s,
            needless_stop_s=_needless_s(self.drill, seen),
            events=tuple(seen.events),
            alarms=tuple(seen.alarms()),
            trace=seen.trace,
        )


def _needless_s(drill: Drill, seen: Evidence) -> float:
    """Time for which a pump stood that should not have: all of it where no cut was called for."""
    if any(statement.what == "pump cut" for statement in drill.must_not):
        return seen.off_s
    return seen.off_before_cause_s
