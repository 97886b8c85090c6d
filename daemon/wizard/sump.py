"""Questions about the sump: its chambers, the baffles between them, and sponges."""

from __future__ import annotations

from dataclasses import dataclass, replace

from daemon.wizard.displays import EDGE_M, Display
from daemon.wizard.form import Desk, Form
from daemon.wizard.question import Answer, Part, Raw, Reader, at, has
from daemon.wizard.reading import (
    Span,
    count,
    length_within,
    or_none,
    quantity,
    within,
    yes_no,
)
from daemon.wizard.sheet import Section
from rules.site import show
from rules.site.quantities import Flow, Length, Share, Size

NAMES = {
    "inlet": "inlet chamber",
    "media": "media chamber",
    "settling": "settling chamber",
    "chamber-4": "fourth chamber",
    "chamber-5": "fifth chamber",
    "return": "return chamber",
}
"""The chambers of a sump, in the order in which water runs through them; the last always exists."""

LENGTHS = {"inlet": ("350 mm", "14 in"), "media": ("300 mm", "12 in")}

FALL_M = 0.15
"""How far the sump's bottom must lie under the lowest overflow, for its drains to fall [m]."""


@dataclass(frozen=True, slots=True)
class Below:
    """A chamber of the sump: its bottom above the floor, its rim and its level above its bottom."""

    id: str
    bottom_m: float
    rim_in_m: float
    level_in_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Sump:
    """The chambers of the sump in the order in which water runs through them."""

    chambers: tuple[Below, ...]

    @property
    def inlet(self) -> Below:
        """The chamber that the drains reach."""
        return self.chambers[0]

    @property
    def last(self) -> Below:
        """The chamber that the return pump draws from."""
        return self.chambers[-1]


Common = dict[str, tuple[Answer[float], Reader[float]]]
"""What all chambers of a sump share (width, rim, bottom above the floor), and how it is read."""


def chamber_ids(number: int) -> tuple[str, ...]:
    """The ids of a sump of so many chambers."""
    return (*list(NAMES)[: number - 1], "return")


def sump(desk: Desk, displays: list[Display]) -> Sump:
    """Ask for the sump."""
    form = Form(desk, "sump", Part.SUMP)
    number = form.ask(
        "chambers",
        ("Chambers", "How many chambers the sump has, 1 to 6; 1 for a plain tank."),
        "3", count(1, len(NAMES)), _chambers_of,
    ).value  # fmt: skip
    common = _common(form, min(min(d.crest_m, d.box_top_m) for d in displays))
    ids, usual = chamber_ids(number), 0.62 * common["rim"][0].value
    chambers: list[Below] = []
    for key, following in zip(ids, (*ids[1:], ""), strict=True):
        here = _chamber(form, key, common, len(displays))
        if following:
            crest = _baffle(form, here, following, common["width"][0], usual)
            usual = max(0.04, crest - 0.1 * here.rim_in_m)
            chambers.append(replace(here, level_in_m=crest))
        else:
            chambers.append(replace(here, level_in_m=_level(form, here, chambers)))
    return Sump(tuple(chambers))


def _level(form: Form, here: Below, before: list[Below]) -> float:
    """The level in the return chamber [m above its bottom]."""
    return form.height(
        ("chambers.return", "level"), "return.level",
        ("Level in the return chamber",
         "How high water stands there while all runs; no baffle holds it, the top-off does."),
        min([0.46 * here.rim_in_m, *(one.level_in_m - 0.015 for one in before[-1:])]),
        Span(0.03, "the bottom", here.rim_in_m - 0.02, "the rim"),
    )  # fmt: skip


def _chambers_of(raw: Raw) -> str | None:
    found = sum(has(raw, f"chambers.{key}") for key in NAMES)
    return str(found) if found else None


def _common(form: Form, lowest_m: float) -> Common:
    """What all its chambers share; its bottom must lie under the lowest overflow."""
    desk = form.desk
    fall = Span(
        lowest_m - 20.0, "what its drains can reach",
        lowest_m - FALL_M, "the overflow, for water to run down",
    )  # fmt: skip
    usual = desk.pick("100 mm", "4 in") if lowest_m > 0.3 else desk.height(lowest_m - 0.5, fall)
    asked = (
        ("width", "Inside width", "The side that all its chambers share, front to back.",
         desk.pick("450 mm", "18 in"), quantity(Size, length_within(0.05, 20.0, desk.units))),
        ("rim", "Height of the rim", "From its inside bottom up to the edge it would spill over.",
         desk.pick("400 mm", "16 in"), quantity(Size, length_within(0.1, 5.0, desk.units))),
        ("bottom", "Bottom above the floor", "How high its inside bottom stands above the floor.",
         usual, quantity(Length, fall.check(desk.units))),
    )  # fmt: skip
    return {
        name: (
            form.ask(
                name, (label, why), usual, read, at("chambers.return", name),
                place=("chambers.return", name),
            ),
            read,
        )
        for name, label, why, usual, read in asked
    }  # fmt: skip


def _chamber(form: Form, key: str, common: Common, displays: int) -> Below:
    """One chamber; the one with the pump is longer, and longer the more displays there are."""
    desk = form.desk
    table = desk.sheet.open(Section.CHAMBERS, f"chambers.{key}")
    form.called(table, NAMES[key])
    metric, us = LENGTHS.get(key, ("100 mm", "4 in"))
    if key == "return":
        metric, us = f"{400 + 250 * displays} mm", f"{16 + 10 * displays} in"
    form.measure(
        (table, "length"), f"{key}.length",
        (f"Length of the {NAMES[key]}", "Inside, in the direction of the flow."),
        desk.pick(metric, us), quantity(Size, length_within(0.02, 20.0, desk.units)),
    )  # fmt: skip
    own = {
        name: form.same((table, name), f"{key}.{name}", answer, read).value
        for name, (answer, read) in common.items()
    }
    form.measure(
        (table, "displacement"), f"{key}.displacement",
        (f"Share of gear in the {NAMES[key]}", "How much of its volume media and gear take away."),
        "none", or_none(quantity(Share, within(0.0, 0.9, show.share))), quiet=True, absent="none",
    )  # fmt: skip
    return Below(key, own["bottom"], own["rim"])


def _baffle(form: Form, here: Below, following: str, width: Answer[float], usual_m: float) -> float:
    """The baffle after a chamber, and a sponge under it; its crest above the bottom [m]."""
    key = here.id
    table = form.desk.sheet.open(
        Section.DOWN, f"passages.{key}-baffle", kind="baffle", from_=key, to=following
    )
    crest = form.height(
        (table, "crest"), f"{key}.crest",
        (f"Crest of the baffle after the {NAMES[key]}",
         "The top of the wall to the next chamber: it holds the level in this one."),
        usual_m, Span(0.04, "the bottom", here.rim_in_m - EDGE_M, "the rim"),
    )  # fmt: skip
    form.same((table, "width"), f"{key}.baffle-width", width, quantity(Size))
    sponge = form.ask(
        f"{key}.sponge",
        (f"Sponge after the {NAMES[key]}, yes or no",
         "Yes where a sponge fills the gap under this baffle, and its crest takes what goes over."),
        "no", yes_no, lambda raw: _sponge_of(raw, key),
    ).value  # fmt: skip
    if sponge:
        _sponge(form, key, following, crest)
    return crest


def _sponge_of(raw: Raw, key: str) -> str | None:
    if has(raw, f"passages.{key}-sponge"):
        return "yes"
    return "no" if has(raw, f"chambers.{key}") else None


def _sponge(form: Form, key: str, following: str, crest_m: float) -> None:
    """A sponge: where it stands, and how much it holds back when clean; never asked."""
    desk = form.desk
    table = desk.sheet.open(
        Section.DOWN, f"passages.{key}-sponge", kind="screen", from_=key, to=following
    )
    bottom = form.height(
        (table, "bottom"), f"{key}.sponge-bottom",
        ("Lower edge of the sponge", "How high its lower edge stands above the bottom."),
        0.0, Span(0.0, "the bottom", crest_m - 0.02, "the crest of the baffle"), quiet=True,
    )  # fmt: skip
    form.height(
        (table, "top"), f"{key}.sponge-top",
        ("Upper edge of the sponge", "How high its upper edge stands above the bottom."),
        crest_m - 0.01, Span(bottom + 0.005, "its lower edge", crest_m, "the crest of the baffle"),
        quiet=True,
    )  # fmt: skip
    form.measure(
        (table, "clean_loss"), f"{key}.sponge-loss",
        ("Loss of the clean sponge", "Difference of level across it when clean."),
        desk.pick("8 mm", "0.3 in"), quantity(Size, length_within(0.0005, 0.5, desk.units)),
        quiet=True,
    )  # fmt: skip
    form.measure(
        (table, "at_flow"), f"{key}.sponge-flow",
        ("Flow of that loss", "The flow at which that difference was seen."),
        desk.pick("4000 l/h", "1050 gal/h"),
        quantity(Flow, within(1e-5, 0.1, lambda value: show.flow(value, desk.units))), quiet=True,
    )  # fmt: skip
