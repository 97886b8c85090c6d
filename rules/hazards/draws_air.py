"""The pump draws air, and its low float says that there is water.

The story: salt has glued the low float at the top of its stem. Water leaves the pump's chamber, for
a leak, a bucket or an empty reservoir; the float over the low one falls dry and stays so, and then
the flow falls off: the pump begins to spit. The one float that should know says nothing. Two other
signals agree against it, so the pump is cut, and the float is named. As after the low float's own
cut, what stood above then runs down and proves nothing: a person must look.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, cut_words, in_words
from rules.judging import air
from rules.judging.plan import LowCheck, low_checks
from rules.matrix import Clear, Effect, Row
from rules.plan import meter_of
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site

DELAY_S = 3.0
"""Net time for which both other signals must say so [s]; shorter is stricter."""


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every low float that two other signals can hold against the water."""
    for low in low_checks(site):
        pump = list(site.pumps)[low.pump]
        if meter_of(site, figures, pump)[0] is None and not low.levels:
            continue
        yield Row(
            "draws-air",
            low.id,
            f"{site.label(low.id)} is wet, but the float over it has been dry for "
            f"{show.duration(air.LONG_DRY_S)} and the flow or a level denies it",
            DELAY_S,
            Clear.ON_RESET,
            Effect.CUT_PUMP,
            priority.of("draws-air"),
            (pump,),
        )


def _check(row: Row, view: View) -> LowCheck:
    return view.plan.judging.lows[row.pumps[0]]


def present(row: Row, view: View) -> bool:
    """The pump runs, the low float is wet, and two others deny it."""
    return air.draws_air(_check(row, view), view)


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site, low = view.plan.site, _check(row, view)
    over = " and ".join(site.label(list(site.sensors)[i]) for i in low.over)
    then_m3_s = view.memory.judged.dry_flow_m3_s[low.pump]
    meter = view.plan.pumps[low.pump].meter
    if air.level_under(low, view) or then_m3_s is None or meter is None:
        seen = "a level sensor puts the water under it"
    else:
        seen = (
            f"of {in_words(view, then_m3_s)} the pump lifts "
            f"{in_words(view, view.readings[meter].value)}"
        )
    name = site.label(row.subject)
    return Saying(
        what=f"The {site.label(row.pumps[0])} draws air while the {name} says wet: the {over} has "
        f"long been dry, and {seen}",
        where=name,
        done=cut_words(row, view),
        do_now=f"Free the {name}: it hangs. Then look where the water went, and reset.",
    )


HAZARD = Hazard("draws-air", rows, present, say)
