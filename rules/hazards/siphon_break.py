"""A siphon break is plugged: more runs back after a stop than should.

The story: the little hole in the return line that lets air in when the pump stops has grown shut.
Nothing shows it while the pump runs. At the next power cut the line runs backwards and drinks the
display down to its own mouth, into a sump that may not hold so much; and then nobody can stop it.

So each stop is measured, and the one for feeding finds it while somebody stands beside the tank.
The alarm stands until a later stop shows that the break is open. Where what a plugged break sends
down does not fit below, a stop does more harm than the flow that it was to spare: a pause is ended
and the pump started again, for that alone ends a back-siphon, and none is begun while the alarm
stands. A guard that is restarted forgets it, and finds it again at the next stop.
"""

from __future__ import annotations

from collections.abc import Iterator

from rules.alarming import priority
from rules.back import meter_of
from rules.drain_down import drain_down_of
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard
from rules.matrix import Clear, Effect, Row
from rules.memory import PumpMemory
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every pump that the guard switches, with a meter that tells."""
    for pump in site.pumps:
        expected = drain_down_of(site, figures, pump, meter_of(site, figures, pump)[0])
        if expected is None or site.pump_output(pump) is None:
            continue
        open_, units = show.volume(expected.open_m3, site.site.units), site.site.units
        yield Row(
            "siphon-break",
            pump,
            f"after a stop of the {site.label(pump)} more than "
            f"{show.volume(expected.limit_m3, units)} run back; with open siphon breaks {open_} do",
            0.0,
            Clear.WHEN_CLEAR,
            Effect.ALARM_ONLY,
            priority.of("siphon-break" if expected.fits else "siphon-break-floods"),
        )


def _state_of(row: Row, view: View) -> PumpMemory:
    return next(
        state
        for pump, state in zip(view.plan.pumps, view.memory.pumps, strict=True)
        if pump.id == row.subject
    )


def present(row: Row, view: View) -> bool:
    """The last stop that was measured sent down more than open siphon breaks let through."""
    return _state_of(row, view).plugged


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    site, units = view.plan.site, view.plan.site.site.units
    pump = next(pump for pump in view.plan.pumps if pump.id == row.subject)
    assert pump.drain_down is not None
    breaks = [
        site.label(key)
        for key, branch in site.branches(row.subject).items()
        if branch.siphon_break is not None
    ]
    named = " or ".join(breaks)
    lift = view.plan.figures.lift(row.subject)
    down = show.volume(lift.plugged_m3, units)
    room = show.volume(lift.room_m3, units)
    if pump.drain_down.fits:
        done = f"Nothing: the {down} that a stop then sends down still fit below, for {room} do."
    else:
        done = (
            f"A pause is ended and the pump started again: a stop sends down {down}, and only "
            f"{room} fit below."
        )
    return Saying(
        what=f"A siphon break is plugged, in the {named}: since the "
        f"{site.label(row.subject)} stopped more has run back than the "
        f"{show.volume(pump.drain_down.open_m3, units)} that do with open ones",
        where=site.label(row.subject),
        done=done,
        do_now="Clean the small hole in that line, just under the water of its tank; then pause "
        "the pump for feeding, to see that it is open.",
    )


HAZARD = Hazard("siphon-break", rows, present, say)
