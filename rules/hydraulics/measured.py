"""What was measured narrows what is computed: a pump by a share of its flow, a passage by a factor.

A flow is believed from 0.3 to 1.5 times what the plumbing as described computes; outside that the
description is wrong, or the measurement is, and no factor may hide it (own bounds, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import hypot

from rules.hydraulics.build import PassageFlow
from rules.hydraulics.drains import SiphonDrainFlow
from rules.hydraulics.errors import HydraulicsError
from rules.hydraulics.pump import PumpPoint
from rules.hydraulics.roots import crossing
from rules.site import show
from rules.site.measured import Measured
from rules.site.model import Site
from rules.site.passages import SiphonDrain

BELIEVED_LEAST, BELIEVED_MOST = 0.3, 1.5
LEFT_LEAST, LEFT_MOST = 0.05, 3.0
"""Shares of a pump's catalogue flow at a head between which a measured one is looked for."""
FOUND = 1e-6
"""How near a computed flow must come to the measured one to count as the same, as a share."""


@dataclass(frozen=True, slots=True)
class MeasuredFlow:
    """A passage whose flow was measured at one level: its formula, times one factor.

    `measured_m3_s` is the flow that was measured, `tolerance` how far that may be off.
    """

    formula: PassageFlow
    factor: float
    measured_m3_s: float
    tolerance: float

    def flow(self, up_m: float, down_m: float, condition: float = 1.0) -> float:
        """Flow [m3/s] from level `up_m` to `down_m`, above the site's datum."""
        return self.factor * self.formula.flow(up_m, down_m, condition)

    def uncertainty(self, up_m: float, down_m: float) -> float:
        """Doubt about the flow, as a share: the measurement's where it was made.

        Away from there the formula's own comes back, whole once the flow is nought or twice what
        was measured: a trickle that was timed says little of a torrent.
        """
        away = min(1.0, abs(self.flow(up_m, down_m) / self.measured_m3_s - 1.0))
        return hypot(self.tolerance, away * self.formula.uncertainty(up_m, down_m))


@dataclass(frozen=True, slots=True)
class MeasuredPassage:
    """The measured flow of a passage that gravity drives, with the level above it then.

    `tuned` says that its valve was set by eye; the measurement then sets the valve.
    """

    key: str
    of: str
    up_m: float
    flow_m3_s: float
    tolerance: float
    tuned: bool

    def fitted(self, clean: PassageFlow, down_m: float) -> MeasuredFlow:
        """The passage made to pass what was measured, with the chamber below at `down_m`."""
        if self.tuned and isinstance(clean, SiphonDrainFlow):
            set_by_it = clean.throttled(self.flow_m3_s, self.up_m, down_m)
            clean = set_by_it or replace(clean, throttle_k=0.0)
        computed = clean.flow(self.up_m, down_m)
        factor = self.flow_m3_s / computed if computed > 0.0 else 1.0
        return MeasuredFlow(clean, factor, self.flow_m3_s, self.tolerance)

    def check(self, site: Site, clean: PassageFlow, down_m: float) -> None:
        """Raise HydraulicsError unless the measurement fits the clean passage as described."""
        computed = clean.flow(self.up_m, down_m)
        least = 0.0 if self.tuned else BELIEVED_LEAST
        if not least * computed <= self.flow_m3_s <= BELIEVED_MOST * computed:
            valve = " with its valve fully open" if self.tuned else ""
            raise _unfit(site, self.key, computed, f"{valve} at that level")


@dataclass(frozen=True, slots=True)
class MeasuredPump:
    """The measured flow of a pump, or of one of its branches, while all was clean and ran."""

    key: str
    pump: str
    of: str
    flow_m3_s: float
    tolerance: float

    def flow_at(self, point: PumpPoint) -> float:
        """What flows, with the pump at this point, where the flow was measured [m3/s]."""
        return point.flow_m3_s if self.of == self.pump else point.branches[self.of]

    def left(self, point_with: Callable[[float], PumpPoint]) -> float:
        """Share of its catalogue flow at every head with which it lifts what was measured.

        `point_with` is where it runs with such a share left. More of it lifts more everywhere, so
        there is one such share at most; without one, the end of the range that comes nearest.
        """

        def over(left: float) -> float:
            return self.flow_at(point_with(left)) - self.flow_m3_s

        if over(LEFT_LEAST) >= 0.0:
            return LEFT_LEAST
        if over(LEFT_MOST) <= 0.0:
            return LEFT_MOST
        return crossing(over, LEFT_LEAST, LEFT_MOST)

    def check(self, site: Site, computed: PumpPoint, found: PumpPoint) -> None:
        """Raise HydraulicsError unless the measurement fits the plumbing as described.

        `computed` is where the pump runs by its table, `found` where it does with the share found.
        """
        by_table = self.flow_at(computed)
        believed = BELIEVED_LEAST * by_table <= self.flow_m3_s <= BELIEVED_MOST * by_table
        if not believed or abs(self.flow_at(found) / self.flow_m3_s - 1.0) > FOUND:
            raise _unfit(site, self.key, by_table, "")


def _unfit(site: Site, key: str, computed_m3_s: float, where: str) -> HydraulicsError:
    table, units = site.measured[key], site.site.units
    return HydraulicsError(
        f"[measured.{key}]: {show.flow(table.flow, units)} was measured of {table.of}, and the "
        f"plumbing as described computes {show.flow(computed_m3_s, units)}{where}: the two do not "
        "fit. Check the curve, the pipes, the valves and the heights in the site file, or measure "
        "again"
    )


def measured_pumps(site: Site) -> dict[str, MeasuredPump]:
    """The pumps of which, or of a branch of which, a flow was measured."""
    found = {}
    for pump in site.pumps:
        things = {pump, *site.branches(pump)}
        for key, table in site.measured.items():
            if table.of in things:
                found[pump] = MeasuredPump(key, pump, table.of, table.flow, table.tolerance)
    return found


def measured_passages(site: Site) -> dict[str, MeasuredPassage]:
    """The passages without a pump of which a flow was measured."""
    ways = site.gravity()
    return {
        table.of: _measured_passage(site, key, table)
        for key, table in site.measured.items()
        if table.of in ways
    }


def _measured_passage(site: Site, key: str, table: Measured) -> MeasuredPassage:
    passage = site.gravity()[table.of]
    assert table.level is not None
    return MeasuredPassage(
        key,
        table.of,
        site.chambers[passage.from_].above_datum_m(table.level),
        table.flow,
        table.tolerance,
        isinstance(passage, SiphonDrain) and passage.tuned_share is not None,
    )


def measured_doubt(
    of: str, flows_m3_s: Mapping[str, float], pipes: Mapping[str, float], measured: MeasuredPump
) -> float:
    """Doubt about the flow of a pump or of one of its branches, as a share, where one was measured.

    `flows_m3_s` and `pipes` give every branch's flow and the doubt p of its pipe. What was measured
    has the measurement's doubt t. Branches that meet share a flow in proportion to their
    conductance, whose errors are taken as independent: a branch i beside a measured branch m has
    sqrt(t^2 + p_i^2 + p_m^2); a branch i of a measured pump, or a pump of whose branches i was
    measured, sqrt(t^2 + ((1 - s_i) p_i)^2 + sum over the others of (s_j p_j)^2), s the shares.
    """
    if of == measured.of:
        return measured.tolerance
    if of in pipes and measured.of in pipes:
        return hypot(measured.tolerance, pipes[of], pipes[measured.of])
    branch = of if of in pipes else measured.of
    shares = shares_of(flows_m3_s)
    moved = [(1.0 - s if key == branch else s) * pipes[key] for key, s in shares.items()]
    return hypot(measured.tolerance, *moved)


def shares_of(flows_m3_s: Mapping[str, float]) -> dict[str, float]:
    """Each flow as a share of all of them; noughts where nothing flows."""
    whole = sum(flows_m3_s.values())
    return {key: flow / whole if whole > 0.0 else 0.0 for key, flow in flows_m3_s.items()}
