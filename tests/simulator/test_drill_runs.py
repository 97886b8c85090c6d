"""Drills from end to end: the guard passes them, and fails them with its protection taken out."""

from __future__ import annotations

import json

import pytest

from rules.signals import EventKind
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.drill import Drill
from simulator.drill_file import parse_drill
from simulator.library import drill_names, load_drill, load_site, site_text
from simulator.night import Moment
from simulator.outcome import Outcome
from simulator.runner import compare, run

SHORT = [name for name in drill_names() if name != "healthy-night"]
SPILLS = ("main-drain-blocked", "two-drains-blocked", "all-drains-blocked", "high-float-stuck")


def failed(outcome: Outcome) -> list[str]:
    """What did not hold, with what was seen, for the message of a failed test."""
    return [f"{f.statement}: {f.detail}" for f in outcome.findings if not f.held]


def shorter(drill: Drill, lasts_s: float) -> Drill:
    """The same drill, ended earlier."""
    return drill.model_copy(update={"lasts": lasts_s})


@pytest.mark.parametrize("site_name", ["classroom", "rack"])
@pytest.mark.parametrize("name", SHORT)
def test_guard_passes(name: str, site_name: str) -> None:
    seed = 11
    outcome = run(load_site(site_name), load_drill(name), seed)
    assert outcome.passed, f"seed {seed}: {failed(outcome)}"
    assert outcome.needless_stop_s == 0.0
    assert outcome.not_applicable is None


def test_healthy_night_is_silent(classroom: Site) -> None:
    """Four hours of waves, evaporation and top-offs: no cut, no alarm, no stop."""
    outcome = run(classroom, load_drill("healthy-night"), 12)
    assert outcome.passed, f"seed 12: {failed(outcome)}"
    assert outcome.needless_stop_s == 0.0
    assert outcome.alarms == ()
    assert outcome.cut_s is None


def test_healthy_hour_on_the_rack_is_silent(rack: Site) -> None:
    outcome = run(rack, shorter(load_drill("healthy-night"), 3600.0), 12)
    assert outcome.alarms == ()
    assert outcome.needless_stop_s == 0.0


@pytest.mark.parametrize(
    ("name", "without"),
    [
        ("main-drain-blocked", {"drain-capacity"}),
        ("main-drain-blocking-slowly", {"drain-capacity"}),
        ("two-drains-blocked", {"drain-capacity"}),
        ("all-drains-blocked", {"drain-capacity"}),
        ("high-float-stuck", {"drain-capacity"}),
        ("return-runs-dry", {"dry-run"}),
        ("pump-dies", {"flow-lost"}),
        ("leak-on-the-floor", {"leak"}),
    ],
)
def test_drill_fails_without_its_hazard(classroom: Site, name: str, without: set[str]) -> None:
    outcome = run(classroom, load_drill(name), 11, without=frozenset(without))
    assert not outcome.passed
    assert outcome.without == tuple(sorted(without))
    if name == "return-runs-dry":
        assert outcome.dry_s > 60.0
    if name == "leak-on-the-floor":
        assert outcome.leaked_m3 > 0.010


def test_water_is_spilled_once_both_lines_of_defence_are_out(classroom: Site) -> None:
    """The drain's hazard and the float at the spill edge: with one of them it stays dry."""
    drill = shorter(load_drill("main-drain-blocked"), 400.0)
    second_line = run(classroom, drill, 11, without=frozenset({"drain-capacity"}))
    none = run(classroom, drill, 11, without=frozenset({"drain-capacity", "spill-edge"}))
    assert second_line.spilled_total_m3 == 0.0
    assert none.spilled_m3["display"] > 0.001
    assert any(f.statement == "nothing spills" and not f.held for f in none.findings)


@pytest.mark.parametrize("name", SPILLS)
def test_unguarded_night_spills_on_the_classroom(classroom: Site, name: str) -> None:
    """The top-off pours its reservoir after what stays above: some 36 l in twenty minutes."""
    outcome = run(classroom, load_drill(name), 11, guarded=False)
    assert outcome.spilled_total_m3 > 0.010
    assert not outcome.passed
    assert outcome.cut_s is None


def test_comparison_tells_what_the_guard_kept(classroom: Site) -> None:
    both = compare(classroom, load_drill("main-drain-blocked"), 13)
    assert both.guarded.passed
    assert both.guarded.source == "sim+plant"
    assert both.kept_m3 == pytest.approx(both.unguarded.spilled_total_m3)
    assert both.kept_m3 > 0.010


def test_high_return_chamber_is_no_reason_to_cut(classroom: Site) -> None:
    """Somebody pours in what the reservoir lacks: the high float is wet, and the pump runs on."""
    text = """
title = "A bucket too many"
story = "The valve sticks open while somebody fills up by hand."
starts_at = "21:00"
lasts = "25 min"
[[happens]]
at = "1 min"
what = "stick valve"
state = "open"
[[happens]]
at = "1 min"
over = "10 min"
what = "add water"
where = "return chamber"
volume = "60 l"
[[must]]
what = "alarm"
hazard = "chamber-high"
[[must]]
what = "pump runs at the end"
[[must_not]]
what = "pump cut"
[[must_not]]
what = "spill"
"""
    outcome = run(classroom, parse_drill(text, "bucket.toml"), 11)
    assert outcome.passed, failed(outcome)


def test_power_cut_stops_the_pump_and_it_comes_back(classroom: Site) -> None:
    text = """
title = "The lights go out"
story = "A storm."
starts_at = "03:00"
lasts = "12 min"
[[happens]]
at = "1 min"
what = "power cut"
lasts = "3 min"
[[must]]
what = "alarm"
hazard = "mains"
within = "5 s"
[[must]]
what = "pump runs at the end"
[[must_not]]
what = "spill"
[[must_not]]
what = "top-off opens while the pump is cut"
"""
    outcome = run(classroom, parse_drill(text, "storm.toml"), 11)
    assert outcome.passed, failed(outcome)


def test_a_drill_that_a_site_cannot_play_is_not_applicable(rack: Site) -> None:
    text = site_text("rack")
    drill = load_drill("main-drain-blocked")
    happens = drill.happens[0].model_copy(update={"where": "first siphon drain"})
    outcome = run(rack, drill.model_copy(update={"happens": (happens,)}), 1)
    assert outcome.not_applicable == "Frag rack has no first siphon drain"
    assert not outcome.passed
    assert "siphon-drain" not in text


def test_statements_may_be_made_of_some_sites_only(classroom: Site, rack: Site) -> None:
    text = """
title = "Nothing"
story = "Nothing happens."
starts_at = "03:00"
lasts = "20 s"
[[must]]
what = "pump cut"
on_sites_with = "siphon drain"
[[must_not]]
what = "spill"
"""
    drill = parse_drill(text, "nothing.toml")
    there, elsewhere = run(classroom, drill, 1), run(rack, drill, 1)
    assert not there.passed
    assert elsewhere.passed
    assert len(elsewhere.findings) == 1


def test_a_seed_repeats_a_night_to_the_bit_and_another_differs(classroom: Site) -> None:
    drill = shorter(load_drill("two-drains-blocked"), 240.0)
    first, again, other = (run(classroom, drill, seed) for seed in (21, 21, 22))
    assert first.trace == again.trace
    assert first.events == again.events
    assert first.trace != other.trace


def test_pins_and_plant_tell_the_same_night(classroom: Site) -> None:
    """Through gpiozero's devices and every edge, or straight: the same trace and the same cut."""
    drill = shorter(load_drill("main-drain-blocked"), 240.0)
    straight, pins = run(classroom, drill, 23), run(classroom, drill, 23, stand="pins")
    assert pins.source == "sim+pins"
    assert pins.trace == straight.trace
    assert pins.cut_s == straight.cut_s
    assert [(e.t_s, e.kind) for e in pins.events] == [(e.t_s, e.kind) for e in straight.events]


def test_progress_is_told_every_second(classroom: Site) -> None:
    moments: list[tuple[float, int]] = []

    def progress(moment: Moment) -> None:
        moments.append((moment.t_s, len(moment.events)))
        assert moment.lasts_s == 200.0
        assert moment.plant.levels_m()["display"] > 0.5

    outcome = run(classroom, shorter(load_drill("main-drain-blocked"), 200.0), 3, progress=progress)
    assert [round(t_s) for t_s, _ in moments] == list(range(1, 201))
    assert sum(count for _, count in moments) == len(outcome.events)


def test_outcome_is_json(classroom: Site) -> None:
    outcome = run(classroom, shorter(load_drill("main-drain-blocked"), 200.0), 3)
    plain = json.loads(json.dumps(outcome.to_json(), allow_nan=False))
    assert plain["passed"] is True
    assert plain["cause_to_cut_s"] == pytest.approx(outcome.cause_to_cut_s)
    assert len(plain["trace"]["rows"]) == 200
    assert plain["trace"]["columns"][0] == "t_s"
    assert "trace" not in outcome.to_json(trace=False)
    kinds = [event["kind"] for event in plain["events"]]
    assert kinds.count(EventKind.PUMP_CUT) == 1


def test_trace_shows_the_stop(classroom: Site) -> None:
    """Flow through the riser before the cut, none long after; the box below its float again."""
    outcome = run(classroom, shorter(load_drill("main-drain-blocked"), 300.0), 3)
    flow = outcome.trace.column("riser.flow_m3_s")
    on = outcome.trace.column("pump-relay.on")
    assert flow[60] > 0.9e-3
    assert flow[-1] == 0.0
    assert on[60] == 1.0
    assert on[-1] == 0.0
    assert outcome.trace.column("overflow-box.level_m")[-1] < 0.205


def test_top_off_that_sticks_shut_is_noticed_in_the_trace(classroom: Site) -> None:
    """Unguarded and with the valve shut, the float asks for water and none comes."""
    drill = load_drill("top-off-stuck-open")
    shut = drill.happens[0].model_copy(update={"state": "shut", "at": 0.0})
    dry = load_drill("healthy-night").happens[0].model_copy(update={"a_day": 0.3})
    night = drill.model_copy(update={"happens": (shut, dry), "lasts": 1200.0})
    outcome = run(classroom, night, 3, guarded=False)
    assert max(outcome.trace.column("top-off-valve.on")) == 1.0
    assert max(outcome.trace.column("top-off.flow_m3_s")) == 0.0


def test_guard_that_never_starts_the_pump_is_found_out(classroom: Site) -> None:
    """A low float above the level of a good day: the guard cuts again and again, and it shows."""
    text = site_text("classroom").replace('height = "95 mm"', 'height = "195 mm"')
    site = parse_site(text, "high low float")
    outcome = run(site, shorter(load_drill("healthy-night"), 30.0), 3)
    assert not outcome.passed
    assert outcome.findings[0].statement == "the guard lets the pumps run on the good day before"
    assert not outcome.findings[0].held
