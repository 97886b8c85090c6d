"""Questions about the site itself, the displays, and the edges over which water leaves them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from daemon.wizard.form import Desk, Form
from daemon.wizard.question import Part, Raw, has
from daemon.wizard.reading import (
    Span,
    choice,
    count,
    identifier,
    length_within,
    name,
    quantity,
    slug,
    within,
    yes_no,
)
from daemon.wizard.sheet import Section
from rules.site import show
from rules.site.quantities import Length, Salinity, Share, Size, Temperature
from rules.site.show import Units

MOST_DISPLAYS = 8
EDGE_M = 0.005
"""How far under a rim an edge must lie at least [m]."""

LOW_M = 0.08
"""How far under the display's crest the bottom of its overflow box must lie at least [m]."""

ROCK = within(0.0, 0.9, show.share)


@dataclass(frozen=True, slots=True)
class Display:
    """A display with its overflow box; heights in m above the floor unless a name says `in`."""

    number: int
    form: Form
    chamber: str
    box: str
    bottom_m: float
    rim_in_m: float
    crest_in_m: float
    box_bottom_m: float
    depth_in_m: float

    @property
    def suffix(self) -> str:
        """What its ids end in: nothing for the first."""
        return suffix(self.number)

    @property
    def crest_m(self) -> float:
        """Height of the edge over which its water leaves."""
        return self.bottom_m + self.crest_in_m

    @property
    def box_top_m(self) -> float:
        """Height of the rim of its overflow box."""
        return self.box_bottom_m + self.depth_in_m

    @property
    def spill_in_box_m(self) -> float:
        """Up to where its overflow box may fill, above the bottom of that box: crest or rim."""
        return min(self.crest_m, self.box_top_m) - self.box_bottom_m


def suffix(number: int) -> str:
    """What the ids of the things of one display end in."""
    return "" if number == 1 else f"-{number}"


def site(desk: Desk) -> int:
    """Ask for name, units and how many displays; returns how many."""
    form, sheet = Form(desk, "site", Part.SITE), desk.sheet
    sheet.open(Section.HEAD, "site")
    named = form.plain(
        ("site", "name"), "name",
        ("Name of the site",
         "What people call it; it stands in every alert."),
        "Home reef", name,
    )  # fmt: skip
    form.plain(
        ("site", "id"), "id",
        ("Short id",
         "Lower-case letters, digits and hyphens; the messages to the broker carry it."),
        slug(named.value, "reef"), identifier,
    )  # fmt: skip
    units = form.plain(
        ("site", "units"), "units",
        ("Units, metric or us",
         "In which figures are printed; you may answer in any unit."),
        "metric",
        choice(*(unit.value for unit in Units)),
    )  # fmt: skip
    desk.units = Units(units.value)
    how_many = form.ask(
        "displays", ("Displays", "How many display tanks drain into this sump, 1 to 8."), "1",
        count(1, MOST_DISPLAYS), _displays_of,
    )  # fmt: skip
    _water(desk)
    return how_many.value


def _displays_of(raw: Raw) -> str | None:
    found = sum(has(raw, f"chambers.display{suffix(n)}") for n in range(1, MOST_DISPLAYS + 1))
    return str(found) if found else None


def _water(desk: Desk) -> None:
    form, table = Form(desk, "water", Part.SITE), desk.sheet.open(Section.HEAD, "water")
    for field, usual, read in (
        ("temperature", desk.pick("25 degC", "77 degF"), quantity(Temperature)),
        ("salinity", "35 g/kg", quantity(Salinity)),
        ("evaporation", "1 %", quantity(Share)),
    ):
        form.measure(
            (table, field), field, (field.capitalize(), f"The {field} of the water."), usual, read,
            quiet=True,
        )  # fmt: skip


def display(desk: Desk, number: int, first: Display | None, several: bool) -> Display:
    """Ask for one of `several` displays and its overflow; answers about `first` are usual here."""
    key = f"display{suffix(number)}"
    same = first is not None and _same(desk, number)
    form = Form(desk, key, Part.DISPLAYS, first.form if first else None, same)
    form.about = f"Display {number}" if several else ""
    desk.sheet.open(Section.CHAMBERS, f"chambers.{key}")
    bottom, rim, length = _tank(desk, form, f"chambers.{key}")
    kind = form.ask(
        "overflow",
        ("Comb or weir",
         "Water leaves the display through a comb (a row of slots) or over a weir (a straight "
         "edge)."),
        "comb", choice("comb", "weir"), lambda raw: _overflow_of(raw, number),
    ).value  # fmt: skip
    box = f"overflow-box{suffix(number)}"
    table = desk.sheet.open(
        Section.DOWN, f"passages.{kind}{suffix(number)}", kind=kind, from_=key, to=box
    )
    crest = form.height(
        (table, "crest"), "crest",
        ("Height of the crest",
         "The edge that water goes over: the bottom of the slots, or the top of the weir."),
        rim - min(0.045, 0.1 * rim), Span(0.01, "the bottom", rim - EDGE_M, "the rim"),
    )  # fmt: skip
    box_bottom, depth, box_length = _box(desk, form, box, bottom + rim, bottom + crest)
    if kind == "comb":
        _slots(desk, form, table, rim - crest)
    else:
        form.measure(
            (table, "width"), "weir-width",
            ("Length of the weir",
             "How much edge water goes over, measured along the edge."),
            box_length,
            quantity(Size, length_within(0.02, length + 5.0, desk.units)),
        )  # fmt: skip
    return Display(number, form, key, box, bottom, rim, crest, box_bottom, depth)


def _tank(desk: Desk, form: Form, table: str) -> tuple[float, float, float]:
    """Bottom above the floor, rim above the bottom, length [m]."""
    number = table.removeprefix("chambers.display").lstrip("-")
    form.called(table, f"display {number}".strip())
    side = quantity(Size, length_within(0.1, 20.0, desk.units))
    length = form.measure(
        (table, "length"), "length", ("Inside length", "The longer inside of the display."),
        desk.pick("1200 mm", "48 in"), side,
    )  # fmt: skip
    form.measure(
        (table, "width"), "width", ("Inside width", "The shorter inside, front to back."),
        desk.pick("600 mm", "24 in"), side,
    )  # fmt: skip
    rim = form.measure(
        (table, "rim"), "rim",
        ("Height of the rim",
         "From the inside bottom up to the edge over which the display would spill."),
        desk.pick("600 mm", "24 in"), quantity(Size, length_within(0.1, 5.0, desk.units)),
    )  # fmt: skip
    bottom = form.measure(
        (table, "bottom"), "bottom",
        ("Bottom above the floor",
         "How high its inside bottom stands above the floor."),
        desk.pick("900 mm", "36 in"), quantity(Length, length_within(-10.0, 10.0, desk.units)),
        always=True,
    )  # fmt: skip
    form.measure(
        (table, "displacement"), "rock",
        ("Share of rock",
         "How much of the volume rock and sand take away."),
        "10 %", quantity(Share, ROCK),
    )  # fmt: skip
    return bottom.value, rim.value, length.value


def _box(
    desk: Desk, form: Form, box: str, rim_m: float, crest_m: float
) -> tuple[float, float, str]:
    """Bottom above the floor and depth of the overflow box [m], and its length as written."""
    table = desk.sheet.open(Section.CHAMBERS, f"chambers.{box}")
    form.called(table, box.replace("-", " "))
    side = quantity(Size, length_within(0.02, 20.0, desk.units))
    length = form.measure(
        (table, "length"), "box.length",
        ("Overflow box, inside length",
         "The box or corner behind the comb or weir, in which the drains stand."),
        desk.pick("300 mm", "12 in"), side,
    )  # fmt: skip
    form.measure(
        (table, "width"), "box.width",
        ("Overflow box, inside width", "Its other inside, front to back."),
        desk.pick("150 mm", "6 in"), side,
    )  # fmt: skip
    least = rim_m - crest_m + 0.1
    depth = form.measure(
        (table, "rim"), "box.depth",
        ("Overflow box, inside depth",
         "From its inside bottom up to its own rim."),
        desk.pick("350 mm", "14 in") if least < 0.3 else desk.height(least + 0.1),
        quantity(Size, length_within(least, 6.0, desk.units)),
    ).value  # fmt: skip
    bottom = form.height(
        (table, "bottom"), "box.bottom",
        ("Overflow box, bottom above the floor",
         "How high its inside bottom stands above the floor; its rim is taken to be level with the "
         "display's."),
        rim_m - depth,
        Span(crest_m - 5.0, "what the overflow can reach", crest_m - LOW_M, "the display's crest"),
        quiet=True,
    )  # fmt: skip
    return bottom, depth, length.text


def _slots(desk: Desk, form: Form, table: str, free_m: float) -> None:
    slots = form.plain(
        (table, "slots"), "slots", ("Slots", "How many slots the comb has."), "40", count(1, 1000),
    )  # fmt: skip
    form.measure(
        (table, "slot_width"), "slot-width",
        ("Clear width of one slot",
         f"The gap between two teeth, all {slots.text} alike."),
        desk.pick("8 mm", "5/16 in"),
        quantity(Size, length_within(0.0005, 0.2, desk.units)),
    )  # fmt: skip
    form.measure(
        (table, "slot_height"), "slot-height",
        ("Height of a slot",
         "Clear height of a slot from the crest up."),
        desk.height(free_m),
        quantity(Size, length_within(0.002, 5.0, desk.units)), quiet=True,
    )  # fmt: skip


def _overflow_of(raw: Raw, number: int) -> str | None:
    for kind in ("comb", "weir"):
        if has(raw, f"passages.{kind}{suffix(number)}"):
            return kind
    return None


def _same(desk: Desk, number: int) -> bool:
    """Ask whether a display is built like the first."""
    form = Form(desk, f"display{suffix(number)}", Part.DISPLAYS)
    form.about = f"Display {number}"
    return form.ask(
        "same",
        ("Like display 1, yes or no",
         "Whether sizes, overflow, drains and pipe up are the same; its height may differ."),
        "yes", yes_no, lambda raw: _same_of(raw, number),
    ).value  # fmt: skip


def _same_of(raw: Raw, number: int) -> str | None:
    """Whether a file describes a display like the first one, heights above the floor apart."""
    end = suffix(number)
    if not has(raw, f"chambers.display{end}"):
        return None
    own = _things(raw, end)
    return "yes" if own == _things(raw, "") else "no"


def _things(raw: Raw, end: str) -> dict[str, dict[str, object]]:
    """The tables of one display under the ids of the first, less what always differs."""
    bases = ("display", "overflow-box", "comb", "weir", "riser")
    drains = (f"{kind}-drain" for kind in ("main", "open", "emergency"))
    ids = [*bases, *(f"{drain}{letter}" for drain in drains for letter in ("", "-b", "-c"))]
    found = {}
    for table in ("chambers", "passages"):
        for key in ids:
            base, letter = (key[:-2], key[-2:]) if key.endswith(("-b", "-c")) else (key, "")
            thing = raw.get(table, {}).get(f"{base}{end}{letter}")
            if isinstance(thing, Mapping):
                apart = {"name", "bottom", "from", "to"}
                found[key] = {k: v for k, v in thing.items() if k not in apart}
    return found
