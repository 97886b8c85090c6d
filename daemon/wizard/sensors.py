"""Questions about the sensors and their pins."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.wizard.displays import Display
from daemon.wizard.form import Desk, Form, Words, small
from daemon.wizard.question import Part, fitted_in
from daemon.wizard.reading import Span, name, quantity, within
from daemon.wizard.refugium import Refugium
from daemon.wizard.sheet import Section, quoted
from daemon.wizard.sump import NAMES, Sump
from rules.site import show
from rules.site.quantities import Duration, PulsesPerVolume, Share

PINS = (5, 6, 12, 13, 16, 19, 20, 21, 26, 18, 25, 4, 24, 22, 23, 7, 8, 9, 10, 11, 27, 17, 3, 2,
        15, 14)  # fmt: skip
"""Pins to offer for contacts, the plainest first; the last ones have other uses on some boards.
GPIO 0 and 1 are left out: they are kept for the identity of boards on top."""

SKIN_M = 0.003
"""How far a float must lie inside the heights between which it has a meaning [m]."""


@dataclass(frozen=True, slots=True)
class Float:
    """A float switch that may be fitted: where it would hang, what for, and the usual height."""

    id: str
    chamber: str
    duty: str
    words: str
    why: str
    usual_m: float
    span: Span
    filter: str = ""


@dataclass(frozen=True, slots=True)
class Plumbing:
    """What the sensors watch; each display with the usual height of its drain-watch float [m]."""

    displays: list[tuple[Display, float]]
    sump: Sump
    refugium: Refugium | None
    reservoir: bool
    meter_on: str
    intake_m: float


def sensors(desk: Desk, plumbing: Plumbing) -> None:
    """Ask for every sensor."""
    for display, watch_m in plumbing.displays:
        form = display.form.turned(Part.SENSORS).sub("floats")
        for short, one in _of_display(display, watch_m).items():
            _float(form, short, one)
    if (tank := plumbing.refugium) is not None:
        one = Float(
            "refugium-high", "refugium", "spill-edge", "High float of the refugium",
            "A little under its rim: the last level before it spills.", tank.rim_in_m - 0.015,
            _between(tank.lip_in_m, "the lip of its drain", tank.rim_in_m),
        )  # fmt: skip
        _float(tank.form.turned(Part.SENSORS), "float", one)
    form = Form(desk, "sensors", Part.SENSORS)
    for one in _of_sump(plumbing):
        _float(form, one.id, one)
    _flow_meter(form, plumbing.meter_on)
    _contacts(form)


def _between(least_m: float, low: str, most_m: float, high: str = "the rim") -> Span:
    return Span(least_m + SKIN_M, low, most_m - SKIN_M, high)


def _of_display(display: Display, watch_m: float) -> dict[str, Float]:
    number, end = display.number, display.suffix
    of = f"display {number}" if number > 1 else "the display"
    box = f"overflow box {number}" if number > 1 else "the overflow box"
    crest, rim = display.crest_in_m, display.rim_in_m
    return {
        "high": Float(
            f"display-high{end}", display.chamber, "spill-edge", f"High float of {of}",
            "Between the running level and the rim: the last level before it spills.",
            rim - 0.42 * (rim - crest), Span(crest + 0.001, "the crest", rim - 0.001, "the rim"),
        ),
        "watch": Float(
            f"box-watch{end}", display.box, "drain-watch", f"Float in {box}",
            "A level that the drains hold on a good day; it sees a blocked drain first.",
            watch_m, _between(0.0, "the bottom", display.depth_in_m),
        ),
    }  # fmt: skip


def _of_sump(plumbing: Plumbing) -> list[Float]:
    sump, intake = plumbing.sump, plumbing.intake_m
    rim, level = sump.last.rim_in_m, sump.last.level_in_m
    low = Float(
        "return-low", "return", "dry-run", "Low float of the return chamber",
        "Under the running level and over the intake: the last level before the pump draws air.",
        0.5 * (intake + level),
        _between(intake, "the intake", level, "the running level"),
    )  # fmt: skip
    high = Float(
        "return-high", "return", "spill-edge", "High float of the return chamber",
        "Over where a stop leaves the water, and under the float of the inlet chamber.",
        min(level + 0.085, 0.78 * rim),
        _between(level, "the running level", rim),
    )  # fmt: skip
    hold = Float(
        "return-level", "return", "top-off", "Top-off float",
        "At the level that the top-off keeps in the return chamber.",
        level - 0.002, _between(0.01, "the bottom", rim), "3 s",
    )  # fmt: skip
    inlet = Float(
        "inlet-high", sump.inlet.id, "spill-edge", "High float of the inlet chamber",
        "A little over the crest of its baffle: should that shut, what still comes fits over it.",
        min(sump.inlet.level_in_m + 0.03, sump.inlet.rim_in_m - 0.05),
        _between(0.01, "the bottom", sump.inlet.rim_in_m),
    )  # fmt: skip
    return [
        *([inlet] if len(sump.chambers) > 1 else []),
        high,
        low,
        *([hold] if plumbing.reservoir else []),
    ]


def _fitted(
    form: Form, short: str, table: str, words: Words, *, kind: str, usual: bool = True
) -> str | None:
    """Ask for the pin of a sensor; its table, or None where it is not fitted."""
    offered = form.desk.free_pin(*PINS) if usual else "none"
    pin = form.pin(short, words, offered, fitted_in(table))
    if pin is None:
        return None
    form.desk.sheet.open(Section.SENSORS, table, kind=kind)
    form.called(table, small(words[0]))
    form.desk.sheet.row(table, "pin", str(pin))
    return table


def _float(form: Form, short: str, one: Float) -> None:
    """A float switch and the height at which it turns."""
    table = _fitted(form, short, f"sensors.{one.id}", (one.words, one.why), kind="float")
    if table is None:
        return
    form.desk.sheet.row(table, "chamber", quoted(one.chamber))
    form.desk.sheet.row(table, "duty", quoted(one.duty))
    place = NAMES.get(one.chamber, one.chamber.replace("-", " "))
    form.height(
        (table, "height"), f"{short}-height",
        (f"{one.words}, height",
         f"The level at which it turns, measured from the bottom of the {place}."),
        one.usual_m, one.span,
    )  # fmt: skip
    if one.filter:
        form.plain(
            (table, "filter"), f"{short}-filter",
            (f"{one.words}, filter", "How long it must read wet before it counts."), one.filter,
            quantity(Duration, within(0.2, 10.0, show.duration)), quiet=True, absent="1 s",
        )  # fmt: skip


def _flow_meter(form: Form, on: str) -> None:
    """The meter of the return flow."""
    key = "return-flow"
    words = (
        "Flow meter",
        "A meter with pulses in the pipe up: it shows a weak pump or a slow block early.",
    )
    table = _fitted(form, key, f"sensors.{key}", words, kind="flow-meter", usual=False)
    if table is None:
        return
    form.desk.sheet.row(table, "on", quoted(on))
    form.measure(
        (table, "pulses"), f"{key}-pulses",
        ("Pulses of the meter",
         "How many it gives a litre or a gallon, by its data sheet or counted over a bucket."),
        "450 pulses/l",
        quantity(PulsesPerVolume, within(100.0, 1e8, lambda value: f"{value / 1000:g} pulses/l")),
    )  # fmt: skip
    form.measure(
        (table, "tolerance"), f"{key}-tolerance",
        ("Tolerance of the meter", "How far it may be off."),
        "10 %", quantity(Share, within(0.001, 0.5, show.share)), quiet=True, absent="10 %",
    )  # fmt: skip


def _contacts(form: Form) -> None:
    """The leak pad and the supply input."""
    words = ("Leak pad", "A pad on the floor that closes a contact when wet.")
    table = _fitted(form, "floor-pad", "sensors.floor-pad", words, kind="leak")
    if table is not None:
        form.plain(
            (table, "place"), "floor-pad-place",
            ("Place of the leak pad", "Where it lies, for the text of the alert."),
            "the floor under the sump", name, quiet=True,
        )  # fmt: skip
    words = (
        "Mains-present input",
        "An isolated contact that is closed while the pump has its supply; never mains itself.",
    )
    _fitted(form, "supply", "sensors.supply", words, kind="mains", usual=False)
