"""The pump runs although it is switched off.

The story: the contacts of its relay have welded in a spark, or somebody has plugged the pump in
past the relay. While it is to run, nobody notices. Then it is cut, because the drains are blocked,
and goes on lifting: the guard has let go, and nothing has let go of the pump. Only a person can
stop it now, at its plug or at the breaker, and has to be told that at once.

Its meter shows it, but water that runs back through a pump that stands still turns the same wheel.
So it is not time that tells the two apart, but volume: more has passed than can run back with every
chamber full to its rim and every siphon break plugged; or so much that a spill-edge float could not
be wet any more if the water had run back. Where another pump keeps these chambers full, water may
run back for ever: the alarm then names both.

The pump is held off until a person resets it at the guard: a pump that cannot be stopped is not to
be started. Spare pumps stir on, for they bring no water, and what lives there needs them as soon as
the plug is pulled. A pump without a meter is not seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rules import unanswered
from rules.alarming import priority
from rules.back import back_of, meter_of
from rules.estimate import View
from rules.figures import Figures
from rules.hazards.base import Hazard, defied_words, in_words
from rules.matrix import Clear, Effect, Row
from rules.memory import PumpMemory, RowMemory
from rules.plan import Plan, PumpPlan
from rules.signals import Saying
from rules.site import show
from rules.site.model import Site


def rows(site: Site, figures: Figures) -> Iterator[Row]:
    """One row for every pump that the guard switches and whose flow is metered."""
    for pump in site.pumps:
        meter, share = meter_of(site, figures, pump)
        if meter is None or site.pump_output(pump) is None:
            continue
        most_m3 = back_of(site, figures, pump, meter, share).most_m3
        yield Row(
            "cut-unanswered",
            pump,
            f"{site.label(pump)} is switched off and runs: more passes its meter than the "
            f"{show.volume(most_m3, site.site.units)} that could run back",
            0.0,
            Clear.ON_RESET,
            Effect.CUT_PUMP,
            priority.of("cut-unanswered"),
            (pump,),
        )


def _plan_of(row: Row, view: View) -> tuple[int, PumpPlan]:
    return next((i, p) for i, p in enumerate(view.plan.pumps) if p.id == row.subject)


def present(row: Row, view: View) -> bool:
    """Switched off, and more has passed than can have run back."""
    index, pump = _plan_of(row, view)
    return unanswered.runs_on(pump, view.memory.pumps[index])


def say(row: Row, view: View) -> Saying:
    """What a person reads."""
    index, pump = _plan_of(row, view)
    name = view.plan.site.label(row.subject)
    seen = f"{in_words(view, view.flows[index])} are seen"
    what = (
        f"The {name} runs although it is switched off: {seen}, for longer than water can run back"
    )
    if pump.back is not None and not pump.back.alone:
        what = (
            f"Water flows through the {name} although it is switched off: {seen}. It runs on, or "
            "what another pump lifts runs back through it, past a plugged siphon break"
        )
    return Saying(
        what=what,
        where=name,
        done="Its relay has been let go and is held off until a reset; the top-off is shut. "
        "Nothing more can be done from here.",
        do_now="Pull its plug, or switch it off at the breaker if there is water near the plug or "
        "on the floor: keep your feet and hands out of the water. Its relay may be welded, or the "
        "pump be plugged in past it. If it stands still and nothing flows, its meter is at fault.",
    )


def watch(
    plan: Plan, view: View, states: tuple[RowMemory, ...], pumps: tuple[PumpMemory, ...]
) -> tuple[tuple[PumpMemory, ...], tuple[RowMemory, ...]]:
    """See whether pumps that are switched off stand still, as the last thing of a tick.

    Where one is found to run, no alarm that stands may go on saying that it was cut.
    """
    after = tuple(
        unanswered.step(pump, before, state, view.readings, view.contacts, dt_s=view.dt_s)
        for pump, before, state in zip(plan.pumps, view.memory.pumps, pumps, strict=True)
    )
    if after == pumps:
        return pumps, states
    defiant = {
        pump.id
        for pump, old, new in zip(plan.pumps, pumps, after, strict=True)
        if unanswered.runs_on(pump, new) and not unanswered.runs_on(pump, old)
    }
    if not defiant:
        return after, states
    told = tuple(
        replace(state, saying=replace(state.saying, done=defied_words(plan.site, row, defiant)))
        if state.saying is not None and defiant & set(row.pumps) and row.subject not in defiant
        else state
        for row, state in zip(plan.rows, states, strict=True)
    )
    return after, told


HAZARD = Hazard("cut-unanswered", rows, present, say)
