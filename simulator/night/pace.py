"""How a night is stepped: ten ticks a second while anything moves, one in many seconds while not.

The guard would look ten times a second all night. Looks of which it says itself that they would
change nothing are left out, as long as no contact turns, no flow moves and nothing in the story
falls due; whatever does ends the stretch at once.
"""

from __future__ import annotations

from math import inf
from typing import Protocol

from rules.signals import TICK_S, Command, Decision
from simulator.story.drill import Drill

STRETCH_S = 51.2
"""The longest stretch without a look of the guard [s]; the plant coasts through it in one piece."""

RAMP_PIECES = 200
"""While something comes about slowly, it moves on by so small a part at most in one stretch."""

ENDS = ("over", "lasts", "mended_after", "back_after")
"""Keys of a happening that say how long it takes or stands."""


class Keeper(Protocol):
    """The guard, or what stands in its place."""

    def tick(self, t_s: float, commands: tuple[Command, ...] = ()) -> Decision:
        """Read the board, decide, drive the outputs."""

    def idle_until_s(self) -> float:
        """Until when looks at the same readings would change nothing [s]; past if the next may."""


class Times:
    """When the story of a drill moves, from its start [s]."""

    def __init__(self, drill: Drill) -> None:
        moments = {drill.lasts}
        for event in drill.happens:
            lengths = (float(getattr(event, key, None) or 0.0) for key in ENDS)
            moments |= {event.at, *(event.at + length for length in lengths)}
        self._moments = sorted(moments)
        ramps = ((event.at, float(getattr(event, "over", 0.0))) for event in drill.happens)
        self._ramps = [(at_s, at_s + over_s) for at_s, over_s in ramps if over_s > 0.0]

    def still_until_s(self, t_s: float) -> float:
        """Until when the story stands still, or may be taken to, from `t_s` on."""
        # what falls due now is done at the next tick, and only then can be seen
        until_s = next((m for m in self._moments if m > t_s - 1e-9), inf)
        for begins_s, ends_s in self._ramps:
            if begins_s <= t_s < ends_s:
                until_s = min(until_s, t_s + (ends_s - begins_s) / RAMP_PIECES)
        return until_s


class Pace:
    """Which tick comes next."""

    def __init__(self, drill: Drill, keeper: Keeper, *, every_tick: bool) -> None:
        self._times = Times(drill)
        self._keeper = keeper
        self._every_tick = every_tick

    def next_tick(self, now: int, story_s: float | None) -> int:
        """The number of the tick to go to from tick `now`; `story_s` is the time in the story."""
        if self._every_tick:
            return now + 1
        t_s = now * TICK_S
        until_s = min(self._keeper.idle_until_s(), t_s + STRETCH_S)
        if story_s is not None:
            until_s = min(until_s, t_s + self._times.still_until_s(story_s) - story_s)
        return max(now + 1, int(until_s / TICK_S + 1e-6)) if until_s > t_s else now + 1
