"""Meters and level sensors against their own normal: declines, noise, cleaning, restarts."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from rules import engine
from rules.assessment import balances
from rules.balance import tracks
from rules.balance.tracks import NEW, Track, TrackPlan
from rules.memory import keep
from rules.site.model import Site
from rules.site.parse import parse_site
from tests.rules.nights import Night, site_of, text_of, without_table

HOUR_S, DAY_S = 3600.0, 86400.0

MORE = """
[sensors.media-level]
kind = "level"
chamber = "media"
converter = "mcp3008"
channel = 2
select = 0
low = { level = "20 mm", share = "10 %" }
high = { level = "320 mm", share = "85 %" }

[sensors.refugium-flow]
kind = "flow-meter"
on = "refugium-feed"
pulses = "2000 pulses/l"
tolerance = "5 %"
pin = 25
"""


def metered_site() -> Site:
    """The classroom with a level sensor before its sponge and a meter on its refugium's branch."""
    return parse_site(f"{text_of('classroom')}\n{MORE}", "metered.toml")


@pytest.fixture(scope="module")
def plans() -> dict[str, TrackPlan]:
    """The tracks of that site, by sensor."""
    return {its.id: its for its in engine.plan_for(metered_site()).tracks}


@pytest.fixture(scope="module")
def meter(plans: dict[str, TrackPlan]) -> TrackPlan:
    """That of the riser's meter."""
    return plans["return-flow"]


def lived(
    its: TrackPlan,
    value: Callable[[float], float],
    lasts_s: float,
    *,
    every_s: float = 60.0,
    begin: Track = NEW,
    from_s: float = 0.0,
) -> tuple[Track, float | None]:
    """The track after so long, and when it first went wrong [s]."""
    track, off_s = begin, None
    for i in range(round(lasts_s / every_s) + 1):
        t_s = from_s + i * every_s
        track = tracks.step(its, track, value(t_s), t_s, running=True)
        if track.off and off_s is None:
            off_s = t_s
    return track, off_s


def test_what_is_tracked_of_a_site(plans: dict[str, TrackPlan]) -> None:
    """The edge over the sponge is at 240 mm in the site file, and the media float hangs nowhere."""
    assert set(plans) == {"return-flow", "refugium-flow", "media-level"}
    assert plans["media-level"].rises
    assert plans["media-level"].limit == pytest.approx(0.240)
    assert plans["return-flow"].least > 0.0
    assert plans["refugium-flow"].least == 0.0, "nothing else speaks where a branch gives nothing"


def test_half_in_a_fortnight_is_told_with_the_days_that_are_left(meter: TrackPlan) -> None:
    """A straight line to 50 % in 14 days passes 85 % on day 4.2, and 70 % on day 8.4."""
    track, off_s = lived(
        meter, lambda t_s: meter.usual * (1.0 - 0.5 * t_s / (14 * DAY_S)), 5 * DAY_S
    )
    assert off_s is not None
    assert off_s == pytest.approx(4.2 * DAY_S, abs=0.2 * DAY_S)
    assert tracks.left_s(meter, track) == pytest.approx(3.4 * DAY_S, rel=0.25)


def test_the_normal_swallows_no_decline_however_slow(meter: TrackPlan) -> None:
    """A third in half a year."""
    _, off_s = lived(
        meter,
        lambda t_s: meter.usual * (1.0 - 0.33 * t_s / (180 * DAY_S)),
        90 * DAY_S,
        every_s=600.0,
    )
    assert off_s is not None
    assert off_s == pytest.approx(0.15 / 0.33 * 180 * DAY_S, rel=0.05)


def test_a_meter_that_wanders_and_shakes_is_never_told_of(meter: TrackPlan) -> None:
    """1 % either way from day to day, 2 % from sample to sample, for two months."""
    chance, at = random.Random(5), [0.0]

    def shaken(t_s: float) -> float:
        del t_s
        at[0] = max(-0.01, min(0.01, at[0] + chance.gauss(0.0, 0.0005)))
        return meter.usual * (1.0 + at[0] + chance.gauss(0.0, 0.02))

    _, off_s = lived(meter, shaken, 60 * DAY_S)
    assert off_s is None


def test_a_sponge_that_clogs_is_told_half_way_to_its_edge(plans: dict[str, TrackPlan]) -> None:
    its = plans["media-level"]
    rise_m = its.limit - its.usual
    track, off_s = lived(its, lambda t_s: its.usual + rise_m * t_s / (18 * DAY_S), 10 * DAY_S)
    assert off_s == pytest.approx(9 * DAY_S, abs=0.3 * DAY_S)
    assert tracks.left_s(its, track) == pytest.approx(8 * DAY_S, rel=0.25)


def test_a_rinsed_sponge_is_right_again_and_told_again(plans: dict[str, TrackPlan]) -> None:
    its = plans["media-level"]
    high = its.usual + 0.8 * (its.limit - its.usual)
    clean, _ = lived(its, lambda _t: its.usual, DAY_S)
    clogged, off_s = lived(its, lambda _t: high, DAY_S, begin=clean, from_s=DAY_S)
    assert off_s is not None
    rinsed, _ = lived(its, lambda _t: its.usual, DAY_S, begin=clogged, from_s=2 * DAY_S)
    assert not rinsed.off
    again, _ = lived(its, lambda _t: high, DAY_S, begin=rinsed, from_s=3 * DAY_S)
    assert again.off


def test_a_guard_that_begins_on_a_worn_pump_does_not_learn_it(meter: TrackPlan) -> None:
    track, _ = lived(meter, lambda _t: 0.6 * meter.usual, 3 * HOUR_S)
    assert track.off
    good, _ = lived(meter, lambda _t: 0.87 * meter.usual, 3 * HOUR_S)
    assert not good.off, "a pump may be off its curve by a tenth"


def test_nothing_is_sampled_while_the_water_does_not_run_as_it_does(meter: TrackPlan) -> None:
    track, _ = lived(meter, lambda _t: meter.usual, 2 * HOUR_S)
    for value, running in ((0.05 * meter.usual, True), (0.4 * meter.usual, False), (None, True)):
        now = track
        for i in range(1000):
            now = tracks.step(meter, now, value, 2 * HOUR_S + 60.0 * i, running=running)
        assert replace(now, sampled_s=track.sampled_s) == track


def test_how_often_one_looks_changes_nothing(meter: TrackPlan) -> None:
    """At 10 looks a second or at one in 51 s: the same averages."""

    def falls(t_s: float) -> float:
        return meter.usual * (1.0 - 0.3 * t_s / (6 * HOUR_S))

    often, often_s = lived(meter, falls, 4 * HOUR_S, every_s=0.5)
    seldom, seldom_s = lived(meter, falls, 4 * HOUR_S, every_s=51.2)
    assert often.hour == pytest.approx(seldom.hour, rel=2e-3)
    assert often_s == pytest.approx(seldom_s, abs=120.0)


# --- in the engine -------------------------------------------------------------------------------


def hours(night: Night, number: float) -> None:
    """So long, at two looks a minute."""
    night.wait(number * HOUR_S)


def learned() -> Night:
    """A night on which the normals are known."""
    night = Night(metered_site())
    night.good(700.0)
    hours(night, 1.1)
    assert all(track.normal is not None for track in night.memory.books.tracks)
    return night


def test_a_branch_that_is_starved_is_told_and_nothing_is_cut() -> None:
    night = learned()
    night.flow("refugium-flow", 0.0)
    hours(night, 1.0)
    (alarm,) = night.raised("flow-weak.refugium-flow")
    assert "refugium feed" in alarm.saying.do_now
    assert night.on("pump-relay")
    assert night.raised("flow-weak.return-flow") == []


def test_a_pump_that_weakens_is_told_with_what_is_normal() -> None:
    night = learned()
    night.flow("return-flow", 0.8)
    hours(night, 4.0)
    (alarm,) = night.raised("flow-weak.return-flow")
    assert "Clean the return pump" in alarm.saying.do_now
    assert "are normal" in alarm.saying.what


def test_without_the_row_nothing_is_said() -> None:
    night = Night(metered_site(), without=["flow-weak"])
    night.good(700.0)
    hours(night, 1.1)
    night.flow("return-flow", 0.8)
    hours(night, 4.0)
    assert night.decision is not None
    assert night.decision.alarms == ()


def test_after_a_pause_for_cleaning_the_normal_is_learned_anew() -> None:
    night = learned()
    night.pause("cleaning", 60.0)
    night.flow("return-flow", 0.82)
    night.run(200.0)
    hours(night, 8.0)
    assert night.raised("flow-weak.return-flow") == []
    normal = night.memory.books.tracks[0].normal
    assert normal is not None
    assert normal == pytest.approx(0.82 * night.plan.tracks[0].usual, rel=0.01)


def test_a_normal_outlives_restarts_every_day() -> None:
    """A decline of 2 % a day, and a guard that is restarted daily: 15 % are told on day 8 or so."""
    night = learned()
    for day in range(1, 11):
        kept = keep(night.plan, night.memory)
        assert kept.books["return-flow.normal"] == pytest.approx(
            night.plan.tracks[0].usual, rel=0.011
        )
        night = Night(metered_site(), kept=kept)
        night.good(100.0)
        night.flow("return-flow", 1.0 - 0.02 * day)
        hours(night, 6.0)
        if night.raised("flow-weak.return-flow"):
            break
    assert 7 <= day <= 9


def test_a_site_without_meters_tracks_nothing() -> None:
    bare = site_of(without_table(text_of("classroom"), "sensors.return-flow"))
    assert engine.plan_for(bare).tracks == ()


# --- in check ------------------------------------------------------------------------------------


def test_check_names_what_would_see_a_decline_and_a_clogging_screen() -> None:
    site = metered_site()
    rows = {row.failure: row for row in balances.coverage(site, engine.plan_for(site).figures)}
    assert rows["return pump wears or grows over"].sensors == ("return-flow",)
    assert rows["sponge clogs slowly"].sensors == ("media-level",)


def test_check_says_where_nothing_would() -> None:
    site = site_of(without_table(text_of("classroom"), "sensors.return-flow"))
    rows = {row.failure: row for row in balances.coverage(site, engine.plan_for(site).figures)}
    assert rows["return pump wears or grows over"].sensors == ()
    assert rows["sponge clogs slowly"].sensors == ()
    assert "level sensor in the media chamber" in rows["sponge clogs slowly"].note
