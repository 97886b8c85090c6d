"""Drills whose guard was taped: the file, and what really was seen and decided."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from daemon.recording.format import Head
from daemon.recording.read import Recording
from daemon.recording.replay import Replay
from daemon.recording.write import Recorded, RecordingFile
from rules.signals import Decision, Event, Observation
from rules.site.model import Site
from simulator.library import load_drill, load_site, site_text
from simulator.night.outcome import Outcome
from simulator.night.runner import run

SEED = 5


@cache
def site(name: str) -> Site:
    """A demo site, read once."""
    return load_site(name)


@dataclass
class Tape:
    """A recording, and beside it what the recorder was told."""

    path: Path
    site: Site
    seen: list[tuple[Observation, Decision]] = field(default_factory=list)
    outcome: Outcome | None = None

    @property
    def events(self) -> list[Event]:
        """All events, in the guard's time."""
        return [event for _, decision in self.seen for event in decision.events]

    def replay(self, without: frozenset[str] = frozenset()) -> Replay:
        """The recording through the rules, with the site file that is in it."""
        recording = Recording(self.path)
        return Replay(recording, recording.own_site(), without=without)


def head(name: str, story: str = "") -> Head:
    """The head of a recording of a demo site."""
    return Head(name, site_text(name), "", "sim+plant", story=story)


def tape(
    path: Path,
    drill: str,
    name: str = "classroom",
    *,
    lasts_s: float | None = None,
    every_tick: bool = False,
) -> Tape:
    """Run a drill and record it; `lasts_s` ends it earlier."""
    night = load_drill(drill)
    if lasts_s is not None:
        night = night.model_copy(update={"lasts": lasts_s})
    made = Tape(path, site(name))
    with RecordingFile(path, head(name, f"drill {drill}"), made.site) as file:

        def tap(t_s: float, seen: Observation, decision: Decision, guard: Recorded) -> None:
            made.seen.append((seen, decision))
            file.take(t_s, seen, decision, guard)

        made.outcome = run(made.site, night, SEED, tap=tap, every_tick=every_tick)
    return made


def assert_replays_to_the_bit(made: Tape) -> None:
    """Every look is the same, and everything that was decided at it."""
    played = list(made.replay().play())
    assert len(played) == len(made.seen)
    for one, (observation, decision) in zip(played, made.seen, strict=True):
        assert repr(one.observation) == repr(observation)  # repr: no number equals itself
        assert one.decision == decision
        assert one.row is not None
        assert one.row.on == decision.outputs
