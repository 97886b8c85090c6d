"""Bars and marks: what went wrong and when, what was on, which alarms stood and in which state."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from rules.signals import AlarmState, EventKind
from rules.site import show
from simulator.report import curves, wording
from simulator.report.axes import Window, clock, start_of_day_s
from simulator.report.markup import Html, el, join
from simulator.report.rows import Scene, grid, row
from simulator.report.told import KEEPERS, Told
from simulator.story.happenings import Happening

BAR_PX = 22.0
TOP_PX = 5.0
THICK_PX = 12.0
LEAST_PERCENT = 0.3
ROOM_FOR_A_TIME = 0.16
CHATTER = " chatter"

STATES: dict[AlarmState, tuple[str, str]] = {
    AlarmState.UNACK_ALARM: ("unack", "stands, unanswered"),
    AlarmState.ACK_ALARM: ("ack", "stands, answered"),
    AlarmState.RTN_UNACK: ("rtn", "gone, unanswered"),
    AlarmState.LATCH_UNACK: ("latch", "gone, latched, unanswered"),
    AlarmState.LATCH_ACK: ("latch-ack", "gone, latched, answered"),
    AlarmState.SHELVED: ("ack", "put aside by a person"),
}
"""The look of an alarm's bar in each state but normal, and the state in words."""

OUTPUTS = frozenset({"pump", "top-off", "spare-pump", "sounder"})
"""Outputs that are drawn; a heartbeat changes more often than a trace has rows."""


@dataclass(frozen=True, slots=True)
class Bar:
    """Something that lasted [s]; `kind` is its look and `told` its meaning."""

    from_s: float
    to_s: float
    kind: str
    told: str = ""


def bar_row(name: Html, words: str, scene: Scene, bars: list[Bar], *more: Html) -> Html:
    """A row of bars."""
    window = scene.window
    middle = TOP_PX + THICK_PX / 2
    drawn = [
        _bar(bar, window) for bar in bars if bar.to_s >= window.from_s and bar.from_s <= window.to_s
    ]
    strip = join(
        el("line", class_="off", x1=0, x2="100%", y1=middle, y2=middle),
        grid(scene, BAR_PX),
        *drawn,
        *more,
    )
    return row(name, Html(""), strip, BAR_PX, told=words, kind="bars")


def _bar(bar: Bar, window: Window) -> Html:
    """A bar, wide enough to be seen."""
    left, right = 100 * window.share(bar.from_s), 100 * window.share(bar.to_s)
    width = max(LEAST_PERCENT, right - left)
    return el(
        "rect",
        el("title", bar.told),
        class_=f"bar {bar.kind}",
        x=f"{min(left, 100 - width):.2f}%",
        y=TOP_PX,
        width=f"{width:.2f}%",
        height=THICK_PX,
    )


# --- what went wrong, and when what came of it --------------------------------------------------


def _flag(window: Window, t_s: float, kind: str, said: str) -> Html:
    """A mark at a moment, with words on the side where there is room."""
    left = window.share(t_s) > 0.6
    y = TOP_PX + THICK_PX / 2
    x = window.percent(t_s)
    shape = {"cause": "▼", "seen": "◆", "cut": "■", "wet": "✖"}.get(kind, "▼")
    return join(
        el("text", shape, x=x, y=y + 4.5, text_anchor="middle", class_=f"flag {kind}"),
        el(
            "text",
            said,
            x=x,
            dx=-10 if left else 10,
            y=y + 4,
            text_anchor="end" if left else "start",
            class_="note",
        ),
    )


def happening_rows(scene: Scene) -> list[Html]:
    """A row for each thing that happened within a window or before it, however often it did."""
    told, window = scene.told, scene.window
    found: dict[str, list[Happening]] = {}
    for event in sorted(told.drill.happens, key=lambda h: h.at):
        if event.at <= window.to_s:
            found.setdefault(wording.happening(told.site, event), []).append(event)
    return [_happening_row(scene, said, events) for said, events in found.items()]


def lasts_s(event: Happening) -> float | None:
    """How long a happening goes on or takes to come about [s]; None if it has no end of its own."""
    for key in ("over", "lasts", "mended_after", "back_after"):
        found = getattr(event, key, None)
        if found:
            return float(found)
    return None


def _happening_row(scene: Scene, said: str, events: list[Happening]) -> Html:
    told, window = scene.told, scene.window
    bars, flags = [], []
    for event, after in zip(events, [*events[1:], None], strict=True):
        length, began = lasts_s(event), _at(told, event.at)
        if length:
            bars.append(Bar(event.at, event.at + length, "wrong", said))
        if window.holds(event.at):
            ends_s = window.to_s if after is None else after.at
            room = window.share(ends_s) - window.share(event.at)
            silent = length or (after is not None and room < ROOM_FOR_A_TIME)
            flags.append(_flag(window, event.at, "cause", "" if silent else began))
        elif event is events[-1]:
            flags.append(el("text", f"since {began}", x=4, y=TOP_PX + 10, class_="note"))
    times = ", ".join(_at(told, event.at) for event in events)
    return bar_row(el("span", wording.unbroken(said)), f"{said}, at {times}.", scene, bars, *flags)


def story_rows(scene: Scene) -> list[Html]:
    """When the guard saw it, when it cut, and when the floor was wet under each keeper."""
    told, window = scene.told, scene.window
    moments: list[tuple[str, str, float | None]] = [
        ("seen", "the guard saw it", told.first_alarm_s),
        ("cut", "the guard cut the pump", told.guard.cut_s),
    ]
    for keeper in told.keepers:
        wet = told.courses[keeper].first_wet_s
        moments.append(("wet", f"floor wet {KEEPERS[keeper].said}", wet))
    rows = []
    for kind, name, t_s in moments:
        if t_s is None:
            continue
        after = wording.after(told.guard, t_s)
        if window.holds(t_s):
            more = _flag(window, t_s, kind, after)
        elif t_s > window.to_s:
            more = el(
                "text", f"{after} →", x="99.4%", y=TOP_PX + 10, text_anchor="end", class_="note"
            )
        else:
            more = el("text", f"← {after}", x=4, y=TOP_PX + 10, class_="note")
        rows.append(bar_row(el("span", name), f"{name}, {after}.", scene, [], more))
    return rows


# --- outputs ------------------------------------------------------------------------------------


def output_rows(scene: Scene, keeper: str) -> list[Html]:
    """A row for each output, on or off; of a comparison only the pumps."""
    told = scene.told
    course, site = told.courses[keeper], told.site
    moments = [event.t_s for event in told.nights[keeper].events]
    rows = []
    for key, output in site.outputs.items():
        values = course.values(f"{key}.on")
        if output.kind not in OUTPUTS or not values:
            continue
        if keeper != "guard" and output.kind != "pump":
            continue
        bars = [
            Bar(from_s, to_s, keeper, f"{site.label(key)} on")
            for from_s, to_s in curves.runs(course.t_s, values, moments)
        ]
        on_s = sum(bar.to_s - bar.from_s for bar in bars)
        bars = merged(bars, scene.window)
        name = el("span", site.label(key))
        if keeper != "guard":
            name = join(name, el("span", KEEPERS[keeper].said))
        if any(bar.kind.endswith(CHATTER) for bar in bars):
            name = join(name, el("span", "pale: on and off, again and again"))
        words = f"{site.label(key)} {KEEPERS[keeper].said}: on for {show.duration(on_s)} in all."
        rows.append(bar_row(name, words, scene, bars))
    return rows


def merged(bars: list[Bar], window: Window) -> list[Bar]:
    """Bars that are too short and too close to be told apart become one, of a look of its own."""
    least_s = LEAST_PERCENT / 100 * (window.to_s - window.from_s)
    found: list[Bar] = []
    for bar in bars:
        last = found[-1] if found else bar
        chatters = last.kind.endswith(CHATTER) or last.to_s - last.from_s < least_s
        close = bar.to_s - bar.from_s < least_s and bar.from_s - last.to_s < least_s
        if found and chatters and close:
            kind = last.kind.removesuffix(CHATTER) + CHATTER
            found[-1] = Bar(last.from_s, bar.to_s, kind, "on and off, again and again")
        else:
            found.append(bar)
    return found


def stops(told: Told, keeper: str) -> int:
    """How often a pump's relay let go in a night: as told, or more often where it was seen to."""
    course = told.courses[keeper]
    values = [
        course.values(f"{key}.on")
        for key, output in told.site.outputs.items()
        if output.kind == "pump"
    ]
    seen = sum(a >= 0.5 > b for column in values for a, b in pairwise(column))
    cuts = sum(event.kind is EventKind.PUMP_CUT for event in told.nights[keeper].events)
    return max(seen, cuts)


# --- alarms -------------------------------------------------------------------------------------


def alarm_bars(told: Told) -> dict[str, list[Bar]]:
    """For every row of the matrix that spoke: its alarm's states from when until when."""
    found: dict[str, list[Bar]] = {}
    open_: dict[str, tuple[float, AlarmState]] = {}
    end_s = told.guard.lasted_s

    def close(row_id: str, t_s: float) -> None:
        since_s, state = open_.pop(row_id)
        if state in STATES:
            kind, said = STATES[state]
            bar = Bar(since_s, t_s, f"alarm {kind}", f"{row_id}: {said}")
            found.setdefault(row_id, []).append(bar)

    for event in told.guard.events:
        if event.alarm is None:
            continue
        if event.alarm.row in open_:
            close(event.alarm.row, event.t_s)
        if event.kind is not EventKind.ALARM_ENDED:
            open_[event.alarm.row] = (event.t_s, event.alarm.state)
    for row_id in list(open_):
        close(row_id, end_s)
    return found


def alarm_rows(scene: Scene) -> list[Html]:
    """A row for each alarm that stood within a window."""
    told, window = scene.told, scene.window
    rows = []
    for row_id, bars in alarm_bars(told).items():
        if all(bar.to_s < window.from_s or bar.from_s > window.to_s for bar in bars):
            continue
        hazard, _, subject = row_id.partition(".")
        name = join(el("b", hazard), el("span", told.site.label(subject) if subject else ""))
        states = ", ".join(
            f"{bar.told.partition(': ')[2]} from {_at(told, bar.from_s)}" for bar in bars[:8]
        )
        words = f"Alarm {hazard} {told.site.label(subject)}: {states}."
        rows.append(bar_row(name, words, scene, bars))
    return rows


def _at(told: Told, t_s: float) -> str:
    return clock(start_of_day_s(told.drill.starts_at) + t_s)


def state_key(told: Told) -> Html:
    """The looks of the states that occur, in words."""
    kinds = {bar.kind for bars in alarm_bars(told).values() for bar in bars}
    shown = [(kind, said) for kind, said in STATES.values() if f"alarm {kind}" in kinds]
    return join(
        *(
            el(
                "span",
                el(
                    "svg",
                    el("rect", class_=f"bar alarm {kind}", x=0.5, y=0.5, width=25, height=11),
                    width=26,
                    height=12,
                    aria_hidden="true",
                ),
                " ",
                said,
                class_="key",
            )
            for kind, said in shown
        )
    )
