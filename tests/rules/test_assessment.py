"""The assessment before the first night: doubt, heights, failures in time, sight, upkeep."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from rules.assessment.assess import assess, cutting_floats, own_highs, stop_of
from rules.assessment.band import Band, total
from rules.assessment.doubt import Doubt, doubt
from rules.assessment.failures import Sort
from rules.assessment.heights import Place, places
from rules.assessment.upkeep import upkeep
from rules.engine import plan_for
from rules.figures import LEVEL_TOLERANCE_M
from rules.hydraulics.network import Hydraulics
from rules.plan import Plan
from rules.response import RELAY_S, RESERVE, response_s
from rules.signals import TICK_S
from rules.transient.stepper import Stepper
from tests.rules.nights import edited, site_of, text_of, without_table

CLASSROOM = text_of("classroom")
LITRE_PER_MINUTE = 1e-3 / 60


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_for(site_of(CLASSROOM))


def bands(plan: Plan) -> Doubt:
    return doubt(plan.site, plan.figures, Hydraulics(plan.site))


def placed(plan: Plan, found: Doubt) -> tuple[Place, ...]:
    """Where floats should hang, no failure asked for."""
    mean = Hydraulics(plan.site)
    stepper = Stepper(plan.site, mean, plan.figures.running)
    stops = tuple(stop_of(plan, stepper, pump) for pump in plan.site.pumps)
    return places(plan.site, plan.figures, found, (), own_highs(plan, mean, found, stops))


def test_a_band_holds_its_value() -> None:
    with pytest.raises(ValueError, match="hold its value"):
        Band(2.0, 1.0, 3.0)
    assert Band.around(10.0, 0.2) == Band(8.0, 10.0, 12.0)
    assert Band.around(1.0, 1.5).low == 0.0
    assert total([Band(1, 2, 3), Band(10, 20, 30)]) == Band(11, 22, 33)


def test_an_open_drain_runs_from_least_bore_less_its_doubt_to_mean_bore_with_it(
    plan: Plan,
) -> None:
    site, mean, least = plan.site, Hydraulics(plan.site), Hydraulics(plan.site, "least")
    allowed = plan.figures.drained[0].allowed_m
    band = bands(plan).of_chamber("overflow-box").capacity["open-drain"]
    off = mean.uncertainty("open-drain")
    assert 0.05 < off < 0.5
    assert band.low == pytest.approx(least.capacity("open-drain", allowed) * (1 - off))
    assert band.high == pytest.approx(mean.capacity("open-drain", allowed) * (1 + off))
    assert site.site.id == "classroom"


def test_a_siphon_tuned_against_the_flow_goes_with_the_flow(plan: Plan) -> None:
    """Without that, 10 % more flow would be called 10 % less margin on the main drain as well."""
    tuned = bands(plan).of_chamber("overflow-box")
    free = edited(CLASSROOM, "passages.main-drain", tuned_share=None, valve_open='"30 %"')
    loose = bands(plan_for(site_of(free))).of_chamber("overflow-box")

    def spread(band: Band) -> float:
        return (band.high - band.low) / band.value

    assert spread(tuned.margin) < spread(loose.margin)
    assert tuned.margin.low > 1.0


def test_less_tolerance_of_the_pump_narrows_the_margin(plan: Plan) -> None:
    wide = bands(plan).of_chamber("overflow-box").margin
    text = edited(CLASSROOM, "pumps.return-pump", tolerance='"2 %"')
    narrow = bands(plan_for(site_of(text))).of_chamber("overflow-box").margin
    assert narrow.value == pytest.approx(wide.value)
    assert narrow.low > wide.low
    assert narrow.high < wide.high


def test_the_height_of_a_spill_edge_is_that_of_overfill_prevention(plan: Plan) -> None:
    """API 2350's level of concern: critical level - rate x response; 60 l/min on 1 m2 for 30 s is
    30 mm (worked by hand). Ours takes off the tolerance of a level as well."""
    text = CLASSROOM
    for key, value in (("length", '"1000 mm"'), ("width", '"1000 mm"'), ("displacement", '"0 %"')):
        text = edited(text, "chambers.display", **{key: value})
    run_on_s = 30.0 / RESERVE - (1.0 + TICK_S + RELAY_S)
    text = edited(text, "pumps.return-pump", run_on=f'"{run_on_s} s"')
    changed = plan_for(site_of(text))
    assert RESERVE * response_s(1.0, run_on_s) == pytest.approx(30.0)
    exact = Band.exact(60 * LITRE_PER_MINUTE)
    found = bands(changed)
    drained = tuple(replace(d, inflow=exact) for d in found.drained)
    place = next(
        p
        for p in placed(changed, replace(found, drained=drained))
        if (p.chamber, p.duty) == ("display", "spill-edge")
    )
    rim = changed.site.chambers["display"].rim
    assert place.most_m == pytest.approx(rim - 0.030 - LEVEL_TOLERANCE_M, abs=1e-9)


def test_a_faster_pump_wants_its_floats_lower_and_its_low_float_higher(plan: Plan) -> None:
    def by_duty(plan: Plan) -> dict[tuple[str, str], tuple[float, float]]:
        found = placed(plan, bands(plan))
        return {(p.chamber, p.duty): (p.least_m, p.most_m) for p in found}

    slow = by_duty(plan_for(site_of(edited(CLASSROOM, "pumps.return-pump", speed='"80 %"'))))
    fast = by_duty(plan)
    assert fast["display", "spill-edge"][1] < slow["display", "spill-edge"][1]
    assert fast["return", "dry-run"][0] > slow["return", "dry-run"][0]


def test_upkeep_by_hand(plan: Plan) -> None:
    """Turnover, evaporation and salt from the volume: plain arithmetic."""
    found = upkeep(plan.site, plan.figures, 0.1)
    volume = plan.figures.volume_m3
    lifted = plan.figures.lifts[0].flow_m3_s
    assert found.turnover_per_h == pytest.approx(lifted * 3600 / volume)
    assert found.evaporation_m3_day == pytest.approx(0.01 * volume)
    assert found.reservoir_days == pytest.approx(0.06 * 0.38 / (0.01 * volume))
    assert found.salt_per_litre_g_kg == pytest.approx(35.0 * 0.001 / volume)
    assert found.change_week is None


def test_a_week_of_unequal_water_changes_by_hand() -> None:
    """2 l a day, pumps 5 % apart: 0.7 l in a week, over 0.2925 m2 that is 2.39 mm."""
    table = '[water_change]\nout_of = "return"\ninto = "return"\ndaily = "2 l"\n'
    plan = plan_for(site_of(CLASSROOM + table + 'tolerance = "5 %"\n'))
    week = upkeep(plan.site, plan.figures, 0.1).change_week
    assert week is not None
    assert week.unequal_m3 == pytest.approx(0.0007)
    assert week.rise_m == pytest.approx(0.0007 / 0.2925)
    assert week.salt_g_kg == pytest.approx(35.0 * 0.0007 / plan.figures.volume_m3)


def test_the_skimmers_level_moves_with_the_flow_and_is_judged() -> None:
    def steadiness(allowed: str) -> tuple[bool, Band]:
        text = edited(CLASSROOM, "chambers.inlet", steady=f'"{allowed}"')
        (found,) = assess(plan_for(site_of(text))).upkeep.steadiness
        return found.steady, found.level_m

    fine, level = steadiness("20 mm")
    assert fine
    assert 0.0005 < level.high - level.low < 0.01
    assert not steadiness("0.5 mm")[0]


def test_every_failure_is_run_as_expected_and_at_worst(plan: Plan) -> None:
    found = assess(plan)
    sorts = {result.failure.sort for result in found.results}
    assert sorts == set(Sort)
    for result in found.results:
        assert result.worst.first_spill_s <= result.expected.first_spill_s + 0.5
    main = next(r for r in found.results if r.failure.title == "main drain blocked")
    # by hand: freeboard over the net flow that the other two drains leave
    drained = plan.figures.drained[0]
    net = drained.inflow_m3_s - drained.blocked[0].left_m3_s
    by_hand_s = drained.freeboard_m3 / net
    assert main.expected.first_spill_s == pytest.approx(by_hand_s, rel=0.1)
    assert main.held
    assert not main.carried


def test_only_floats_that_cut_a_powered_pump_hold_a_failure(plan: Plan) -> None:
    assert {"display-high", "box-watch", "inlet-high", "return-low"} <= cutting_floats(plan).keys()
    assert "return-high" not in cutting_floats(plan), "it must not cut"
    assert "return-level" not in cutting_floats(plan)
    unpowered = plan_for(site_of(without_table(CLASSROOM, "outputs.pump-relay")))
    assert cutting_floats(unpowered) == {}
    assert not any(result.held for result in assess(unpowered).results)


def test_what_no_sensor_sees_is_named() -> None:
    text = CLASSROOM
    for sensor in ("display-high", "box-watch", "return-flow", "return-low"):
        text = without_table(text, f"sensors.{sensor}")
    table = {row.failure: row for row in assess(plan_for(site_of(text))).coverage}
    assert table["main drain blocked"].sensors == ()
    assert "nothing tells" in table["main drain blocked"].note
    assert table["return pump stands still"].sensors == ()
    full = {row.failure: row for row in assess(plan_for(site_of(CLASSROOM))).coverage}
    assert full["main drain blocked"].sensors[0] == "box-watch"
    assert full["return pump stands still"].sensors == ("return-flow",)
    assert "wet test" in full["emergency drain blocked"].note


def test_a_stop_with_plugged_siphon_breaks_sends_more_down(plan: Plan) -> None:
    """By hand: from the comb's crest at 560 mm down to the outlet at 520 mm, over 0.81 m2."""
    (stop,) = assess(plan).stops
    assert stop.plugged_m3 > stop.down_m3
    assert stop.plugged_m3 - stop.down_m3 == pytest.approx(0.81 * 0.040, rel=0.05)
    assert stop.open_breaks.first_spill_s == inf
