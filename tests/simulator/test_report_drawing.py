"""Drawings of a report: lines where the samples are, bars from when until when, round times."""

from __future__ import annotations

import math
import random
import re
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from rules.signals import Alarm, AlarmState, Event, EventKind, Priority, Saying
from simulator.library import load_drill
from simulator.night.evidence import Trace
from simulator.report import axes, bars, curves, figure
from simulator.report.page import drill_page
from simulator.report.told import KEEPERS, Course
from tests.simulator.pages import Page, told


def drawn(page: str, name: str, unit: str) -> list[tuple[dict[str, str], list[list[float]]]]:
    """The lines of this name: their attributes, and their points as drawn."""
    return [
        (a, [[float(n) for n in pair.split()] for pair in re.split(r"[ML]", a["d"])[1:]])
        for a in Page(page).all("path")
        if a.get("data-name") == name and a["data-unit"] == unit
    ]


def test_a_line_shows_the_levels_of_the_trace_at_their_times() -> None:
    """Read back off the drawing: every sample of the display lies on its line, within a pixel."""
    found = told()
    _, window = figure.close_up(found) or ("", None)
    assert window is not None
    course = found.courses["none"]
    lines = drawn(drill_page(found), KEEPERS["none"].name, "mm")
    attributes, points = lines[list(found.chambers).index("display")]
    zero, per_px = float(attributes["data-zero"]), float(attributes["data-px"])
    xs = [x for x, _ in points]
    checked = 0
    for t_s, level in zip(course.t_s, course.level_m("display"), strict=True):
        if not window.holds(t_s):
            continue
        x = (t_s - window.from_s) / (window.to_s - window.from_s) * 1000.0
        i = min(max(bisect_left(xs, x), 1), len(xs) - 1)
        (x0, y0), (x1, y1) = points[i - 1], points[i]
        y = y0 + (y1 - y0) * (x - x0) / (x1 - x0)
        assert zero + per_px * y == pytest.approx(level * 1000.0, abs=abs(per_px))
        checked += 1
    assert checked > 20


@pytest.mark.parametrize("shape", [lambda t: math.sin(t / 40.0), lambda t: float(t > 300.0)])
def test_a_thinned_line_passes_near_every_sample(shape: Callable[[float], float]) -> None:
    """Samples at odd distances, as a pace that slows down gives them."""
    chance, t_s = random.Random(3), [0.0]
    while t_s[-1] < 600.0:
        t_s.append(t_s[-1] + chance.choice((0.1, 1.0, 7.3)))
    values = [shape(t) for t in t_s]
    window = axes.Window(0.0, 600.0, 0.0, None)
    (points,) = curves.thinned(t_s, values, window, 0.01)
    assert len(points) < len(t_s) / 2
    xs = [x for x, _ in points]
    for t, value in zip(t_s, values, strict=True):
        i = min(max(bisect_left(xs, t), 1), len(xs) - 1)
        (x0, y0), (x1, y1) = points[i - 1], points[i]
        assert y0 + (y1 - y0) * (t - x0) / (x1 - x0) == pytest.approx(value, abs=0.021)


def test_a_short_peak_survives_in_a_long_night() -> None:
    t_s = [float(t) for t in range(36000)]
    values = [0.0] * 36000
    values[20000], values[20001] = 1.0, -1.0
    (points,) = curves.thinned(t_s, values, axes.Window(0.0, 36000.0, 0.0, None), 0.01)
    assert {(20000.0, 1.0), (20001.0, -1.0)} <= set(points)


def test_what_is_no_number_is_a_gap_and_no_line() -> None:
    t_s, values = [0.0, 1.0, 2.0, 3.0, 4.0], [1.0, 1.0, math.inf, math.nan, 2.0]
    pieces = curves.thinned(t_s, values, axes.Window(0.0, 4.0, 0.0, None), 0.1)
    assert pieces == [[(0.0, 1.0), (1.0, 1.0)], [(4.0, 2.0)]]


def test_a_noisy_night_of_ten_hours_stays_small() -> None:
    """Every column noise, once a second: the most that can be asked of a page."""
    found, chance = told(), random.Random(5)
    columns = found.guard.trace.columns
    rows = [
        (float(t), *(0.3 + 0.2 * chance.random() for _ in columns[1:])) for t in range(0, 36000, 2)
    ]
    night = replace(found.guard, trace=Trace(columns, rows), lasted_s=36000.0)
    drill = found.drill.model_copy(update={"lasts": 36000.0})
    page = drill_page(replace(found, drill=drill, nights=dict.fromkeys(KEEPERS, night)))
    assert len(page.encode()) < 400_000


# --- bars and times ---------------------------------------------------------------------------


def test_an_output_turns_when_it_was_decided_between_two_samples() -> None:
    t_s, on = (0.0, 10.0, 20.0, 30.0), (1.0, 1.0, 0.0, 1.0)
    assert curves.runs(t_s, on, (3.0, 12.5)) == [(0.0, 12.5), (30.0, 30.0)]


def test_what_happens_again_and_again_stands_in_one_row() -> None:
    first = load_drill("main-drain-blocked").happens[0]
    again = [first.model_copy(update={"at": at}) for at in (10.0, 100.0, 200.0)]
    drill = told().drill.model_copy(update={"happens": tuple(again)})
    page = Page(drill_page(replace(told(), drill=drill)))
    spoken = [a["aria-label"] for a in page.all("svg") if "aria-label" in a]
    assert "block: main drain, at 04:05:10, 04:06:40, 04:08:20." in spoken


COLUMNS = ("t_s", "tank.level_m", "spilled_m3", "leaked_m3")


def test_a_first_sample_holds_from_the_start_unless_something_happened_before_it() -> None:
    trace = Trace(COLUMNS, [(10.0, 0.2, 0.0, 0.0), (20.0, 0.3, 0.0, 0.0)])
    assert Course(trace, still_until_s=120.0).t_s == (0.0, 10.0, 20.0)
    assert Course(trace, still_until_s=120.0).level_m("tank") == (0.2, 0.2, 0.3)
    assert Course(trace, still_until_s=0.0).t_s == (10.0, 20.0)


@pytest.mark.parametrize(
    ("floors", "wet_s"),
    [
        ((0.0, 0.0, 0.0, 0.0), None),
        ((0.0, 0.0, 0.001, 0.011), 19.0),  # a litre came as fast as the ten after it: in one second
        ((0.0, 0.010, 0.020, 0.030), 0.0),  # a leak that never changed
        ((0.0, 0.0, 0.010, 0.010), 20.0),  # then no more: when is not known, so when it was seen
    ],
)
def test_the_floor_is_wet_from_when_its_growth_leads_back_to(
    floors: tuple[float, ...], wet_s: float | None
) -> None:
    rows = [(10.0 * i, 0.2, floor, 0.0) for i, floor in enumerate(floors)]
    found = Course(Trace(COLUMNS, rows)).first_wet_s
    assert found == (None if wet_s is None else pytest.approx(wet_s))


def test_a_relay_that_chatters_is_one_bar_and_looks_so() -> None:
    window = axes.Window(0.0, 1000.0, 0.0, None)
    quick = [bars.Bar(100.0 + 2.0 * i, 101.0 + 2.0 * i, "guard", "on") for i in range(50)]
    slow = [bars.Bar(0.0, 50.0, "guard", "on"), bars.Bar(500.0, 600.0, "guard", "on")]
    found = bars.merged([slow[0], *quick, slow[1]], window)
    assert [(bar.from_s, bar.to_s, bar.kind) for bar in found] == [
        (0.0, 50.0, "guard"), (100.0, 199.0, "guard chatter"), (500.0, 600.0, "guard"),
    ]  # fmt: skip


def test_stops_between_two_samples_are_counted_too() -> None:
    found = told()
    assert bars.stops(found, "none") == 0
    assert bars.stops(found, "guard") >= 1
    cut = Event(EventKind.PUMP_CUT, 130.0, "return-pump", "cut")
    night = replace(found.guard, events=(cut,) * 50)
    assert bars.stops(replace(found, nights={"guard": night}), "guard") == 50


def test_an_alarm_is_drawn_in_each_of_its_states() -> None:
    saying = Saying("what", "where", "done", "do")

    def event(kind: EventKind, t_s: float, state: AlarmState) -> Event:
        alarm = Alarm("leak.pad", "leak", state, Priority.HIGH, 1, "1234", 0.0, saying)
        return Event(kind, t_s, "pad", "text", alarm)

    events = (
        event(EventKind.ALARM_RAISED, 130.0, AlarmState.UNACK_ALARM),
        event(EventKind.ALARM_ACKNOWLEDGED, 150.0, AlarmState.ACK_ALARM),
        event(EventKind.ALARM_RETURNED, 170.0, AlarmState.LATCH_ACK),
        event(EventKind.ALARM_ENDED, 190.0, AlarmState.NORMAL),
    )
    night = replace(told().guard, events=events)
    found = bars.alarm_bars(replace(told(), nights={"guard": night}))
    assert [(bar.from_s, bar.to_s, bar.kind) for bar in found["leak.pad"]] == [
        (130.0, 150.0, "alarm unack"),
        (150.0, 170.0, "alarm ack"),
        (170.0, 190.0, "alarm latch-ack"),
    ]


def test_times_of_day_go_on_past_midnight() -> None:
    window = axes.Window(0.0, 4 * 3600.0, axes.start_of_day_s("22:00"), 0.0)
    assert [said for _, said in window.clock_ticks()] == [
        "22:00", "22:30", "23:00", "23:30", "00:00", "00:30", "01:00", "01:30", "02:00",
    ]  # fmt: skip
    assert axes.clock(axes.start_of_day_s("23:59") + 61.0) == "00:00:01"


@pytest.mark.parametrize(
    ("t_s", "said"),
    [(0, "0"), (-60, "−1 min"), (90, "+1:30"), (30, "+30 s"), (3600, "+1 h"), (5400, "+1:30 h")],
)
def test_times_from_the_cause(t_s: float, said: str) -> None:
    assert axes.since(t_s) == said


def test_lines_of_small_print_do_not_cover_each_other() -> None:
    from simulator.report.markup import Html
    from simulator.report.rows import LABEL_PX, lines_of_print

    wanted = [(y, Html(str(y))) for y in (50.0, 50.0, 51.0, 2.0, 99.0, 98.0)]
    placed = [y for y, _ in lines_of_print(wanted, 100.0)]
    assert all(b - a >= LABEL_PX - 1e-9 for a, b in pairwise(placed))
    assert placed[0] >= 9.0
    assert placed[-1] <= 98.0
