"""The page of a gravity passage: its capacity at the allowed level, and its flow on a good day."""

from __future__ import annotations

from rules.assessment.doubt import TUNING_DOUBT, is_tuned
from rules.explain.asked import Asked
from rules.explain.drains import put_open, put_siphon
from rules.explain.edges import put_comb, put_weir
from rules.explain.ground import Ground
from rules.explain.openings import put_hole, put_screen, put_under_baffle
from rules.explain.page import FLOW, METRE, SHARE, Page
from rules.explain.pipe import put_pipe_doubt, put_speed
from rules.figures import allowed_level_m
from rules.hydraulics.build import PassageFlow
from rules.hydraulics.drains import OpenDrainFlow, SiphonDrainFlow, quiet_submergence
from rules.hydraulics.hole import HoleFlow
from rules.hydraulics.measured import MeasuredFlow
from rules.hydraulics.opening import UnderBaffleFlow
from rules.hydraulics.screen import ScreenFlow
from rules.hydraulics.weir import CombFlow, WeirFlow
from rules.site.passages import EmergencyDrain, OpenDrain, Screen, SiphonDrain

DRAINS = (SiphonDrain, OpenDrain, EmergencyDrain)


def capacity(ground: Ground, key: str) -> Page:
    """The page of what a passage carries with its chamber at its allowed level."""
    site = ground.site
    passage = site.gravity()[key]
    above, below = site.label(passage.from_), site.label(passage.to)
    up = allowed_level_m(site, passage.from_)
    down = ground.least.running().levels_m[passage.to]
    asked = Asked(ground, key, "least", up, down)
    title = f"what the {site.label(key)} carries at the allowed level of the {above}"
    page = Page(f"{key}.capacity", title, ground.units)
    page.section("Asked")
    page.say(
        f"The flow of the {site.label(key)} with the {above} at the highest level at which it "
        f"still does its work and the {below} as while all runs: clean, and with the least bore "
        "that its pipe's standard allows, so that it may be relied on."
    )
    page.section("Given")
    page.given("z1", up, METRE, f"the {above}, above the datum", f"{passage.from_}.allowed-level")
    source = f"{passage.to}.level, with least bores"
    page.given("z2", down, METRE, f"the {below}, above the datum", source)
    flow = _put_passage(page, asked)
    page.range_and_doubt(_why(asked))
    if isinstance(passage, DRAINS):
        band = _put_drain_band(page, asked, flow)
    else:
        off = ground.least.passages[key].uncertainty(up, down)
        page.given("u", off, SHARE, "how far it may be off either way, as a share of it")
        band = _put_band(page, flow, off)
    page.result(flow, FLOW, band=band)
    return page


def running_flow(ground: Ground, key: str) -> Page:
    """The page of what a passage carries on a good day."""
    site, levels = ground.site, ground.levels_m
    passage = site.gravity()[key]
    above, below = site.label(passage.from_), site.label(passage.to)
    asked = Asked(ground, key, "mean", levels[passage.from_], levels[passage.to])
    title = f"what the {site.label(key)} carries while all is clean and runs"
    page = Page(f"{key}.flow", title, ground.units)
    page.section("Asked")
    page.say(
        f"The flow of the {site.label(key)} on a good day, at mean bores, with the {above} and "
        f"the {below} where they come to rest."
    )
    page.section("Given")
    page.given("z1", asked.up_m, METRE, f"the {above}, above the datum", f"{passage.from_}.level")
    page.given("z2", asked.down_m, METRE, f"the {below}, above the datum", f"{passage.to}.level")
    _put_passage(page, asked)
    flow, off = ground.flows_m3_s[key], ground.mean.uncertainty(key)
    flow_of = ground.mean.passages[key]
    tuned = is_tuned(site, key)
    page.range_and_doubt(_why(asked))
    if tuned:
        page.say(f"What comes is as doubtful as the pump: see {passage.from_}.margin.")
        off = TUNING_DOUBT
    if isinstance(flow_of, SiphonDrainFlow) and not tuned and flow > 0.0:
        _put_siphon_doubt(page, asked, flow_of, off)
    else:
        page.given("u", off, SHARE, "how far it may be off either way, as a share of it")
    page.result(flow, FLOW, band=_put_band(page, flow, off))
    return page


def _put_band(page: Page, flow: float, off: float) -> tuple[float, float]:
    """The least and the most that a flow may be; returns them [m3/s]."""
    low, high = flow * (1.0 - off), flow * (1.0 + off)
    page.step("", "Qlow", "Q * (1 - u)", low, FLOW)
    page.step("", "Qhigh", "Q * (1 + u)", high, FLOW)
    return low, high


def _put_siphon_doubt(page: Page, asked: Asked, flow_of: SiphonDrainFlow, off: float) -> None:
    """The doubt of a siphon drain that was not tuned, as u."""
    flow = flow_of.flow(asked.up_m, asked.down_m)
    quiet = quiet_submergence(flow, flow_of.pipe.bore_m)
    at = ""
    if flow_of.lip_and_weight(asked.up_m)[1] < 1.0:
        at = "u"  # its lip holds some of the full pipe's flow back: the friction is another
        put_speed(page, flow_of.pipe, ("Q", flow), "", at)
    put_pipe_doubt(page, flow_of.pipe, flow, "uf", at=at, valve=("Kv", flow_of.throttle_k))
    if asked.up_m - flow_of.mouth_m >= quiet:
        page.step("Its mouth draws no air", "u", "uf", off, SHARE)
    else:
        title = "While its mouth may draw air 20 % more (own estimate)"
        page.step(title, "u", "sqrt(uf^2 + 0.2^2)", off, SHARE)


def _put_passage(page: Page, asked: Asked) -> float:
    """All steps to the flow, on the page as Q; returns it [m3/s]."""
    flow_of = asked.hydraulics.passages[asked.key]
    if not isinstance(flow_of, MeasuredFlow):
        _put_formula(page, asked, flow_of, "Q")
        return flow_of.flow(asked.up_m, asked.down_m)
    _put_formula(page, asked, flow_of.formula, "Qc")
    return _put_factor(page, asked, flow_of)


def _put_formula(page: Page, asked: Asked, flow: PassageFlow, name: str) -> None:
    """The flow by the passage's own formula, on the page as `name`."""
    passage = asked.ground.site.gravity()[asked.key]
    if isinstance(flow, SiphonDrainFlow):
        assert isinstance(passage, SiphonDrain)
        put_siphon(page, asked, passage, flow, name)
        return
    if isinstance(flow, OpenDrainFlow):
        assert isinstance(passage, (OpenDrain, EmergencyDrain))
        put_open(page, asked, passage, flow, name)
        return
    sides, whole = asked.sides, name
    if sides.from_below:
        whole = f"{name}b"
    match flow:
        case WeirFlow():
            put_weir(page, asked.table, flow, sides, whole)
        case CombFlow():
            put_comb(page, asked.table, flow, sides, whole)
        case UnderBaffleFlow():
            put_under_baffle(page, asked.table, flow, sides, whole)
        case HoleFlow():
            put_hole(page, asked.table, flow, sides, whole)
        case ScreenFlow():
            assert isinstance(passage, Screen)
            seen = (passage.clean_loss, passage.at_flow)
            put_screen(page, asked.table, flow, seen, sides=sides, name=whole)
        case _:
            raise TypeError(f"no derivation is known for a {type(flow).__name__}")
    if sides.from_below:
        total = flow.flow(asked.up_m, asked.down_m)
        title = "The lower water stands higher: it runs back, which counts as below zero"
        page.step(title, name, f"0 - {whole}", total, FLOW)


def _put_factor(page: Page, asked: Asked, flow: MeasuredFlow) -> float:
    """The factor that a measurement gave, and the flow with it, as Q; returns it [m3/s]."""
    site, table = asked.ground.site, asked.measured
    measured = site.measured[table]
    assert measured.level is not None
    level = site.chambers[site.gravity()[asked.key].from_].above_datum_m(measured.level)
    total = flow.flow(asked.up_m, asked.down_m)
    if isinstance(flow.formula, SiphonDrainFlow) and abs(flow.factor - 1.0) < 1e-9:
        page.step(
            "The measurement has set its valve, so the formula stands", "Q", "Qc", total, FLOW
        )
        return total
    page.say("What was measured corrects the formula:")
    page.given("zq", level, METRE, "the level while it was measured", f"measured.{table}.level")
    page.given("Qq", measured.flow, FLOW, f"measured on {measured.date}", f"measured.{table}.flow")
    computed = flow.formula.flow(level, asked.down_m)
    page.given("Qp", computed, FLOW, "what the formula gives for zq, worked as for z1 above")
    page.step("Factor by which the passage differs from its formula", "F", "Qq / Qp", flow.factor)
    page.step("Flow, corrected", "Q", "F * Qc", total, FLOW)
    return total


def _put_drain_band(page: Page, asked: Asked, flow: float) -> tuple[float, float]:
    """The band of a drain's capacity; returns its ends [m3/s]."""
    ground, key = asked.ground, asked.key
    band = ground.doubt.of_chamber(ground.site.gravity()[key].from_).capacity[key]
    if is_tuned(ground.site, key):
        off = band.high / flow - 1.0 if flow > 0 else 0.0
        page.given("u", off, SHARE, "how far its share may be off either way")
        page.step("", "Qlow", "Q * (1 - u)", band.low, FLOW)
        page.step("", "Qhigh", "Q * (1 + u)", band.high, FLOW)
        return band.low, band.high
    page.given("u", ground.mean.uncertainty(key), SHARE, "how far the formula may be off")
    most = ground.mean.capacity(key, asked.up_m)
    page.given("Qmean", most, FLOW, "the same worked with the mean bore")
    page.step("", "Qlow", "Q * max(0, 1 - u)", band.low, FLOW)
    page.step("", "Qhigh", "max(Q, Qmean) * (1 + u)", band.high, FLOW)
    return band.low, band.high


def _why(asked: Asked) -> str:
    """Where the doubt of a passage's flow comes from."""
    flow = asked.hydraulics.passages[asked.key]
    if is_tuned(asked.ground.site, asked.key):
        return (
            "Doubt: its valve was set by eye against the very flow that runs, so its share may be "
            f"off by {TUNING_DOUBT * 100:.0f} %, whatever that flow is."
        )
    if isinstance(flow, MeasuredFlow):
        return (
            "Doubt: how far the measurement may be off. At another flow than the one measured it "
            "says less."
        )
    return WHY[type(flow)]


WHY = {
    SiphonDrainFlow: "Doubt: 30 % of the loss coefficients and 10 % of the wall's friction, as far "
    "as they bear on the flow; 20 % more while its mouth may still draw air (own estimates).",
    OpenDrainFlow: "Doubt: 20 % for the lip and the air core (own estimate).",
    WeirFlow: "Doubt: 5 % in the range of the formula, 15 % below heads of 30 mm (own estimate).",
    CombFlow: "Doubt: 15 %, since slots so narrow are outside every tested range (own estimate).",
    UnderBaffleFlow: "Doubt: 10 % (own estimate).",
    ScreenFlow: "Doubt: 25 %, since one loss seen says little of other flows (own estimate).",
    HoleFlow: "Doubt: 5 % when covered, 15 % while only partly (own estimate).",
}
"""Where the doubt of each formula comes from."""
