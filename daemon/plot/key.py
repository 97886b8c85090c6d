"""The key beside the drawing: what each tag stands for, its heights and its flow, and the signs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from daemon.plot import looks
from daemon.plot.looks import SMALL_PT, height_mm, wrapped
from daemon.plot.panel import Place
from daemon.plot.signs import SIGNS, draw_sign, draw_tag
from rules.site import show
from rules.site.passages import Branch, Comb, Hole, Passage, Screen, UnderBaffle, Weir

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from rules.plan import Plan
    from rules.site.model import Site

TOP_OFF = "T"
DRY_M3_S = 1e-7
"""A way with less flow is drawn as dry [m3/s]."""
TAG_MM, HEIGHTS_MM, FLOW_MM = 7.0, 33.0, 17.0
HEADING_MM = 2.6
LINE_GAP_MM = 0.7


def letters(index: int) -> str:
    """a, b, ... z, aa, ab, ..."""
    first = letters(index // 26 - 1) if index >= 26 else ""
    return first + chr(ord("a") + index % 26)


def tags(site: Site) -> dict[str, str]:
    """A short tag for every passage (numbers), float (letters) and pump (P)."""
    found = {key: str(i) for i, key in enumerate(site.passages, 1)}
    found |= {key: letters(i) for i, key in enumerate(site.floats())}
    pumps = list(site.pumps)
    found |= {key: f"P{i}" if len(pumps) > 1 else "P" for i, key in enumerate(pumps, 1)}
    return found


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the key: of a tag, of a sign, or, with neither, a heading."""

    tag: str
    name: str
    heights: str = ""
    flow: str = ""
    sign: str = ""

    @property
    def heading(self) -> bool:
        """Whether it stands over others."""
        return not self.tag and not self.sign


@dataclass(frozen=True, slots=True)
class Lines:
    """A row broken into lines, and its height on paper."""

    row: Row
    names: list[str]
    heights: list[str]
    height_mm: float


def heights(site: Site, passage: Passage) -> str:
    """The heights of a passage, each above the bottom of its own chamber."""
    units = site.site.units
    unit = looks.heights(units).name

    def said(*values: tuple[str, float]) -> str:
        return ", ".join(
            f"{name} {show.length(value, units).removesuffix(f' {unit}')}" for name, value in values
        )

    match passage:
        case Weir():
            return said(("crest", passage.crest))
        case Comb():
            return said(("crest", passage.crest), ("slots to", passage.crest + passage.slot_height))
        case Screen():
            return said(("bottom", passage.bottom), ("top", passage.top))
        case UnderBaffle():
            return said(("bottom", passage.bottom), ("top", passage.bottom + passage.gap))
        case Hole():
            return said(("centre", passage.centre))
        case Branch():
            if passage.siphon_break is None:
                return said(("outlet", passage.outlet)) + ", no siphon break"
            return said(("outlet", passage.outlet), ("break", passage.siphon_break))
        case _:
            return said(("mouth", passage.mouth), ("outlet", passage.outlet))


def rows(plan: Plan) -> list[Row]:
    """The whole key."""
    site, units, tag = plan.site, plan.site.site.units, tags(plan.site)
    flows = plan.figures.running.flows_m3_s
    unit, metre = looks.heights(units).name, looks.heads(units)
    found = [Row("", "ways for the water", f"heights [{unit}]", "flow")]
    for key, passage in site.passages.items():
        flow = show.flow(flows[key], units)
        found.append(Row(tag[key], site.label(key), heights(site, passage), flow))
    found.append(Row("", "pumps and top-off", f"intake [{unit}], head", "flow"))
    for lift in plan.figures.lifts:
        intake = show.length(site.pumps[lift.pump].intake, units).removesuffix(f" {unit}")
        head = f"intake {intake}, head {lift.head_m * metre.factor:.2f} {metre.name}"
        flow = show.flow(lift.flow_m3_s, units)
        found.append(Row(tag[lift.pump], site.label(lift.pump), head, flow))
    if site.top_off is not None:
        flow = show.flow(site.top_off.rate, units)
        found.append(Row(TOP_OFF, "top-off valve", "only while it is open", flow))
    if site.floats():
        found.append(Row("", "floats", f"height [{unit}], duty"))
    for key, sensor in site.floats().items():
        height = show.length(sensor.height, units).removesuffix(f" {unit}")
        found.append(Row(tag[key], site.label(key), f"{height}, {sensor.duty}"))
    found.append(Row("", "signs"))
    seen = _signs(plan)
    return found + [Row("", text, sign=sign) for sign, text in SIGNS.items() if sign in seen]


def _signs(plan: Plan) -> set[str]:
    """The signs that stand in the drawing of this site."""
    site, flows = plan.site, plan.figures.running.flows_m3_s
    seen = {"down", "up", "level", "bar"}
    if any(abs(flows[key]) < DRY_M3_S for key in site.gravity()):
        seen.add("dry")
    if site.top_off is not None:
        seen.add("fresh")
    if site.floats():
        seen.add("float")
    branches = [p for p in site.passages.values() if isinstance(p, Branch)]
    if any(branch.siphon_break is not None for branch in branches):
        seen.add("break")
    return seen


def _lines(row: Row, width_mm: float) -> Lines:
    """Break a row into lines; signs and headings may take the whole width."""
    beside = HEIGHTS_MM + FLOW_MM if row.heights or row.flow else 0.0
    names = wrapped(row.name, SMALL_PT, width_mm - TAG_MM - beside)
    sides = wrapped(row.heights, SMALL_PT, HEIGHTS_MM)
    size = height_mm(SMALL_PT, max(len(names), len(sides))) + LINE_GAP_MM
    return Lines(row, names, sides, size + HEADING_MM * row.heading)


def columns(found: list[Row], place: Place) -> list[list[Lines]]:
    """Break the key into columns of the size of `place`."""
    ready: list[list[Lines]] = [[]]
    left = place.height_mm
    for row in found:
        lines = _lines(row, place.width_mm)
        # a heading never stands alone at the foot of a column
        needed = lines.height_mm + (8.0 if row.heading else 0.0)
        if needed > left:
            ready.append([])
            left = place.height_mm
        ready[-1].append(lines)
        left -= lines.height_mm
    return ready


def draw_column(axes: Axes, place: Place, column: list[Lines]) -> None:
    """Draw one column of the key."""
    y, line = place.bottom_mm + place.height_mm, height_mm(SMALL_PT)
    left, right = place.left_mm, place.left_mm + place.width_mm
    for lines in column:
        row = lines.row
        middle = y - HEADING_MM * row.heading - line * 0.55
        if row.tag:
            draw_tag(axes, (left + 2.4, middle), row.tag)
        elif row.sign:
            draw_sign(axes, (left + 2.4, middle), row.sign)
        for x, texts, side in (
            (left + TAG_MM * (not row.heading), lines.names, "left"),
            (right - HEIGHTS_MM - FLOW_MM, lines.heights, "left"),
            (right, [row.flow], "right"),
        ):
            for i, text in enumerate(texts):
                axes.text(
                    x,
                    middle - i * line,
                    text,
                    ha=side,
                    va="center_baseline",
                    fontsize=SMALL_PT,
                    fontweight="bold" if row.heading else "normal",
                )
        y -= lines.height_mm
        if row.heading:
            axes.plot([left, right], [y + 0.5, y + 0.5], color=looks.FAINT, linewidth=0.4)
