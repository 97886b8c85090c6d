"""From readings to what they mean: filtered contacts, live flows, and how the drains stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import inf, isfinite, nan

from rules import unanswered, voting
from rules.levels import filter_levels
from rules.marks import Mark
from rules.memory import ContactMemory, LevelMemory, Memory
from rules.observer.observer import observe
from rules.plan import Contact, DrainPlan, Plan, PumpPlan, Watch
from rules.signals import Condition, DrainFigures, Observation, Phase, Quality, Reading
from rules.voting import Vote

LONGEST_STEP_S = 0.5
"""However late a tick is, one look counts for no more than this [s]."""

METER_DOUBT = 1.10
"""The drains must carry so many times what a meter shows, before a level is held against them."""


class View:
    """One tick as the hazards see it. Built anew at each tick, read by all, changed by none.

    `stands_at` gives the highest mark at which the water of each drained chamber stands, or None.
    """

    __slots__ = (
        "contacts",
        "drains",
        "dropped",
        "dry_s",
        "dt_s",
        "flows",
        "level_states",
        "memory",
        "plan",
        "readings",
        "sights",
        "stands_at",
        "t_s",
    )

    def __init__(
        self,
        plan: Plan,
        memory: Memory,
        observation: Observation,
        *,
        contacts: tuple[ContactMemory, ...],
        levels: tuple[LevelMemory, ...],
        dt_s: float,
    ) -> None:
        self.plan = plan
        self.memory = memory
        self.readings = observation.readings
        self.dropped = observation.dropped
        self.contacts = contacts
        self.level_states = levels
        self.dt_s = dt_s
        self.t_s = observation.t_s
        self.flows = tuple(_pump_flow(self, pump, i) for i, pump in enumerate(plan.pumps))
        self.stands_at = tuple(_stands_at(self, drain) for drain in plan.drains)
        self.drains = tuple(map(partial(_drain_figures, self), range(len(plan.drains))))
        self.sights = observe(plan, memory, self.readings, self.drains, self.t_s)
        self.dry_s = tuple(_dry_s(self, pump, i) for i, pump in enumerate(plan.pumps))

    def wet(self, sensor: str) -> bool:
        """A contact after its filter: True = wet, or supply present."""
        return self.contacts[self.plan.contacts[sensor].index].wet

    def asks(self, sensor: str) -> bool:
        """True while a contact is in the state that calls for action, with its vote if it has one.

        One that is left out of its vote, because it cannot be read, does not speak for it.
        """
        contact, vote = self.plan.contacts[sensor], self.plan.votes.get(sensor)
        if self.contacts[contact.index].wet is not contact.worst:
            return False
        if vote is None:
            return True
        left = voting.counted(vote, self.contacts, self.out_ids)
        return (contact.index in left or not left) and self.vote_asks(vote)

    def vote_asks(self, vote: Vote) -> bool:
        """True while floats that vote together ask for the act."""
        return voting.verdict(vote, self.contacts, self.out_ids)

    @property
    def out_ids(self) -> tuple[str, ...]:
        """What is out of service."""
        return tuple(one.id for one in self.memory.out) if self.memory.out else ()

    def out(self, sensor: str) -> bool:
        """True for a sensor that is out of service: what it seems to say is no evidence."""
        return any(one.id == sensor for one in self.memory.out)

    def reading(self, sensor: str) -> Reading:
        """A sensor's reading of this tick."""
        return self.readings[self.plan.sensors[sensor]]

    def pump_on(self, pump: int) -> bool:
        """True when the pump was commanded on at the last tick, or runs although it was not."""
        state = self.memory.pumps[pump]
        return state.on or unanswered.runs_on(self.plan.pumps[pump], state)

    def fed(self, drain: DrainPlan) -> bool:
        """True when any pump whose water reaches these drains was on at the last tick."""
        return any(self.pump_on(pump) for pump, _ in drain.feeds)

    def priming_of(self, drain: DrainPlan) -> bool:
        """True while these drains may still be priming, after any pump that feeds them started."""
        return any(self.priming(pump) for pump, _ in drain.feeds)

    def priming(self, pump: int) -> bool:
        """True while the drains of a pump just started may still be priming."""
        state = self.memory.pumps[pump]
        if state.phase is not Phase.PROVING:
            return False
        return self.t_s - state.since_s < self.plan.pumps[pump].prime_s


def filter_contacts(
    plan: Plan, before: Sequence[ContactMemory], readings: Sequence[Reading], dt_s: float
) -> tuple[ContactMemory, ...]:
    """Step every contact's leaky integral; a reading that is BAD counts as its worst case.

    Indexed like the sensors; a flow meter's place holds a filter that never changes.
    """
    filtered = list(before) or [ContactMemory(0.0, False)] * len(plan.sensors)
    for contact in plan.contacts.values():
        reading = readings[contact.index]
        bad = reading.quality is Quality.BAD
        wet = contact.worst if bad else reading.value >= 0.5
        if not before:
            filtered[contact.index] = ContactMemory(contact.filter_s if wet else 0.0, wet, bad)
            continue
        old = new = filtered[contact.index]
        if wet:
            if not old.wet or old.charge_s < contact.filter_s:
                new = _towards_wet(contact, old, dt_s)
        elif old.charge_s > 0.0 or old.wet:
            charge = max(0.0, old.charge_s - dt_s)
            new = ContactMemory(charge, old.wet and charge > 1e-9, old.unread)
        if bad or old.unread:
            # until the filter has forgotten the worst case that it was given
            unread = bad or (new.wet is contact.worst and wet is not contact.worst)
            if unread is not new.unread:
                new = replace(new, unread=unread)
        filtered[contact.index] = new
    return tuple(filtered)


def _towards_wet(contact: Contact, old: ContactMemory, dt_s: float) -> ContactMemory:
    charge = min(contact.filter_s, old.charge_s + dt_s)
    full = charge >= contact.filter_s - 1e-9
    return ContactMemory(charge, old.wet or full, old.unread)


def _pump_flow(view: View, pump: PumpPlan, index: int) -> float:
    """The pump's whole flow [m3/s]: measured where a meter can be believed, else computed."""
    if pump.meter is not None:
        reading = view.readings[pump.meter]
        if reading.quality is not Quality.BAD and pump.meter_share > 0:
            return reading.value / pump.meter_share
    return pump.nominal_m3_s if view.pump_on(index) else 0.0


def _watch_asks(view: View, watch: Watch) -> bool:
    """True while water stands at a watch: by itself, or as those vote that hang at its height."""
    vote = view.plan.votes.get(watch.contact.id)
    return view.contacts[watch.contact.index].wet if vote is None else view.vote_asks(vote)


def _stands_at(view: View, drain: DrainPlan) -> Mark | None:
    """The highest mark at which the water stands; a level sensor adds to the floats, and takes
    nothing away from them."""
    highest: Mark | None = None
    for watch in reversed(drain.watches):
        if _watch_asks(view, watch):
            highest = watch.mark
            break
    for place in drain.levels:
        state, marks = view.level_states[place], view.plan.levels[place].marks
        if not state.high or marks.least_m3_s[state.mark] < METER_DOUBT * _inflow(view, drain):
            continue
        mark = marks.marks[state.mark]
        if highest is None or mark.height_m > highest.height_m:
            highest = mark
    return highest


def carried_at_most_m3_s(drain: DrainPlan, at: Mark | None, inflow_m3_s: float) -> float:
    """What the drains of a chamber still carry at its allowed level, at best [m3/s].

    What is left of the largest firm drain at a mark is left of it at the allowed level too.
    Emergency drains are left out. `at` is the highest mark at which the water stands, None if it is
    under all of them.
    """
    condition = 1.0 if at is None else at.left_at_most(inflow_m3_s)
    return condition * drain.lead_m3_s + drain.firm_rest_m3_s


def _drain_figures(view: View, index: int) -> DrainFigures:
    """How one drained chamber stands, as far as its floats and level sensors tell.

    The capacity given is an upper bound; the time to spill assumes the lower one, the largest
    drain shut.
    """
    drain, at = view.plan.drains[index], view.stands_at[index]
    inflow = _inflow(view, drain)
    least, most = 0.0, drain.bottom_to_rim_m
    for watch in drain.watches:
        if _watch_asks(view, watch):
            least = watch.mark.height_m
        elif not view.contacts[watch.contact.index].wet and not view.out(watch.contact.id):
            most = min(most, watch.mark.height_m)
    least, most = _narrowed(view, drain, least, max(most, least))
    spill_s = inf
    if at is not None:
        net = _net_m3_s(view, drain, at)
        spill_s = at.room_m3 / net if net > 0 else inf
    capacity = carried_at_most_m3_s(drain, at, inflow)
    return DrainFigures(
        drain.chamber,
        inflow,
        capacity,
        capacity / inflow if inflow > 1e-9 else inf,
        least,
        most,
        spill_s,
        view.memory.sights[index].condition if view.memory.sights else Condition(),
    )


def _narrowed(view: View, drain: DrainPlan, least: float, most: float) -> tuple[float, float]:
    """Bounds of a level, narrowed by level sensors; one that the floats contradict is left out."""
    for place in drain.levels:
        level = view.plan.levels[place]
        reading = view.readings[level.index]
        if reading.quality is Quality.BAD:
            continue
        low, high = reading.value - level.tolerance_m, reading.value + level.tolerance_m
        if low <= most and high >= least:
            least, most = max(least, low), min(most, high)
    return least, most


def _inflow(view: View, drain: DrainPlan) -> float:
    """What arrives at a drained chamber [m3/s].

    A meter that reads too little must not hide a loss: of every pump that is on, no less than half
    of the computed flow is believed.
    """
    inflow, computed = 0.0, 0.0
    for pump, share in drain.feeds:
        inflow += view.flows[pump] * share
        if view.pump_on(pump):
            computed += view.plan.pumps[pump].nominal_m3_s * share
    return max(inflow, 0.5 * computed)


def _net_m3_s(view: View, drain: DrainPlan, at: Mark | None) -> float:
    """What stays above with the largest drain shut [m3/s]; zero or less while all is carried."""
    if at is None or not view.fed(drain):
        return 0.0
    return _inflow(view, drain) - drain.firm_rest_m3_s - drain.emergency_m3_s


def _dry_s(view: View, pump: PumpPlan, index: int) -> float:
    """Time until the pump draws air, with what stays above taken from its chamber [s]."""
    net = sum(
        max(0.0, _net_m3_s(view, drain, at))
        for drain, at in zip(view.plan.drains, view.stands_at, strict=True)
        if drain.pump == index
    )
    return pump.dry_m3 / net if net > 0 else inf


def _finite(reading: Reading) -> Reading:
    """A reading that is no number is BAD whatever it says of itself; NaN would compare as dry."""
    if isfinite(reading.value) or reading.quality is Quality.BAD:
        return reading
    return replace(reading, value=nan, quality=Quality.BAD, why="it gives no number")


def look(plan: Plan, memory: Memory, observation: Observation) -> View:
    """Interpret one observation; the view holds every filter as it is after it."""
    dt_s = min(max(observation.t_s - memory.t_s, 0.0), LONGEST_STEP_S)
    if not all(isfinite(r.value) or r.quality is Quality.BAD for r in observation.readings):
        observation = replace(observation, readings=tuple(map(_finite, observation.readings)))
    contacts = filter_contacts(plan, memory.contacts, observation.readings, dt_s)
    levels = filter_levels(plan, memory.levels, observation.readings, dt_s)
    return View(plan, memory, observation, contacts=contacts, levels=levels, dt_s=dt_s)
