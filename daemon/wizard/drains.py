"""Questions about the drains of a display's overflow box."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.wizard.displays import Display
from daemon.wizard.form import Form
from daemon.wizard.question import Found, Part, Raw, has
from daemon.wizard.reading import Span, count, or_none, quantity, within
from daemon.wizard.runs import Run, run
from daemon.wizard.sheet import Section
from daemon.wizard.sump import Below, Sump
from rules.site import show
from rules.site.quantities import Share

MOST = 3
LETTERS = ("", "-b", "-c")
STEP_M = 0.01
"""How far the lip of one kind of drain must stand above those of the kind below [m]."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of drain: its ids and words, and what is usual for it.

    `lip` is a share of the height of the display's crest over the bottom of the box, `room_m` what
    a lip leaves above it for the kinds that must stand higher, `end_m` the height of the lower end
    over the water in the sump.
    """

    base: str
    kind: str
    words: str
    why: str
    lip: float
    room_m: float
    end_m: float
    elbows: int
    valve: tuple[str, ...] = ()


KINDS = (
    Kind(
        "main-drain", "siphon-drain", "siphon drain",
        "How many pipes run full of water, throttled by a valve, and carry most of the flow.",
        0.2, 0.06, -0.05, 1, ("gate-valve",),
    ),
    Kind(
        "open-drain", "open-drain", "open drain",
        "How many pipes have air down their middle, the rest of the flow trickling over their lip.",
        0.5, 0.035, 0.01, 1,
    ),
    Kind(
        "emergency-drain", "emergency-drain", "emergency drain",
        "How many pipes are dry on every good day, to carry what the others no longer can.",
        0.66, 0.01, 0.05, 0,
    ),
)  # fmt: skip


def drains(display: Display, sump: Sump) -> float:
    """Ask for the drains of one display; the usual height of a float that watches them [m]."""
    form = display.form.turned(Part.DRAINS)
    counts: list[int] = []
    for kind in KINDS:
        least = 1 if kind is KINDS[-1] and not any(counts) else 0
        title = f"{kind.words.capitalize()}s"
        label = f"{title} of display {display.number}" if display.number > 1 else title
        answer = form.ask(
            f"{kind.base}s", (label, kind.why), "1", count(least, MOST), _count_of(display, kind)
        )
        counts.append(answer.value)
    highest = -STEP_M
    for kind, number in zip(KINDS, counts, strict=True):
        sibling, lips = None, []
        for letter in LETTERS[:number]:
            one = form.sub(f"{kind.base}{letter}", sibling)
            key = f"{kind.base}{display.suffix}{letter}"
            lips.append(_drain(one, kind, key, Between(display, sump.inlet, highest)))
            if kind.valve and counts[1]:
                _share(one, f"passages.{key}", number)
            sibling = sibling or one
        if kind is KINDS[-1] and lips:
            return min(lips) + 0.005
        highest = max([highest, *lips])
    return 0.5 * (highest + display.spill_in_box_m)


def _count_of(display: Display, kind: Kind) -> Found:
    def found(raw: Raw) -> str | None:
        if not has(raw, f"chambers.{display.box}"):
            return None
        ids = [f"{kind.base}{display.suffix}{letter}" for letter in LETTERS]
        return str(sum(has(raw, f"passages.{key}") for key in ids))

    return found


@dataclass(frozen=True, slots=True)
class Between:
    """What a drain joins, and the highest lip in the box of the kinds that stand lower [m]."""

    display: Display
    inlet: Below
    below_m: float


def _drain(form: Form, kind: Kind, key: str, where: Between) -> float:
    """One drain; the height of its lip in the box [m]."""
    desk, words, display, inlet = form.desk, key.replace("-", " "), where.display, where.inlet
    table = desk.sheet.open(
        Section.DOWN, f"passages.{key}", kind=kind.kind, from_=display.box, to=inlet.id
    )
    least = max(0.0, where.below_m + STEP_M, inlet.bottom_m + 0.05 - display.box_bottom_m)
    top = display.depth_in_m if kind is KINDS[-1] else display.spill_in_box_m
    crest = display.crest_m - display.box_bottom_m
    lip = form.height(
        (table, "mouth"), "lip",
        (f"Lip of the {words}",
         "How high the edge at which water enters it stands above the bottom of the overflow box."),
        kind.lip * min(crest, display.depth_in_m),
        Span(least, "the lips of the other drains and the sump", top - kind.room_m, "the overflow"),
    )  # fmt: skip
    fall = Span(0.0, "the bottom", display.box_bottom_m + lip - inlet.bottom_m - STEP_M, "its lip")
    end = form.height(
        (table, "outlet"), "outlet",
        (f"Lower end of the {words}",
         "How high its lower end stands above the bottom of the sump."),
        min(inlet.level_in_m + kind.end_m, inlet.rim_in_m - STEP_M), fall, quiet=True,
    )  # fmt: skip
    length = display.box_bottom_m + lip - inlet.bottom_m - end + 0.2
    before = ("entrance-projecting", *kind.valve)
    pipe = desk.pick("50x2.4 mm", "1.5 in sch40")
    run(form, table, words, Run(pipe, length, kind.elbows, before))
    return lip


def _share(form: Form, table: str, siphons: int) -> None:
    """The share of the flow that a siphon drain's valve is set to, beside an open drain."""
    form.measure(
        (table, "tuned_share"), "share",
        ("Share of the flow its valve is set to carry",
         "The rest trickles into the open drain; none where the valve is fully open."),
        f"{92 // siphons} %",
        or_none(quantity(Share, within(0.01, 0.99 / siphons, show.share))),
        quiet=True, absent="none",
    )  # fmt: skip
