"""Questions about the top-off and its reservoir."""

from __future__ import annotations

from daemon.wizard.form import Desk, Form
from daemon.wizard.question import Part, Raw, has
from daemon.wizard.reading import Span, length_within, quantity, within, yes_no
from daemon.wizard.sheet import Section
from daemon.wizard.sump import Sump
from rules.site import show
from rules.site.quantities import Duration, Flow, Length, Size

RESERVOIR = "chambers.reservoir"


def top_off(desk: Desk, sump: Sump) -> bool:
    """Ask for the reservoir and the top-off; True where there is one."""
    form, units = Form(desk, "top-off", Part.TOP_OFF), desk.units
    fitted = form.ask(
        "reservoir",
        ("Reservoir, yes or no",
         "Yes where a reservoir of fresh water tops the return chamber up through a valve or a "
         "small pump."),
        "yes", yes_no, _reservoir_of,
    ).value  # fmt: skip
    if not fitted:
        return False
    desk.sheet.open(Section.CHAMBERS, RESERVOIR)
    form.called(RESERVOIR, "fresh-water reservoir")
    side = quantity(Size, length_within(0.05, 20.0, units))
    for field, usual, why in (
        ("length", desk.pick("300 mm", "12 in"), "The longer inside of the reservoir."),
        ("width", desk.pick("200 mm", "8 in"), "Its other inside."),
    ):
        form.measure((RESERVOIR, field), field, (f"Inside {field}", why), usual, side)
    rim = form.measure(
        (RESERVOIR, "rim"), "rim", ("Height of its rim", "From its inside bottom up to its rim."),
        desk.pick("400 mm", "16 in"), quantity(Size, length_within(0.05, 5.0, units)),
    ).value  # fmt: skip
    form.height(
        (RESERVOIR, "level"), "level",
        ("Level when full",
         "How high the fresh water stands in it when full."),
        0.9 * rim,
        Span(0.01, "the bottom", rim, "the rim"),
    )  # fmt: skip
    form.measure(
        (RESERVOIR, "bottom"), "bottom",
        ("Bottom above the floor",
         "How high its inside bottom stands above the floor."),
        desk.height(sump.last.bottom_m),
        quantity(Length), quiet=True,
    )  # fmt: skip
    table = desk.sheet.open(Section.UP, "top_off", reservoir="reservoir", to="return")
    form.measure(
        (table, "rate"), "rate",
        ("Flow of the top-off",
         "What runs in while its valve is open; a timed bucket tells."),
        desk.pick("1.5 l/min", "0.4 gal/min"),
        quantity(Flow, within(1e-7, 0.01, lambda value: show.flow(value, units))),
    )  # fmt: skip
    form.measure(
        (table, "longest"), "longest", ("Longest opening", "The longest time it may stay open."),
        "5 min", quantity(Duration, within(1.0, 86400.0, show.duration)), quiet=True,
        guess=False, absent="300 s",
    )  # fmt: skip
    return True


def _reservoir_of(raw: Raw) -> str | None:
    if has(raw, RESERVOIR):
        return "yes"
    return "no" if has(raw, "chambers") else None
