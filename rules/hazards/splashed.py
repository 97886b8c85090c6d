"""A spill-edge float was wet for a moment, and every other signal denies that water stood there.

The story: the lid is off and spray lifts the high float, or a wave, or a hand. It has cut the pump,
and rightly, for nothing stands between that float and the cut. Then it is dry again within seconds;
the overflow box never rose; and no water is missing from the pump's chamber, from which alone the
display could have been filled. So it was no water that stood there: this row lets the cut wait for
no person, and the pump comes back by itself, in its stages, as often as after any other cut. Then,
or when a witness cannot be read, a person must come after all.

A site needs a float in the pump's chamber near enough to its working level to have a witness.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.judging import splash
from rules.judging.plan import WET_S, splash_checks
from rules.matrix import Clear, Effect, Row
from rules.resting import RESTS_S
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every spill-edge float above the drains that has witnesses."""
    for check in splash_checks(site, figures):
        if not check.below:
            continue
        yield Row(
            "splashed",
            check.id,
            f"{site.label(check.id)} was wet for no more than {show.duration(WET_S)}, and "
            "every other signal denies it",
            0.0,
            Clear.WHEN_CLEAR,
            Effect.ALARM_ONLY,
            priority.of("splashed"),
        )


def _place(row: Row, view: View) -> int:
    checks = view.plan.judging.splashes
    return next(i for i, check in enumerate(checks) if check.id == row.subject)


def present(row: Row, view: View) -> bool:
    """It is dry again, the pump is still off, and no witness saw water."""
    place = _place(row, view)
    return splash.splashed(view.plan.judging.splashes[place], place, view)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    place, site = _place(row, view), view.plan.site
    check, name = view.plan.judging.splashes[place], view.plan.site.label(row.subject)
    lasted = show.duration(splash.wet_for_s(place, view))
    used_up = any(view.memory.pumps[i].attempts > len(RESTS_S) for i in check.pumps)
    witnesses = " and ".join(
        site.label(list(site.sensors)[i]) for i in (*check.watches, *check.below)
    )
    return Saying(
        what=f"The {name} was wet for {lasted}; the {witnesses} denied that water stood there",
        where=name,
        done="The cut stands until a reset: it has been tried again often enough."
        if used_up
        else "The pump is tried again by itself, in stages; the float goes on cutting it at once.",
        do_now=f"Look for spray, waves or a lid left off near the {name}, and for a loose cable.",
    )


HAZARD = Hazard("splashed", rows, present, say)
