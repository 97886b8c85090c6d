"""Plays a drill that is a recording: its readings, today's rules, and no plant."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import cast

from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from rules.signals import TICK_S, Decision
from rules.site import show
from rules.site.model import Site
from simulator.night.evidence import Evidence
from simulator.night.outcome import Outcome
from simulator.story.drill import Drill
from simulator.story.judge import Finding, judge, statements_for
from simulator.story.roles import NoSuchRoleError
from simulator.water.plant import Plant

RECORDING = "recording"
"""Where the signals of such a night come from."""

NO_PLANT = "a recording has no plant: only the guard can be played on it"

LACK_S = 1.0
"""A recording may end so much before its drill does [s]: the last look is no round figure."""


class _Relays:
    """What can be known where the plant would stand: the relays as they are commanded, no water.

    A drill that plays a recording makes no statement of anything else.
    """

    def __init__(self, site: Site) -> None:
        self._relay = {pump: site.pump_output(pump) for pump in site.pumps}
        self.on = dict.fromkeys(site.outputs, False)
        self.surface_m: list[float] = []
        self.lifts: dict[str, object] = {}

    def powered(self, pump: str) -> bool:
        """True while its relay is on; a pump without one always is."""
        relay = self._relay[pump]
        return relay is None or self.on[relay]

    def command(self, decision: Decision) -> None:
        """Put every relay as it was decided."""
        self.on = dict(zip(self.on, decision.outputs, strict=True))


def replayed(
    site: Site, drill: Drill, seed: int, *, keeper: str, without: frozenset[str]
) -> Outcome:
    """Play a recorded night to today's rules; raises InputError where it cannot be read."""
    recorded = drill.recording
    assert recorded is not None
    head = Outcome(
        drill=drill.title,
        site=site.site.id,
        seed=seed,
        keeper=keeper,
        without=tuple(sorted(without)),
        source=RECORDING,
    )
    if not head.guarded:
        return replace(head, not_applicable=NO_PLANT)
    try:
        statements = statements_for(site, drill)
    except NoSuchRoleError as missing:
        return replace(head, not_applicable=str(missing))
    replay = Replay(Recording(Path(recorded.file)), site, without=without, assume=recorded.assume)
    seen, ended_s = _seen(site, drill, replay, recorded.from_)
    findings = [judge(site, statement, seen) for statement in statements]
    if ended_s is not None and ended_s < drill.lasts - LACK_S:
        said = f"the recording goes on for {show.duration(drill.lasts)}"
        findings.insert(0, Finding(said, False, f"it ends after {show.duration(ended_s)}"))
    return replace(
        head,
        passed=all(finding.held for finding in findings),
        findings=tuple(findings),
        lasted_s=drill.lasts,
        cut_s=seen.first_cut_s(),
        events=tuple(seen.events),
        alarms=tuple(seen.alarms()),
    )


def _seen(site: Site, drill: Drill, replay: Replay, from_s: float) -> tuple[Evidence, float | None]:
    """What today's rules did in the drill; and the time of the last look, from its start [s], if
    the recording did not go on to its end."""
    relays = _Relays(site)
    seen = Evidence(site, cast(Plant, relays), drill.cause_s, from_s)
    now_s = 0.0
    for played in replay.play():
        t_s = played.t_s - from_s
        if t_s > drill.lasts + TICK_S / 2:
            return seen, None
        relays.command(played.decision)
        if t_s < -1e-9:
            # what the relays are when the drill begins is no turn of theirs in it
            seen = Evidence(site, cast(Plant, relays), drill.cause_s, from_s)
            continue
        seen.take(t_s, t_s - now_s, played.decision)
        now_s = t_s
    return seen, now_s
