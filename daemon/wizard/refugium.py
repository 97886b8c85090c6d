"""Questions about the refugium: a side tank on a branch of the return pump."""

from __future__ import annotations

from dataclasses import dataclass, replace

from daemon.wizard.form import Desk, Form
from daemon.wizard.question import Found, Part, Raw, at, has
from daemon.wizard.reading import (
    Span,
    choice,
    length_within,
    number,
    or_none,
    quantity,
    within,
    yes_no,
)
from daemon.wizard.runs import Run, run
from daemon.wizard.sheet import GUESS, Section
from daemon.wizard.sump import NAMES, Below, Sump
from rules.site import show
from rules.site.quantities import Share, Size

CHAMBER = "chambers.refugium"
OVER_M = 0.05
"""How far its bottom must lie above the sump's at least, so that it can drain [m]."""


@dataclass(frozen=True, slots=True)
class Refugium:
    """The refugium: what was answered, the chamber below, its heights and its drain's lip [m]."""

    form: Form
    below: Below
    bottom_m: float
    rim_in_m: float
    lip_in_m: float = 0.0


def refugium(desk: Desk, sump: Sump) -> Refugium | None:
    """Ask for the refugium and its drains, where there is one."""
    form = Form(desk, "refugium", Part.REFUGIUM)
    fitted = form.ask(
        "fitted",
        ("Refugium, yes or no",
         "Yes where a branch of the return pump feeds a side tank that overflows into the sump."),
        "no", yes_no, _there("chambers.refugium", "chambers"),
    ).value  # fmt: skip
    if not fitted:
        return None
    below = _below(form, sump)
    desk.sheet.open(Section.CHAMBERS, CHAMBER)
    form.called(CHAMBER, "refugium")
    side = quantity(Size, length_within(0.05, 20.0, desk.units))
    for field, usual, why in (
        ("length", desk.pick("400 mm", "16 in"), "The longer inside of the refugium."),
        ("width", desk.pick("300 mm", "12 in"), "Its other inside."),
    ):
        form.measure((CHAMBER, field), field, (f"Inside {field}", why), usual, side)
    rim = form.measure(
        (CHAMBER, "rim"), "rim",
        ("Height of the rim", "From its inside bottom up to the edge it would spill over."),
        desk.pick("300 mm", "12 in"), quantity(Size, length_within(0.1, 5.0, desk.units)),
    ).value  # fmt: skip
    bottom = form.height(
        (CHAMBER, "bottom"), "bottom",
        ("Bottom above the floor",
         "How high its inside bottom stands above the floor; it must drain into the sump."),
        below.bottom_m + 0.2,
        Span(below.bottom_m + OVER_M, "the sump's bottom", below.bottom_m + 20.0, "the roof"),
    )  # fmt: skip
    form.measure(
        (CHAMBER, "displacement"), "rock",
        ("Share of rock", "How much of its volume rock takes away."),
        "none", or_none(quantity(Share, within(0.0, 0.9, show.share))), quiet=True, absent="none",
    )  # fmt: skip
    tank = Refugium(form, below, bottom, rim)
    return replace(tank, lip_in_m=_drains(tank))


def _below(form: Form, sump: Sump) -> Below:
    """The chamber of the sump that it drains into: the second of three, else the first."""
    chambers = {one.id: one for one in sump.chambers}
    names = ", ".join(NAMES[key] for key in chambers)
    to = form.ask(
        "to", ("Chamber it drains into", f"By its id; the chambers are the {names}."),
        list(chambers)[1 if len(chambers) > 2 else 0], choice(*chambers),
        at("passages.refugium-drain", "to"), quiet=True,
    ).value  # fmt: skip
    return chambers[to]


def _there(table: str, otherwise: str) -> Found:
    """Yes where a file holds a table, no where it holds another one and not this."""

    def found(raw: Raw) -> str | None:
        if has(raw, table):
            return "yes"
        return "no" if has(raw, otherwise) else None

    return found


def _drains(tank: Refugium) -> float:
    """Its drain and the emergency drain beside it; the height of the drain's lip in it [m]."""
    form, rim, to = tank.form, tank.rim_in_m, tank.below.id
    table = form.desk.sheet.open(
        Section.DOWN, "passages.refugium-drain", kind="open-drain", from_="refugium", to=to
    )
    span = Span(0.02, "the bottom", rim - 0.04, "the rim")
    lip = _drain(tank, table, 0.73 * rim, span)
    spare = form.ask(
        "emergency-fitted",
        ("Emergency drain of the refugium, yes or no",
         "Yes where a second pipe with a higher lip stays dry until the first is blocked."),
        "yes", yes_no, _there("passages.refugium-emergency", CHAMBER),
    ).value  # fmt: skip
    if spare:
        table = form.desk.sheet.open(
            Section.DOWN, "passages.refugium-emergency", kind="emergency-drain",
            from_="refugium", to=to,
        )  # fmt: skip
        span = Span(lip + 0.01, "the lip of its drain", rim - 0.01, "the rim")
        _drain(tank, table, lip + 0.03, span)
    return lip


def _drain(tank: Refugium, table: str, usual_m: float, span: Span) -> float:
    """One of its two drains; the height of its lip in it [m]."""
    key, below = table.removeprefix("passages."), tank.below
    words, form = key.replace("-", " "), tank.form.sub(key.removeprefix("refugium-"))
    lip = form.height(
        (table, "mouth"), "lip",
        (f"Lip of the {words}",
         "How high its edge stands above the refugium's inside bottom; water runs down over it."),
        usual_m, span,
    )  # fmt: skip
    fall = Span(0.0, "the bottom", tank.bottom_m + lip - below.bottom_m - 0.01, "its lip")
    form.height(
        (table, "outlet"), "outlet",
        (f"Lower end of the {words}",
         "How high its lower end stands above the bottom of the sump."),
        0.75 * below.rim_in_m, fall, quiet=True,
    )  # fmt: skip
    run(form, table, words, Run(form.desk.pick("32x1.6 mm", "1 in sch40"), 0.6, 1))
    return lip


def feed(tank: Refugium) -> None:
    """Ask for the branch of the return pump that feeds it."""
    form, key = tank.form.turned(Part.WAY_UP).sub("feed"), "refugium-feed"
    table = form.desk.sheet.open(
        Section.UP, f"passages.{key}", kind="branch", pump="return-pump", to="refugium"
    )
    form.height(
        (table, "outlet"), "outlet",
        ("Outlet in the refugium",
         "How high the open end of its feed stands; over the water, no water runs back."),
        tank.rim_in_m - 0.01, Span(0.0, "the bottom", tank.rim_in_m, "the rim"),
    )  # fmt: skip
    pipe = form.desk.pick("20x1.5 mm", "1/2 in sch40")
    run(form, table, "refugium feed", Run(pipe, 1.0, 0, ("tee-branch", "ball-valve")))
    valve_loss(form, table, "280")


def valve_loss(form: Form, table: str, usual: str) -> None:
    """The loss of a valve on a branch: never asked, written unless it is open."""
    loss = form.ask(
        "valve-loss",
        ("Loss coefficient of its valve", "How far a valve on the branch is closed; 0 is open."),
        usual, number(0, 1e5), at(table, "valve_loss", "0"), quiet=True,
        place=(table, "valve_loss"), guess=usual != "0",
    )  # fmt: skip
    if loss.value:
        form.desk.sheet.row(table, "valve_loss", loss.text, GUESS if loss.guess else "")
