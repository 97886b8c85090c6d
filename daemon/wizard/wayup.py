"""Questions about the return pump and its pipes up."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.wizard.curve import (
    Point,
    curve_in,
    end_in,
    is_usual,
    known_in,
    points,
    usual_curve,
    written,
)
from daemon.wizard.displays import EDGE_M, Display
from daemon.wizard.form import Desk, Form
from daemon.wizard.question import Answer, Part
from daemon.wizard.reading import (
    Check,
    Span,
    choice,
    length_within,
    or_none,
    quantity,
    within,
)
from daemon.wizard.refugium import Refugium, feed, valve_loss
from daemon.wizard.runs import Run, run
from daemon.wizard.sheet import CURVE, GUESS, Section, quoted
from daemon.wizard.sump import Below, Sump
from rules.site import show
from rules.site.quantities import Duration, Flow, Length
from rules.site.show import Units

PUMP = "pumps.return-pump"


@dataclass(frozen=True, slots=True)
class Duty:
    """What the pump must do: how high it must lift at least [m], and for how many displays."""

    lift_m: float
    displays: int


def way_up(
    desk: Desk, displays: list[Display], sump: Sump, refugium: Refugium | None
) -> tuple[str, float]:
    """Ask for the risers and the pump; what a flow meter would sit on, and the intake [m]."""
    several = len(displays) > 1 or refugium is not None
    desk.sheet.open(Section.UP, PUMP)
    lift = max(_riser(display, sump.last, several) for display in displays)
    if refugium is not None:
        feed(refugium)
    form = Form(desk, "pump", Part.WAY_UP)
    intake = _pump(form, sump.last, Duty(lift, len(displays)))
    if several:
        riser = displays[0].form.subs["riser"].answers["pipe"].text
        table = desk.sheet.open(Section.UP, f"{PUMP}.trunk")
        shared = Run(riser, 0.4, 0, ("union", "ball-valve"), ())
        run(form.sub("trunk"), table, "pipe before the first branch", shared)
    return ("return-pump" if len(displays) > 1 else "riser"), intake


def _riser(display: Display, last: Below, several: bool) -> float:
    """The pipe up to one display; how high the pump must lift at least to reach it [m]."""
    form, key = display.form.turned(Part.WAY_UP).sub("riser"), f"riser{display.suffix}"
    desk, words = form.desk, key.replace("-", " ")
    table = desk.sheet.open(
        Section.UP, f"passages.{key}", kind="branch", pump="return-pump", to=display.chamber
    )
    out = form.height(
        (table, "outlet"), "outlet",
        (f"Outlet of the {words}",
         "How high its open end stands above the display's bottom; after a stop, water may run "
         "back down to it."),
        display.crest_in_m - 0.04, Span(0.0, "the bottom", display.rim_in_m - EDGE_M, "the rim"),
    )  # fmt: skip
    broken = Span(out, "the outlet, or it breaks nothing", display.rim_in_m, "the rim")
    form.measure(
        (table, "siphon_break"), "siphon-break",
        (f"Siphon break of the {words}",
         "How high the hole that lets air in after a stop stands above the display's bottom, or "
         "none."),
        desk.height(display.crest_in_m + 0.004, broken),
        or_none(quantity(Length, broken.check(desk.units))), absent="none",
    )  # fmt: skip
    length = max(0.3, display.bottom_m + out - last.bottom_m + 0.3)
    before = ("tee-branch",) if several else ("union", "ball-valve")
    run(form, table, words, Run(desk.pick("40x1.9 mm", "1-1/4 in sch40"), length, 2, before))
    valve_loss(form, table, "0")
    return display.bottom_m + out - last.bottom_m - last.level_in_m


def _pump(form: Form, last: Below, duty: Duty) -> float:
    """The pump itself; the height of its intake [m]."""
    sheet = form.desk.sheet
    form.called(PUMP, "return pump")
    sheet.row(PUMP, "from", quoted("return"))
    intake = form.height(
        (PUMP, "intake"), "intake",
        ("Intake of the pump", "The level in the return chamber under which it draws air."),
        min(0.06, 0.3 * last.level_in_m),
        Span(0.0, "the bottom", last.level_in_m - 0.02, "the level in the return chamber"),
    )  # fmt: skip
    known = form.ask(
        "known",
        ("What you know of the pump, curve or rating",
         "Its maker's curve by some points of it, or only its greatest flow and greatest head."),
        "rating", choice("curve", "rating"), known_in,
    ).value  # fmt: skip
    curve, mark = (_points if known == "curve" else _rated)(form, duty)
    form.measure(
        (PUMP, "run_on"), "run-on",
        ("Run-on", "How long water still rises after the power is cut."),
        "2 s", quantity(Duration, within(0.5, 60.0, show.duration)), quiet=True, absent="2 s",
    )  # fmt: skip
    lines = [f"  {{ flow = {quoted(p.flow)}, head = {quoted(p.head)} }}," for p in curve]
    sheet.row(PUMP, "curve", "\n".join(["[", *lines, "]"]), mark)
    return intake


def _reaches(duty: Duty, units: Units) -> Check:
    """A greatest head that moves water at all."""
    sentence = (
        "a pump that lifts no higher moves nothing: the outlet stands "
        f"{show.length(duty.lift_m, units)} over the water it draws from"
    )
    return lambda head: None if head >= max(0.1, duty.lift_m + 0.1) else sentence


def _usual(desk: Desk, duty: Duty) -> tuple[str, str]:
    """The usual greatest flow and head for so many displays so high up."""
    metres = max(2.5, 1.0 + round(4.0 * duty.lift_m) / 2.0)
    head = f"{round(metres / 0.3048):g} ft" if desk.units is Units.US else f"{metres:g} m"
    flow = desk.pick(f"{4500 * duty.displays} l/h", f"{1200 * duty.displays} gal/h")
    return flow, head


def _points(form: Form, duty: Duty) -> tuple[tuple[Point, ...], str]:
    """The curve by its points, and its mark."""
    flow, head = (
        Answer(*quantity(kind)(text), True)
        for kind, text in zip((Flow, Length), _usual(form.desk, duty), strict=True)
    )
    curve = form.ask(
        "curve",
        ("Points of the curve",
         "Each as flow at head, from no flow to most, with commas between them."),
        written(usual_curve(flow, head)), points(_reaches(duty, form.desk.units)), curve_in,
        place=(PUMP, "curve"),
    )  # fmt: skip
    if is_usual(curve.value):
        return curve.value, CURVE
    return curve.value, GUESS if curve.guess else ""


def _rated(form: Form, duty: Duty) -> tuple[tuple[Point, ...], str]:
    """The curve by its two ends, and its mark."""
    units, (flow, head) = form.desk.units, _usual(form.desk, duty)
    greatest = form.ask(
        "flow", ("Greatest flow", "What the pump moves against no head at all, as its box says."),
        flow, quantity(Flow, within(1e-5, 0.1, lambda value: show.flow(value, units))),
        lambda raw: end_in(raw, "flow", -1),
    )  # fmt: skip
    highest = form.ask(
        "head", ("Greatest head", "The height at which the pump moves nothing, as its box says."),
        head, quantity(Length, length_within(0.1, 100.0, units), _reaches(duty, units)),
        lambda raw: end_in(raw, "head", 0),
    )  # fmt: skip
    return usual_curve(greatest, highest), CURVE
