"""The page of one drill: its story, the verdict, the figures, and everything in words as well."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib.resources import files

from rules.site import show
from simulator.night.outcome import Outcome
from simulator.report import axes, bars, wording
from simulator.report.figure import close_up, figure, whole
from simulator.report.markup import Html, el, join
from simulator.report.told import KEEPERS, Told

MOST_LINES = 120
"""A night of more events than this is told up to there; the figure shows them all."""


@cache
def _file(name: str) -> Html:
    """A file of ours that goes into every page as it is."""
    return Html((files("simulator") / "report" / name).read_text(encoding="utf-8"))


def document(title: str, *body: Html, script: bool) -> str:
    """A whole page that needs nothing but itself."""
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("title", title),
        el("style", _file("page.css")),
    )
    end = el("script", _file("cursor.js")) if script else Html("")
    return "<!DOCTYPE html>\n" + el("html", head, el("body", *body, end), lang="en") + "\n"


def patterns() -> Html:
    """The hatchings of the figures, so that no sign is a colour alone."""
    made = [
        el(
            "pattern",
            el("rect", width=6, height=6, class_=f"{name}-paper"),
            el("path", d=d, class_=f"{name}-ink"),
            id=f"hatch-{name}",
            width=6,
            height=6,
            patternUnits="userSpaceOnUse",
        )
        for name, d in (
            ("over", "M-1 1L1 -1M0 6L6 0M5 7L7 5"),
            ("rtn", "M-1 1L1 -1M0 6L6 0M5 7L7 5"),
            ("latch", "M0 6L6 0M0 0L6 6"),
            ("wrong", "M-1 5L1 7M0 0L6 6M5 -1L7 1"),
        )
    ]
    return el("svg", el("defs", *made), width=0, height=0, aria_hidden="true", class_="defs")


def stamp(night: Outcome) -> Html:
    """The verdict, in a word, a sign and a colour."""
    sign = "✓" if night.passed else "✗"
    kind = "held" if night.passed else "not-held"
    return el("strong", f"{sign} {wording.verdict(night)}", class_=f"stamp {kind}")


def drill_page(told: Told) -> str:
    """One drill's page."""
    close = close_up(told)
    figures = [figure(told, close[1], close[0])] if close else []
    figures.append(figure(told, whole(told), "The whole night"))
    return document(
        f"{told.drill.title} — {told.site.site.name}",
        patterns(),
        el(
            "main",
            _head(told),
            _nights(told),
            _statements(told),
            *figures,
            _events(told),
            _foot(told),
        ),
        script=True,
    )


def _head(told: Told) -> Html:
    drill, night = told.drill, told.guard
    when = f"{told.site.site.name} · begins {drill.starts_at}, lasts {show.duration(drill.lasts)}"
    began = ""
    if night.cause_s is not None and drill.happens:
        at = axes.clock(axes.start_of_day_s(drill.starts_at) + night.cause_s)
        first = min(drill.happens, key=lambda h: (not h.cause, h.at))
        began = f"It began at {at} – {wording.happening(told.site, first)}. "
    return el(
        "header",
        el("p", el("a", "all drills", href="index.html"), f" · {told.group}", class_="where"),
        el("h1", drill.title),
        el("p", stamp(night), " ", el("span", when), class_="when"),
        el("p", " ".join(drill.story.split()), class_="story"),
        el(
            "p",
            wording.unbroken(
                f"{began}{wording.seen_and_done(told)} {wording.would_have_been(told)}"
            ),
            class_="gist",
        ),
    )


def _nights(told: Told) -> Html:
    units, foremost = told.site.site.units, told.foremost
    if foremost is None:
        return Html("")
    rim = show.length(told.site.chambers[foremost].rim, units)

    def highest(keeper: str) -> str:
        found = told.courses[keeper].highest_m(foremost)
        return "not known" if found is None else show.length(found, units)

    lines: dict[str, Callable[[str], str]] = {
        "water on the floor": lambda k: wording.water(wording.floor_m3(told.nights[k]), units),
        f"highest level of the {told.site.label(foremost)} (rim {rim})": highest,
        "pump ran dry": lambda k: wording.stretch(told.nights[k].dry_s),
        "pump cut": lambda k: wording.cut(told.nights[k]),
        "pump stopped": lambda k: _times(bars.stops(told, k)),
        "stopped without need": lambda k: wording.stretch(told.nights[k].needless_stop_s),
    }
    head = el(
        "tr",
        el("td", ""),
        *(el("th", KEEPERS[k].said, scope="col", class_=f"of-{k}") for k in told.keepers),
    )
    body = [
        el("tr", el("th", name, scope="row"), *(el("td", say(k)) for k in told.keepers))
        for name, say in lines.items()
    ]
    return el(
        "section",
        el("h2", "The same night, kept three ways" if len(told.keepers) == 3 else "The night"),
        el("table", el("thead", head), el("tbody", *body), class_="nights"),
    )


def _times(count: int) -> str:
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


def _statements(told: Told) -> Html:
    lines = [
        el(
            "tr",
            el(
                "td",
                "✓ held" if found.held else "✗ not held",
                class_="held" if found.held else "not-held",
            ),
            el("td", found.statement),
            el("td", found.detail),
        )
        for found in told.guard.findings
    ]
    head = el("tr", *(el("th", said, scope="col") for said in ("verdict", "stated", "seen")))
    return el(
        "section",
        el("h2", "What was stated of this night, and what was seen"),
        el("table", el("thead", head), el("tbody", *lines), class_="statements"),
    )


def _events(told: Told) -> Html:
    start = axes.start_of_day_s(told.drill.starts_at)
    cause_s = told.guard.cause_s
    found = [(h.at, "wrong", wording.happening(told.site, h)) for h in told.drill.happens]
    found += [(event.t_s, "guard", event.text) for event in told.guard.events]
    found.sort(key=lambda line: line[0])
    lines = [
        el(
            "tr",
            el("td", axes.clock(start + t_s), class_="time"),
            el("td", "" if cause_s is None else axes.since(t_s - cause_s), class_="time"),
            el("td", "the night" if who == "wrong" else "the guard", class_=who),
            el("td", said),
        )
        for t_s, who, said in found[:MOST_LINES]
    ]
    more = len(found) - len(lines)
    tail = el("p", f"{more} more, later in the night, are not listed.") if more > 0 else Html("")
    heads = ("time", "from the cause", "who", "what")
    head = el("tr", *(el("th", said, scope="col") for said in heads))
    return el(
        "section",
        el("h2", "In order of time"),
        el("table", el("thead", head), el("tbody", *lines), class_="events"),
        tail,
    )


def _foot(told: Told) -> Html:
    night = told.guard
    taken = f", hazards taken out: {', '.join(night.without)}" if night.without else ""
    again = join(" To see it again: ", el("code", told.again)) if told.again else Html("")
    said = f"A recorded night, played to the rules as they are{taken}."
    if told.has_water:
        said = (
            f"A simulated night (seed {night.seed}, readings from {night.source}{taken}); the "
            "plant's own figures differ from the rules' by drawn errors. Levels are sampled once "
            "a second at most. The shaded band about the capacity is the doubt of its computation."
        )
    return el(
        "footer",
        el(
            "p",
            said,
            again,
        ),
    )
