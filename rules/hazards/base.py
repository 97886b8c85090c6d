"""What a hazard is made of, and the words that several of them share."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from math import inf

from rules import unanswered
from rules.estimate import View
from rules.figures import Figures, downstream
from rules.matrix import Row
from rules.signals import Priority, Saying
from rules.site import show
from rules.site.model import Site
from rules.site.outputs import TopOffOutput


def _no_clock(_row: Row, _view: View) -> float:
    return inf


@dataclass(frozen=True, slots=True)
class Hazard:
    """A hazard: its rows on a site, whether one is present now, what to say, how long is left.

    `present` is called at every tick and must be cheap; `say` and `clock` only when an alarm is
    raised. `clock` gives the seconds until water leaves a tank, infinite where it will not. Where
    an alarm grows worse by standing, `stage` gives how far it has come and its priority there; each
    next stage is told as an alarm of its own.
    """

    name: str
    rows: Callable[[Site, Figures], Iterator[Row]]
    present: Callable[[Row, View], bool]
    say: Callable[[Row, View], Saying]
    clock: Callable[[Row, View], float] = _no_clock
    stage: Callable[[Row, View], tuple[int, Priority]] | None = None


def pumps_that_feed(site: Site, chamber: str) -> tuple[str, ...]:
    """The pumps whose water reaches `chamber`, from above or directly."""
    found = []
    for pump in site.pumps:
        fed = tuple(branch.to for branch in site.branches(pump).values())
        if chamber in fed or chamber in downstream(site, fed):
            found.append(pump)
    return tuple(found)


def below_the_drains(site: Site, chamber: str) -> bool:
    """True for a chamber that receives what runs down after a stop."""
    return chamber in downstream(site, site.drained_chambers())


def valve_of(site: Site) -> str | None:
    """The id of the top-off's valve, where there is a top-off and the guard drives it."""
    valves = (key for key, output in site.outputs.items() if isinstance(output, TopOffOutput))
    return next(valves, None) if site.top_off is not None else None


def cut_words(row: Row, view: View) -> str:
    """What a cutting row did, in the past tense; true whether the pump ran or not."""
    names = " and ".join(view.plan.site.label(pump) for pump in row.pumps)
    defiant = {
        pump.id
        for pump, state in zip(view.plan.pumps, view.memory.pumps, strict=True)
        if unanswered.runs_on(pump, state)
    }
    if defiant & set(row.pumps):
        return defied_words(view.plan.site, row, defiant)
    on = any(view.memory.pumps[i].on for i, p in enumerate(view.plan.pumps) if p.id in row.pumps)
    done = "was cut" if on else "is held off"
    return f"The {names} {done}; the top-off is shut." if names else "The top-off is shut."


def defied_words(site: Site, row: Row, defiant: Collection[str]) -> str:
    """What a cutting row did, where some of its pumps run on all the same."""
    names = " and ".join(site.label(pump) for pump in row.pumps)
    still = " and ".join(site.label(pump) for pump in row.pumps if pump in defiant)
    return (
        f"The {names} {'were' if len(row.pumps) > 1 else 'was'} switched off, but the {still} did "
        "not obey and ran on: pull the plug. The top-off is shut."
    )


def in_words(view: View, flow_m3_s: float) -> str:
    """A flow in the units of the site."""
    return show.flow(flow_m3_s, view.plan.site.site.units)
