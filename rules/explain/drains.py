"""Drains on a page: the pipe that runs full, the film down a wall, and how a valve was set."""

from __future__ import annotations

from rules.explain.asked import Asked
from rules.explain.mouth import put_lip, put_weight
from rules.explain.page import FLOW, METRE, PLAIN, Page
from rules.explain.pipe import PipeSaid, put_driven, put_k, put_lost, put_pipe
from rules.explain.throttle import put_throttle
from rules.hydraulics.drains import (
    AIR_CORE_SHARE,
    OpenDrainFlow,
    SiphonDrainFlow,
    annular_capacity,
    lip_parts,
    quiet_submergence,
)
from rules.hydraulics.fittings import of_drain
from rules.hydraulics.partfull import PLASTIC_N, full_run_flow
from rules.site.passages import Drain
from rules.site.show import GALLON_M3, INCH_M


def _put_given(
    page: Page, asked: Asked, drain: Drain, flow: SiphonDrainFlow | OpenDrainFlow
) -> None:
    table = asked.table
    page.given("zm", flow.mouth_m, METRE, "its mouth above the datum", f"{table}.mouth")
    page.given("zo", flow.outlet_m, METRE, "its lower end above the datum", f"{table}.outlet")
    least = "least bore that the standard allows" if asked.bore == "least" else "mean bore"
    length = f"{table}.length"
    if drain.level_run is not None:
        length += ", level_run.length"
    said = PipeSaid(f'{least} of "{drain.pipe.label}"', f"{table}.pipe", length)
    put_pipe(page, asked.ground, flow.pipe, said)


def _put_heads(page: Page, asked: Asked, flow: SiphonDrainFlow | OpenDrainFlow, name: str) -> float:
    """The head over the mouth as h, and the fall as H; returns the fall [m], 0 if none flows."""
    over = asked.up_m - flow.mouth_m
    page.step("Head over the mouth", "h", "z1 - zm", over, METRE)
    if over <= 0.0:
        page.step("The water does not reach the mouth: none flows", name, "0", 0.0, FLOW)
        return 0.0
    fall = asked.up_m - max(flow.outlet_m, asked.down_m)
    title = "Fall to its lower end, or to the lower water where that stands higher"
    page.step(title, "H", "z1 - max(zo, z2)", fall, METRE)
    if fall <= 0.0:
        page.step("There is no fall: none flows", name, "0", 0.0, FLOW)
        return 0.0
    return fall


def put_siphon(page: Page, asked: Asked, drain: Drain, flow: SiphonDrainFlow, name: str) -> None:
    """The flow of a siphon drain, on the page as `name`."""
    _put_given(page, asked, drain, flow)
    page.section("Worked")
    fall = _put_heads(page, asked, flow, name)
    if fall <= 0.0:
        return
    put_k(page, flow.pipe, of_drain(drain.fittings))
    put_throttle(page, asked, flow)
    page.say("With its valve set so, at the level asked for:")
    valve = ("Kv", flow.throttle_k)
    full = put_driven(page, flow.pipe, ("H", fall), valve=valve)
    head = asked.up_m - flow.mouth_m
    total = flow.flow(asked.up_m, asked.down_m)
    weight = flow.lip_and_weight(asked.up_m)[1]
    if weight >= 1.0:
        title = "The water stands a bore or more over its mouth, so it runs full"
        page.step(title, name, "Qf", total, FLOW)
    else:
        put_lip(page, ("h", head), flow.pipe.bore_m)
        put_weight(page, ("h", head), flow.pipe.bore_m, weight)
        title = "The full pipe and its lip, weighed"
        page.step(title, name, "w * Qf + (1 - w) * min(Qw, Qo, Qf)", total, FLOW)
    quiet = quiet_submergence(full, flow.pipe.bore_m)
    title = "Depth over the mouth from which no whirl draws air (ANSI/HI 9.8, for intakes)"
    page.step(title, "S", "D * (1 + 2.3 * v / sqrt(g * D))", quiet, METRE)
    if head < quiet:
        page.remark("The head over its mouth is less than S: a whirl may still draw air down.")


def put_open(page: Page, asked: Asked, drain: Drain, flow: OpenDrainFlow, name: str) -> None:
    """The flow of an open or an emergency drain with air down its middle, as `name`."""
    _put_given(page, asked, drain, flow)
    page.section("Worked")
    fall = _put_heads(page, asked, flow, name)
    if fall <= 0.0:
        return
    head, pipe = asked.up_m - flow.mouth_m, flow.pipe
    put_lip(page, ("h", head), pipe.bore_m)
    page.given("r", AIR_CORE_SHARE, PLAIN, "share that water may fill, 7/24", "plumbing codes")
    page.given("gal", GALLON_M3 / 60.0, FLOW, "one US gallon a minute")
    page.step(
        "Most that runs down the wall with the air core open (Wyly and Eaton, NBS Monograph 31, "
        "1961; formula from memory)",
        "Qa",
        f"27.8 * r^(5 / 3) * (D / {INCH_M:g})^(8 / 3) * gal",
        annular_capacity(pipe.bore_m),
        FLOW,
    )
    limits = ["Qw", "Qo", "Qa"]
    run = drain.level_run
    if run is not None:
        page.given("Lr", run.length, METRE, "near-level stretch", f"{asked.table}.level_run")
        page.given("Lf", run.fall, METRE, "its fall", f"{asked.table}.level_run")
        page.given("nr", PLASTIC_N, PLAIN, "Manning's n of smooth plastic", "from memory")
        page.step(
            "Most that the near-level stretch carries under no pressure (Manning 1891)",
            "Qm",
            "pi / 4 * D^2 * (D / 4)^(2 / 3) * sqrt(Lf / Lr) / nr",
            full_run_flow(pipe.bore_m, run.fall / run.length),
            FLOW,
        )
        limits.append("Qm")
    film = min(*lip_parts(head, pipe.bore_m), flow.annular_m3_s)
    page.step("The least of these", "Qr", f"min({', '.join(limits)})", film, FLOW)
    put_k(page, pipe, of_drain(drain.fittings))
    lost = put_lost(page, pipe, ("Qr", film), at="r")
    if lost <= fall:
        title = "That is no more than the fall: the pipe itself holds nothing back"
        page.step(title, name, "Qr", film, FLOW)
    else:
        page.say("That is more than the fall: the pipe carries less, and runs full.")
        put_driven(page, pipe, ("H", fall), name=name)
    page.remark(
        "It is counted with air down its middle. Once the water drowns its mouth, at "
        f"{page.said_length(flow.drowns_at_m)} above the datum, it may draw a siphon and carry "
        "more; that is not relied on."
    )
