"""A spill-edge float that was wet for a moment while all other signals denied that it was water.

It has cut the pump, at once, as it must. But water that truly stands at a spill edge has come from
the pump's chamber, whose float would have fallen dry, and has filled the overflow box first; and it
does not go within seconds. Spray, a wave, a hand. The pump then comes back by itself, in stages and
a limited number of times, as after any cut that water caused.
"""

from __future__ import annotations

from rules.estimate import View
from rules.judging.plan import GONE_S, OFTEN_GONE_S, SplashCheck
from rules.judging.remembered import SplashPast
from rules.signals import Phase


def splashed(check: SplashCheck, place: int, view: View) -> bool:
    """True once it is judged to have been splash, until its pump runs again."""
    past = view.memory.judged.splashes[place]
    if past is None or not past.judged:
        return False
    return not any(view.memory.pumps[i].phase is Phase.RUNNING for i in check.pumps)


def gone(past: SplashPast | None, t_s: float, comings: int) -> bool:
    """True while it has been dry for as long as it must be, having come so often of late."""
    if past is None or past.gone_s is None:
        return False
    return t_s - past.gone_s >= (GONE_S if comings < 2 else OFTEN_GONE_S) - 1e-9


def wet_for_s(place: int, view: View) -> float:
    """For how long it was wet [s]."""
    past = view.memory.judged.splashes[place]
    return 0.0 if past is None or past.gone_s is None else past.gone_s - past.came_s
