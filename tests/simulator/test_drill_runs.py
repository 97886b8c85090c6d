"""Drills from end to end: the guard passes them, and fails them with its protection taken out."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest

from rules.signals import EventKind
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import drill_names, load_drill, site_text
from simulator.night.night import Moment
from simulator.night.outcome import Outcome
from simulator.night.runner import compare, run
from simulator.story.drill_file import parse_drill
from tests.simulator.nights import SEED, Ask, Nights, failed, shorter, site

ELSEWHERE = {
    "classroom": {
        "canister-clogged", "main-drain-grows-over", "main-drain-loses-a-little",
        "main-drain-loses-a-tenth", "own-row-weak-flow", "slot-blocked",
        "water-change-brings-more", "water-change-takes-more",
    },
    "rack": {
        "canister-clogged", "comb-overgrown", "main-drain-draws-air",
        "main-drain-draws-air-second-blocked", "main-drain-grows-over", "main-drain-loses-a-little",
        "main-drain-loses-a-tenth", "main-drain-loses-prime", "refugium-drain-blocked",
        "refugium-feed-blocked", "refugium-hose-slips", "refugium-overgrown", "slot-blocked",
        "spare-pump-dead", "tuft-on-the-comb", "water-change-brings-more",
        "water-change-takes-more",
    },
}  # fmt: skip
"""Drills about what a demo site has not."""

SPILLS = ("main-drain-blocked", "two-drains-blocked", "all-drains-blocked", "high-float-stuck")
FIRST_LINE = frozenset({"drain-capacity"})
BLOCKED = Ask("main-drain-blocked")
UNCUT = Ask("main-drain-blocked", without=FIRST_LINE, lasts_s=400.0)
BOTH_OUT = Ask("main-drain-blocked", without=FIRST_LINE | {"spill-edge"}, lasts_s=400.0)


def asking(*asks: Ask) -> pytest.MarkDecorator:
    """A test of these nights, one at a time."""
    return pytest.mark.parametrize("asked", asks, ids=str)


@asking(*(Ask(name, where) for where in ELSEWHERE for name in drill_names()))
def test_guard_passes(asked: Ask, night: Nights) -> None:
    """Every drill on both demo sites, or a sentence that says what the site lacks."""
    outcome = night(asked)
    if asked.name in ELSEWHERE[asked.site]:
        assert outcome.not_applicable is not None
        assert "has no" in outcome.not_applicable
        return
    assert outcome.not_applicable is None
    assert outcome.passed, f"seed {asked.seed}: {failed(outcome)}"
    assert outcome.needless_stop_s == 0.0


@asking(Ask("healthy-night", seed=12))
def test_healthy_night_is_silent(asked: Ask, night: Nights) -> None:
    """Four hours of waves, evaporation and top-offs: no cut, no alarm, no stop."""
    outcome = night(asked)
    assert outcome.passed, f"seed {asked.seed}: {failed(outcome)}"
    assert outcome.lasted_s == 4 * 3600.0
    assert outcome.needless_stop_s == 0.0
    assert outcome.alarms == ()
    assert outcome.cut_s is None


@asking(Ask("healthy-night", "rack", 12, lasts_s=3600.0))
def test_healthy_hour_on_the_rack_is_silent(asked: Ask, night: Nights) -> None:
    outcome = night(asked)
    assert outcome.alarms == ()
    assert outcome.needless_stop_s == 0.0


def without(name: str, hazard: str, lasts_s: float) -> Ask:
    """A night without a hazard, on until well after that hazard speaks where it is there."""
    return Ask(name, without=frozenset({hazard}), lasts_s=lasts_s)


@pytest.mark.parametrize(
    ("asked", "missed"),
    [
        (UNCUT, "an alarm drain-capacity"),
        (
            without("main-drain-blocking-slowly", "drain-capacity", 2100.0),
            "an alarm drain-capacity",
        ),
        (without("two-drains-blocked", "drain-capacity", 300.0), "an alarm drain-capacity"),
        (without("all-drains-blocked", "drain-capacity", 300.0), "an alarm drain-capacity"),
        (without("high-float-stuck", "drain-capacity", 300.0), "the return pump is cut"),
        (without("return-runs-dry", "dry-run", 1500.0), "the return pump is cut"),
        (without("pump-dies", "flow-lost", 300.0), "an alarm flow-lost"),
        (without("leak-on-the-floor", "leak", 500.0), "the return pump is cut"),
    ],
    ids=str,
)
def test_drill_fails_without_its_hazard(asked: Ask, missed: str, night: Nights) -> None:
    outcome = night(asked)
    assert not outcome.passed
    assert any(sentence.startswith(missed) for sentence in failed(outcome))
    assert outcome.without == tuple(asked.without)
    spoke_s = [t_s for t_s, hazard, _ in night(Ask(asked.name)).alarms if hazard in asked.without]
    assert asked.lasts_s is not None
    assert 100.0 < min(spoke_s) < asked.lasts_s - 60.0
    assert not any(hazard in asked.without for _, hazard, _ in outcome.alarms)
    if asked.name == "return-runs-dry":
        assert outcome.dry_s > 60.0
    if asked.name == "leak-on-the-floor":
        assert outcome.leaked_m3 > 0.010


def less(name: str, *hazards: str) -> Ask:
    """A whole night without some hazards."""
    return Ask(name, without=frozenset(hazards))


@pytest.mark.parametrize(
    ("asked", "missed"),
    [
        (less("watch-float-stuck", "spill-edge"), "nothing spills"),
        (less("watch-float-stuck-all-drains", "spill-edge"), "nothing spills"),
        (less("comb-overgrown", "spill-edge"), "nothing spills"),
        (less("refugium-overgrown", "spill-edge"), "nothing spills"),
        (less("drain-stays-blocked", "drain-capacity", "spill-edge"), "nothing spills"),
        (less("drain-blocked-meter-silent", "drain-capacity", "spill-edge"), "nothing spills"),
        (less("guard-killed-while-blocked", "drain-capacity", "spill-edge"), "nothing spills"),
        (less("first-baffle-blocked", "chamber-high"), "nothing spills"),
        (less("first-baffle-shut", "chamber-high"), "nothing spills"),
        (less("sponge-and-overflow-blocked", "chamber-high", "dry-run"), "no pump draws air"),
        (less("refugium-hose-slips", "leak"), "no more than 3.0 l leak"),
        (less("pad-dull", "leak"), "no more than 8.0 l leak"),
        (less("inlet-weeps", "leak"), "the return pump is cut"),
        (less("return-chamber-bursts", "leak"), "the return pump is cut"),
        (less("top-off-float-stuck-wet", "dry-run"), "the return pump is cut"),
        (less("floats-swapped", "dry-run"), "an alarm dry-run"),
        (less("drain-blocked-while-filling", "drain-capacity"), "the return pump is cut"),
        (less("top-off-stuck-open-drain-blocked", "drain-capacity"), "the return pump is cut"),
        (less("spare-pump-dead", "drain-capacity"), "the return pump is cut"),
        (less("broker-down", "drain-capacity"), "an alert drain-capacity"),
        (less("drain-closing-over-a-night", "drain-capacity"), "an alarm drain-capacity"),
        (less("every-display-loses-its-main-drain", "drain-capacity"), "an alarm drain-capacity"),
        (less("drain-blocks-during-a-restart", "drain-capacity"), "an alarm drain-capacity"),
        (less("mains-flicker", "mains"), "an alarm mains"),
        (less("guard-hangs", "lease-lost"), "an alarm lease-lost"),
        (less("guard-stops-whole", "lease-lost"), "an alarm lease-lost"),
        (less("pump-relay-welded-drain-blocked", "cut-unanswered"), "an alarm cut-unanswered"),
        (less("pump-relay-welded-shown-by-a-pause", "cut-unanswered"), "an alarm cut-unanswered"),
        (less("meter-silent", "flow-lost"), "an alarm flow-lost"),
        (less("pump-worn-to-nothing", "flow-lost"), "an alarm flow-lost"),
        (less("top-off-stuck-shut", "top-off-long"), "an alarm top-off-long"),
        (less("top-off-float-stuck-dry", "top-off-long"), "an alarm top-off-long"),
        (less("slow-leak-hidden", "top-off-long"), "an alarm top-off-long"),
        (less("leak-told-by-fresh-water", "water-lost"), "an alarm water-lost"),
        (less("pump-worn-over-a-night", "flow-weak"), "an alarm flow-weak"),
        (less("top-off-never-asked", "top-off-unused"), "an alarm top-off-unused"),
        (less("splash-on-the-high-float", "splashed"), "the return pump is started again"),
        (less("pump-draws-air", "draws-air"), "no pump draws air"),
        (less("watch-float-stuck-wet", "signal"), "an alarm signal names"),
    ],
    ids=str,
)
def test_a_night_goes_wrong_without_what_guards_against_it(
    asked: Ask, missed: str, night: Nights
) -> None:
    """What the whole guard passes (above) fails, and in the way that the hazard is there for."""
    outcome = night(asked)
    assert not outcome.passed
    assert any(sentence.startswith(missed) for sentence in failed(outcome)), failed(outcome)
    assert not any(hazard in asked.without for _, hazard, _ in outcome.alarms)


@pytest.mark.parametrize(
    ("name", "lasts_s"),
    [
        ("spray-on-the-high-float", 900.0),
        ("mains-flicker", 900.0),
        ("drain-frees-itself", 900.0),
        ("guard-killed-while-blocked", 600.0),
        ("drain-blocked-while-filling", 400.0),
    ],
)
def test_looks_left_out_decide_nothing_else(name: str, lasts_s: float, classroom: Site) -> None:
    """What happened, and when, is the same to a look or two as at ten looks a second all night."""
    drill = shorter(load_drill(name), lasts_s)
    fast = run(classroom, drill, 4, trace=False)
    whole = run(classroom, drill, 4, trace=False, every_tick=True)
    told = [(event.kind, event.subject) for event in whole.events]
    assert [(event.kind, event.subject) for event in fast.events] == told
    assert len(told) >= 2
    late = [abs(f.t_s - w.t_s) for f, w in zip(fast.events, whole.events, strict=True)]
    assert max(late) < 0.35


@asking(BOTH_OUT)
def test_water_is_spilled_once_both_lines_of_defence_are_out(asked: Ask, night: Nights) -> None:
    """The drain's hazard and the float at the spill edge: with one of them it stays dry."""
    second_line, none = night(UNCUT), night(asked)
    assert second_line.spilled_total_m3 == 0.0
    assert none.spilled_m3["display"] > 0.001
    assert any(f.statement == "nothing spills" and not f.held for f in none.findings)


@asking(*(Ask(name, keeper="none") for name in SPILLS))
def test_unguarded_night_spills_on_the_classroom(asked: Ask, night: Nights) -> None:
    """The top-off pours its reservoir after what stays above: some 36 l in twenty minutes."""
    outcome = night(asked)
    assert outcome.spilled_total_m3 > 0.010
    assert not outcome.passed
    assert outcome.cut_s is None


def test_comparison_tells_what_the_guard_kept(classroom: Site) -> None:
    both = compare(classroom, shorter(load_drill("main-drain-blocked"), 600.0), 13)
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


@asking(Ask("power-cut"), Ask("power-cut", "rack"))
def test_power_cut_stops_the_pump_and_it_comes_back(asked: Ask, night: Nights) -> None:
    """A drill that names no role: the cut is for the mains alone, and comes after it."""
    outcome = night(asked)
    assert outcome.cause_to_cut_s is not None
    assert outcome.cause_to_cut_s < 5.0
    assert {hazard for _, hazard, _ in outcome.alarms} == {"mains"}


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


def rows_until(outcome: Outcome, t_s: float) -> list[tuple[float, ...]]:
    """The rows of its trace up to a moment: after a drill's end they are taken at other times."""
    return [row for row in outcome.trace.rows if row[0] <= t_s]


def test_a_seed_repeats_a_night_to_the_bit_and_another_differs(
    classroom: Site, night: Nights
) -> None:
    """However long it goes on after."""
    whole = night(Ask("two-drains-blocked"))
    drill = shorter(load_drill("two-drains-blocked"), 240.0)
    again, other = (run(classroom, drill, seed) for seed in (SEED, 22))
    assert again.trace.columns == whole.trace.columns
    assert rows_until(again, 239.0) == rows_until(whole, 239.0)
    assert len(rows_until(again, 239.0)) > 30
    assert again.events == tuple(event for event in whole.events if event.t_s <= 240.0)
    assert len(again.events) >= 2
    assert again.trace != other.trace


def test_pins_and_plant_tell_the_same_night(classroom: Site, night: Nights) -> None:
    """Through gpiozero's devices and every edge, or straight: the same trace and the same cut."""
    straight = night(BLOCKED)
    drill = shorter(load_drill("main-drain-blocked"), 240.0)
    pins = run(classroom, drill, SEED, stand="pins")
    assert pins.source == "sim+pins"
    assert rows_until(pins, 239.0) == rows_until(straight, 239.0)
    assert pins.cut_s == straight.cut_s
    before = [event for event in straight.events if event.t_s <= 240.0]
    assert [(e.t_s, e.kind) for e in pins.events] == [(e.t_s, e.kind) for e in before]


def test_progress_is_told_every_second(classroom: Site) -> None:
    moments: list[tuple[float, int]] = []

    def progress(moment: Moment) -> None:
        moments.append((moment.t_s, len(moment.events)))
        assert moment.lasts_s == 200.0
        assert moment.plant.levels_m()["display"] > 0.5

    drill = shorter(load_drill("main-drain-blocked"), 200.0)
    outcome = run(classroom, drill, 3, progress=progress, every_tick=True)
    assert len(moments) == 200
    gaps = [after - before for (before, _), (after, _) in pairwise(moments)]
    assert gaps == pytest.approx([1.0] * len(gaps), abs=0.01)
    assert sum(count for _, count in moments) == len(outcome.events)


def test_progress_leaves_out_what_is_quiet_and_nothing_else(classroom: Site) -> None:
    """Fewer moments while nothing moves, one a second round the cut, and every event in one."""
    moments: list[Moment] = []
    drill = shorter(load_drill("main-drain-blocked"), 200.0)
    outcome = run(classroom, drill, 3, progress=moments.append)
    times = [moment.t_s for moment in moments]
    assert times == sorted(set(times))
    assert sum(t_s < 120.0 for t_s in times) < 20
    assert sum(121.0 <= t_s <= 131.0 for t_s in times) >= 9
    assert sum(len(moment.events) for moment in moments) == len(outcome.events)


def test_outcome_is_json(night: Nights) -> None:
    outcome = night(BLOCKED)
    plain = json.loads(json.dumps(outcome.to_json(), allow_nan=False))
    assert plain["passed"] is True
    assert plain["cause_to_cut_s"] == pytest.approx(outcome.cause_to_cut_s)
    assert len(plain["trace"]["rows"]) == len(outcome.trace.rows) > 50
    assert plain["trace"]["columns"][0] == "t_s"
    assert "trace" not in outcome.to_json(trace=False)
    kinds = [event["kind"] for event in plain["events"]]
    assert kinds[:2] == [EventKind.ALARM_RAISED, EventKind.PUMP_CUT]


def test_trace_shows_the_stop(night: Nights) -> None:
    """Flow through the riser before the cut, none long after; the box below its float again."""
    trace = night(BLOCKED).trace
    flow, on = trace.column("riser.flow_m3_s"), trace.column("pump-relay.on")
    times = trace.column("t_s")
    before, after = (max(i for i, t_s in enumerate(times) if t_s < end) for end in (119.0, 300.0))
    assert flow[before] > 0.9e-3
    assert flow[after] == 0.0
    assert on[before] == 1.0
    assert on[after] == 0.0
    float_m = site("classroom").floats()["box-watch"].height
    assert trace.column("overflow-box.level_m")[after] < float_m


def test_top_off_that_sticks_shut_is_noticed_in_the_trace(classroom: Site) -> None:
    """Unguarded and with the valve shut, the float asks for water and none comes."""
    drill = load_drill("top-off-stuck-open")
    shut = drill.happens[0].model_copy(update={"state": "shut", "at": 0.0})
    dry = load_drill("healthy-night").happens[0].model_copy(update={"a_day": 0.3})
    night = drill.model_copy(update={"happens": (shut, dry), "lasts": 1200.0})
    outcome = run(classroom, night, 3, keeper="none")
    assert max(outcome.trace.column("top-off-valve.on")) == 1.0
    assert max(outcome.trace.column("top-off.flow_m3_s")) == 0.0


def test_guard_that_never_starts_the_pump_is_found_out(classroom: Site) -> None:
    """A low float above the level of a good day: the guard cuts again and again, and it shows."""
    text = site_text("classroom").replace('height = "95 mm"', 'height = "195 mm"')
    outcome = run(parse_site(text, "high low float"), shorter(load_drill("healthy-night"), 30.0), 3)
    assert not outcome.passed
    assert outcome.findings[0].statement == "the guard lets the pumps run on the good day before"
    assert not outcome.findings[0].held
