"""How the valve of a siphon drain was set, on a page."""

from __future__ import annotations

from itertools import pairwise
from math import isclose

from rules.explain.asked import Asked
from rules.explain.mouth import put_lip, put_weight
from rules.explain.page import FLOW, METRE, PLAIN, SHARE, Named, Page
from rules.explain.pipe import put_speed
from rules.hydraulics.drains import SiphonDrainFlow
from rules.hydraulics.measured import MeasuredFlow
from rules.hydraulics.valves import VALVES, valve_k
from rules.site.passages import SiphonDrain


def put_throttle(page: Page, asked: Asked, flow: SiphonDrainFlow) -> None:
    """The loss coefficient of its valve, on the page as Kv, and where it comes from."""
    drain = asked.ground.site.passages[asked.key]
    assert isinstance(drain, SiphonDrain)
    if drain.valve_open is not None:
        _put_opening(page, asked, drain.valve_open)
        return
    if drain.tuned_share is None or flow.throttle_k <= 0.0:
        title = "Its valve is taken as fully open, on top of what K counts for it"
        if asked.key in asked.hydraulics.short_of_share:
            title = "Even with its valve fully open it passes less than its share"
        page.step(title, "Kv", "0", flow.throttle_k)
        return
    if isinstance(asked.hydraulics.passages[asked.key], MeasuredFlow):
        level, wanted = _put_measured(page, asked)
    elif not _has_its_share(asked, drain.tuned_share):
        what = "loss coefficient of its valve, as set for all that the pump sends"
        page.given("Kv", flow.throttle_k, PLAIN, what, f"{asked.table}.tuned_share")
        page.remark(
            "Its valve was set to carry its share of all that the pump sends. Less than that "
            "reaches it here, since a tank on the way overflows or is held back, so how it was set "
            "cannot be followed from these levels."
        )
        return
    else:
        level, wanted = _put_share(page, asked, drain.tuned_share)
    _put_set(page, asked, flow, level, wanted)


def _arriving(asked: Asked) -> float:
    """What reaches the chamber that the drain leaves, while all runs [m3/s]."""
    site, flows = asked.ground.site, asked.hydraulics.running().flows_m3_s
    here = site.gravity()[asked.key].from_
    return sum(flows[key] for key, passage in site.passages.items() if passage.to == here)


def _has_its_share(asked: Asked, share: float) -> bool:
    """True if it carries its share of what reaches its chamber, as it was set to."""
    carries = asked.hydraulics.running().flows_m3_s[asked.key]
    return isclose(carries, share * _arriving(asked), rel_tol=1e-6)


def _put_opening(page: Page, asked: Asked, share: float) -> None:
    """A valve whose position is known: a straight line between the table's points in ln K."""
    page.given("s", share, SHARE, "how far it is open", f"{asked.table}.valve_open")
    pairs = pairwise(VALVES["gate-valve"])
    (s0, k0), (s1, k1) = next(pair for pair in pairs if share <= pair[1][0])
    source = "handbook table of gate valves"
    page.given("s0", s0, SHARE, "next lower opening of the table", source)
    page.given("k0", k0, PLAIN, "loss coefficient there", source)
    page.given("s1", s1, SHARE, "next higher opening of the table", source)
    page.given("k1", k1, PLAIN, "loss coefficient there", source)
    formula = "k0 * (k1 / k0)^((s - s0) / (s1 - s0))"
    page.step("Loss coefficient of its valve", "Kv", formula, valve_k("gate-valve", share))
    page.remark("Tables of valves half open differ by a factor of two: an order of size.")


def _put_measured(page: Page, asked: Asked) -> tuple[Named, Named]:
    """The level at which its flow was measured, and that flow."""
    site, table = asked.ground.site, asked.measured
    measured = site.measured[table]
    assert measured.level is not None
    level = site.chambers[site.gravity()[asked.key].from_].above_datum_m(measured.level)
    page.say("Its flow was measured, and that tells how its valve is set:")
    page.given("zr", level, METRE, "the level then, above the datum", f"measured.{table}.level")
    page.given("Qr", measured.flow, FLOW, f"measured on {measured.date}", f"measured.{table}.flow")
    return ("zr", level), ("Qr", measured.flow)


def _put_share(page: Page, asked: Asked, share: float) -> tuple[Named, Named]:
    """The level at which it was set by eye, and the flow that it then carries."""
    site, running = asked.ground.site, asked.hydraulics.running()
    here = site.gravity()[asked.key].from_
    label = site.label(here)
    arriving = _arriving(asked)
    wanted, level = share * arriving, running.levels_m[here]
    page.say(
        f"Its valve was set so that it carries its share of what reaches the {label}, while the "
        "other drains carry the rest; the level then is the one while all runs:"
    )
    page.given("s", share, SHARE, "its share", f"{asked.table}.tuned_share")
    page.given("Qin", arriving, FLOW, f"what reaches the {label}", f"{here}.level")
    said = ("z1", level)
    if level != asked.up_m:
        source = f"{here}.level, with {asked.bores}"
        page.given("zr", level, METRE, "the level while all runs, above the datum", source)
        said = ("zr", level)
    page.step("What it carries then", "Qr", "s * Qin", wanted, FLOW)
    page.residual("its running flow - Qr", running.flows_m3_s[asked.key] - wanted, FLOW)
    return said, ("Qr", wanted)


def _put_set(page: Page, asked: Asked, flow: SiphonDrainFlow, level: Named, wanted: Named) -> None:
    """The valve's loss, from the flow that it lets pass at a level."""
    pipe, (level_said, level_m) = flow.pipe, level
    fall = level_m - max(flow.outlet_m, asked.down_m)
    page.step("The fall then", "Hr", f"{level_said} - max(zo, z2)", fall, METRE)
    lip, weight = flow.lip_and_weight(level_m)
    full = wanted
    if weight < 1.0 and wanted[1] > lip:
        head = level_m - flow.mouth_m
        page.step("Head over the mouth then", "hr", f"{level_said} - zm", head, METRE)
        put_lip(page, ("hr", head), pipe.bore_m, "r")
        put_weight(page, ("hr", head), pipe.bore_m, weight, "r")
        through = (wanted[1] - (1.0 - weight) * lip) / weight
        formula = f"({wanted[0]} - (1 - wr) * min(Qwr, Qor)) / wr"
        page.step("What the full pipe carries of it", "Qfr", formula, through, FLOW)
        full = ("Qfr", through)
    put_speed(page, pipe, full, "", "r")
    page.step(
        "The valve takes what the fall leaves over from the other losses (Darcy-Weisbach)",
        "Kv",
        "2 * g * Hr / vr^2 - (K + fr * L / D)",
        flow.throttle_k,
    )
