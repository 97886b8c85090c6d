"""A figure: everything that happened in one stretch of a night, on one shared time axis."""

from __future__ import annotations

from simulator.report import axes, bars, strips
from simulator.report.axes import Window
from simulator.report.markup import Html, el, join
from simulator.report.rows import Mark, Scene, time_axis
from simulator.report.told import KEEPERS, Told

BEFORE_S = 60.0
AFTER_S = 180.0
SLOW_S = 600.0
"""A cause that takes longer to its cut than this is shown around the cut, not from the cause."""

MUCH = 0.7
"""A stretch longer than this share of the night is the night."""


def whole(told: Told) -> Window:
    """The whole night."""
    return _window(told, 0.0, max(told.drill.lasts, 1.0))


def close_up(told: Told) -> tuple[str, Window] | None:
    """What to look at closely, and what it is called; None where the whole night shows it."""
    cause_s, lasts_s = told.guard.cause_s, told.drill.lasts
    answers = [t for t in (told.first_alarm_s, told.guard.cut_s) if t is not None]
    if cause_s is None or not answers:
        return None
    answer_s = max(answers)
    if answer_s - cause_s > SLOW_S:
        title, from_s = "Around the answer", answer_s - AFTER_S
    else:
        title, from_s = "Around the cause", cause_s - BEFORE_S
    from_s, to_s = max(0.0, from_s), min(lasts_s, answer_s + AFTER_S)
    if to_s - from_s > MUCH * lasts_s:
        return None
    return title, _window(told, from_s, to_s)


def _window(told: Told, from_s: float, to_s: float) -> Window:
    return Window(from_s, to_s, axes.start_of_day_s(told.drill.starts_at), told.guard.cause_s)


def _marks(told: Told) -> tuple[Mark, ...]:
    moments = [
        ("cause", told.guard.cause_s if told.drill.happens else None),
        ("seen", told.first_alarm_s),
        ("cut", told.guard.cut_s),
    ]
    return tuple(Mark(t_s, kind) for kind, t_s in moments if t_s is not None)


def _part(title: str, *rows: Html) -> Html:
    return join(el("h3", title), *rows) if any(rows) else Html("")


def figure(told: Told, window: Window, title: str) -> Html:
    """A figure of one stretch of the night."""
    scene = Scene(told, window, _marks(told))
    parts = [
        _part(
            "What happened, and when it showed",
            *bars.happening_rows(scene),
            *bars.story_rows(scene),
        ),
        _water(scene),
        _part("What the guard switched", *bars.output_rows(scene, "guard")),
        _alarms(scene),
        _compared(scene),
    ]
    above = window.cause_ticks()
    axis_above = [time_axis(above, window, "from the cause", above=True)] if above else []
    return el(
        "figure",
        el("figcaption", el("h2", title)),
        *axis_above,
        *parts,
        time_axis(window.clock_ticks(), window, "time of day", above=False),
        class_="night",
        tabindex="0",
        data_from=f"{window.from_s:g}",
        data_to=f"{window.to_s:g}",
        data_clock=f"{window.clock_s:g}",
        data_cause=None if window.cause_s is None else f"{window.cause_s:g}",
    )


def _water(scene: Scene) -> Html:
    told = scene.told
    if not told.has_water:
        return Html("")
    return _part(
        "The water",
        _keeper_key(told),
        *(strips.level_row(scene, chamber) for chamber in told.chambers),
        *(strips.flow_row(scene, key) for key in strips.flow_chambers(told)),
    )


def _compared(scene: Scene) -> Html:
    told = scene.told
    if not told.has_water:
        return Html("")
    others = [keeper for keeper in told.keepers if keeper != "guard"]
    return _part(
        "What would have been",
        _keeper_key(told),
        *(row for keeper in others for row in bars.output_rows(scene, keeper)),
        strips.floor_row(scene),
        strips.dry_row(scene),
    )


def _alarms(scene: Scene) -> Html:
    told = scene.told
    rows = bars.alarm_rows(scene)
    if not rows:
        return Html("")
    key = el("p", bars.state_key(told), class_="keys")
    return _part("Alarms", key, *rows)


def _keeper_key(told: Told) -> Html:
    keys = [strips.key(keeper, KEEPERS[keeper].said) for keeper in told.keepers]
    return el("p", *keys, class_="keys")
