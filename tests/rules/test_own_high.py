"""The high float of the pump's own chamber: dry after a stop, wet before one further up cuts."""

from __future__ import annotations

import pytest

from rules.assessment.assess import Assessment, assess
from rules.assessment.heights import Place
from rules.assessment.own_high import backed_up_m
from rules.engine import plan_for
from rules.figures import LEVEL_TOLERANCE_M
from rules.hydraulics.network import Hydraulics
from rules.plan import Plan
from rules.verdict import Weight, judge
from simulator.library import load_drill
from simulator.night.runner import run
from tests.rules.nights import edited, site_of, text_of, without_table

CLASSROOM = text_of("classroom")
HIGH = edited(CLASSROOM, "sensors.return-high", height='"330 mm"')


@pytest.fixture(scope="module")
def classroom() -> tuple[Plan, Assessment]:
    plan = plan_for(site_of(CLASSROOM))
    return plan, assess(plan)


def own_place(found: Assessment, chamber: str = "return") -> Place:
    """The place of the high float of the pump's own chamber."""
    return next(p for p in found.places if (p.chamber, p.duty) == (chamber, "spill-edge"))


def test_it_stays_dry_after_a_stop_by_a_balance_with_a_ruler(
    classroom: tuple[Plan, Assessment],
) -> None:
    """By hand: what runs down fills the three chambers that then stand level.

    Return 650 mm by 450 mm, settling 100 mm by 450 mm, media 300 mm by 450 mm less a fifth for what
    lies in it; the inlet keeps what stands under its crest, and gives back the rest.
    """
    plan, found = classroom
    levels, site = plan.figures.running.levels_m, plan.site
    areas = {"return": 0.650 * 0.450, "settling": 0.100 * 0.450, "media": 0.300 * 0.450 * 0.8}
    comes = found.doubt.of_pump("return-pump").drain_down.high
    comes += (levels["inlet"] - 0.100 - 0.250) * 0.450 * 0.450
    held = sum(areas[key] * (levels[key] - site.chambers[key].bottom) for key in areas)
    by_hand = (held + comes) / sum(areas.values())
    assert own_place(found).least_m == pytest.approx(by_hand + LEVEL_TOLERANCE_M, abs=1.5e-3)


def test_a_plugged_siphon_break_wets_it_at_any_stop(classroom: tuple[Plan, Assessment]) -> None:
    """So each pause proves the break: the water then stands over where the float may hang."""
    plan, found = classroom
    bottom = plan.site.chambers["return"].bottom
    (stop,) = found.stops
    assert stop.open_breaks.highest_m["return"] - bottom < own_place(found).least_m
    assert stop.plugged_breaks.highest_m["return"] - bottom > own_place(found).most_m


def test_water_backs_up_to_what_it_is_on_a_good_day(classroom: tuple[Plan, Assessment]) -> None:
    """With the pump's chamber at its level, the others stand where the whole site's solver puts
    them; and far over every crest, no more over it than the ways under water take."""
    plan, _ = classroom
    running = plan.figures.running.levels_m
    mean = Hydraulics(plan.site)
    same = backed_up_m(mean, plan.figures, "return-pump", running["return"])
    for key in ("inlet", "media", "settling"):
        assert same[key] == pytest.approx(running[key], abs=2e-5)
    drowned = backed_up_m(mean, plan.figures, "return-pump", 0.460)
    assert 0.460 < drowned["settling"] < drowned["media"] < drowned["inlet"] < 0.475


def test_what_backs_up_passes_what_the_pump_lifts(classroom: tuple[Plan, Assessment]) -> None:
    plan, _ = classroom
    mean, gravity = Hydraulics(plan.site), plan.site.gravity()
    levels = backed_up_m(mean, plan.figures, "return-pump", 0.380)
    for chamber in ("inlet", "media", "settling"):
        ways = [key for key, way in gravity.items() if way.from_ == chamber]
        passes = sum(mean.passages[k].flow(levels[chamber], levels[gravity[k].to]) for k in ways)
        expected = sum(plan.figures.running.flows_m3_s[key] for key in ways)
        assert passes == pytest.approx(expected, rel=1e-3)


def test_a_float_further_up_that_would_turn_first_is_said_with_the_height_that_suits() -> None:
    plan = plan_for(site_of(HIGH))
    found = assess(plan)
    assert not own_place(found).suits
    assert own_place(found).most_m < 0.290
    said = next(
        f for f in judge(plan, found).findings if f.subject == "high float of the return chamber"
    )
    assert said.weight is Weight.CONDITION
    assert "turns the high float of the inlet chamber first" in said.sentence
    free = plan_for(site_of(without_table(HIGH, "sensors.inlet-high")))
    assert own_place(assess(free)).most_m > 0.330, "nothing cuts before it: the room alone counts"


def test_a_pump_starts_again_into_a_sump_that_a_plugged_siphon_break_filled() -> None:
    """Starting takes the water up again; a float further up that speaks first forbids it."""
    drill = load_drill("siphon-break-plugged-power-cut")
    assert run(site_of(CLASSROOM), drill, 1, trace=False).passed
    assert not run(site_of(HIGH), drill, 1, trace=False).passed
