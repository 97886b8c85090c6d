"""Floats, pads, meters and their faults, read through the direct board."""

from __future__ import annotations

import pytest

from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import site_text
from simulator.signals.contacts import BOUNCE_S, ContactEdge, Float
from simulator.signals.stand import PlantBoard
from simulator.water.plant import Plant


def board_on(site: Site, seed: int = 0, *, exact: bool = True) -> PlantBoard:
    """The direct board on a settled plant."""
    plant = Plant(site, seed, exact=exact)
    plant.settle()
    return PlantBoard(site, plant)


def watched(board: PlantBoard, key: str) -> Float:
    """The float behind a contact."""
    contact = board.sensors.contacts[key]
    float_switch = contact.watched
    assert isinstance(float_switch, Float)
    return float_switch


def level_when(board: PlantBoard, key: str, wet: bool, flow_m3_s: float) -> float:
    """The level of the return chamber at which a float turns while water comes or goes."""
    switch = watched(board, key)
    board.plant.stream_m3_s["return"] = flow_m3_s
    while switch.wet is not wet:
        board.advance_to(board.plant.t_s + 0.1)
        assert board.plant.t_s < 4000.0
    return board.plant.level_m("return")


def test_float_turns_at_its_height_with_a_gap(classroom: Site) -> None:
    """Up through the float and down again: 2 to 4 mm apart, around the height in the site file."""
    board = board_on(classroom)
    board.drive("pump-relay", False)
    board.advance_to(600.0)
    up_m = level_when(board, "return-high", True, 1e-4)
    down_m = level_when(board, "return-high", False, -1e-4)
    assert 0.002 <= up_m - down_m <= 0.0045
    height_m = classroom.floats()["return-high"].height
    assert (up_m + down_m) / 2 == pytest.approx(height_m, abs=0.001)


def test_waves_are_seen_by_floats_and_move_no_water(classroom: Site) -> None:
    """With the mean level still and at its height, the display's float turns and turns."""
    plant = Plant(classroom, 0, exact=True)
    height_m = classroom.floats()["display-high"].height
    plant.bring("display", (height_m - plant.level_m("display")) * 0.81)
    plant.condition["comb"] = 0.0
    board = PlantBoard(classroom, plant)
    turns = 0
    before = board.closed("display-high")
    for number in range(200):
        board.advance_to(0.1 * number)
        turns += board.closed("display-high") != before
        before = board.closed("display-high")
    assert turns > 6
    assert board.plant.level_m("display") == pytest.approx(height_m, abs=1e-9)


def test_polarity_is_that_of_the_site_file(classroom: Site) -> None:
    """High floats close when dry and the low one when wet, so that a cut cable reads as alarm."""
    board = board_on(classroom)
    assert board.closed("display-high")
    assert board.closed("return-low")
    assert board.closed("supply")
    assert not board.closed("floor-pad")
    text = site_text("classroom").replace(
        'height = "95 mm"', 'height = "95 mm"\nclosed_when = "dry"'
    )
    assert not board_on(parse_site(text, "x")).closed("return-low")


def test_cut_cable_opens_the_contact_and_a_stuck_float_keeps_it(classroom: Site) -> None:
    board = board_on(classroom)
    board.sensors.contacts["display-high"].cable_cut = True
    board.sensors.contacts["return-low"].stuck = True
    board.sensors.contacts["box-watch"].stuck = True
    board.plant.bring("return", -1.0)
    board.advance_to(0.5)
    assert not board.closed("display-high")
    assert board.closed("return-low")  # stuck wet over an empty chamber
    assert not board.closed("box-watch")
    board.sensors.contacts["return-low"].stuck = None
    board.advance_to(1.0)
    assert not board.closed("return-low")


def test_mains_input_follows_the_supply(classroom: Site) -> None:
    board = board_on(classroom)
    board.plant.mains = False
    board.advance_to(0.2)
    assert not board.closed("supply")


def test_turn_bounces_within_a_millisecond_and_comes_to_rest(classroom: Site) -> None:
    board = board_on(classroom, 3, exact=False)
    seen: list[ContactEdge] = []
    show = board.show
    board.show = lambda edges, pulses: (seen.extend(edges), show(edges, pulses))[1]  # type: ignore[method-assign]
    board.plant.mains = False
    board.advance_to(0.3)
    edges = [edge for edge in seen if edge.sensor == "supply"]
    assert len(edges) in (3, 5, 7)
    assert [edge.closed for edge in edges] == [number % 2 == 1 for number in range(len(edges))]
    assert 0.0 < edges[-1].t_s - edges[0].t_s <= BOUNCE_S[1]
    assert not board.closed("supply")


def test_bounce_may_show_as_one_wrong_sample_and_no_longer(classroom: Site) -> None:
    """Of many turns read half a millisecond later, some read wrong; two milliseconds later none."""
    board = board_on(classroom, 4, exact=False)
    wrong = 0
    for number in range(400):
        board.plant.mains = number % 2 == 1
        t_s = board.plant.t_s
        board.advance_to(t_s + 0.0005)
        wrong += board.closed("supply") != board.plant.mains
        board.advance_to(t_s + 0.0025)
        assert board.closed("supply") == board.plant.mains
    assert 0 < wrong < 400


def test_pad_is_wet_once_water_has_reached_it_and_stays_wet(classroom: Site) -> None:
    board = board_on(classroom)
    board.plant.leak_m3_s["inlet"] = 1e-4  # 0.2 l reach it after 2 s, exactly drawn
    board.advance_to(6.5)
    assert not board.closed("floor-pad")
    board.advance_to(7.5)
    assert board.closed("floor-pad")
    board.plant.leak_m3_s.clear()
    board.advance_to(60.0)
    assert board.closed("floor-pad")


def test_pulses_are_litres_times_pulses_a_litre(classroom: Site) -> None:
    """450 pulses a litre (the usual Hall meter, f = 7.5 Q): about 440 Hz at this flow."""
    board = board_on(classroom)
    moved_m3 = board.plant.rises["riser"].moved_m3
    board.advance_to(60.0)
    litres = (board.plant.rises["riser"].moved_m3 - moved_m3) * 1000
    assert litres == pytest.approx(66.0, abs=3.0)
    assert board.pulses("return-flow") == pytest.approx(litres * 450, abs=1.0)


def test_meter_error_lies_within_its_tolerance_and_differs_by_seed(classroom: Site) -> None:
    factors = set()
    for seed in range(20):
        meter = board_on(classroom, seed, exact=False).sensors.meters["return-flow"]
        assert abs(meter.pulses_m3 / 450e3 - 1.0) <= 0.05
        factors.add(meter.pulses_m3)
    assert len(factors) == 20


def test_meter_drifts_falls_silent_and_reads_water_that_runs_back(classroom: Site) -> None:
    board = board_on(classroom)
    meter = board.sensors.meters["return-flow"]
    board.advance_to(10.0)
    first = meter.pulses
    meter.drift = -0.10
    board.advance_to(20.0)
    assert meter.pulses - first == pytest.approx(0.9 * first, rel=0.01)
    meter.silent = True
    before = meter.pulses
    board.advance_to(30.0)
    assert meter.pulses == before
    meter.silent = False
    board.drive("pump-relay", False)
    board.advance_to(33.0)
    assert board.plant.flows_m3_s["riser"] < 0.0
    before = meter.pulses
    board.advance_to(34.0)
    assert meter.pulses > before + 100
    board.advance_to(120.0)
    before = meter.pulses
    board.advance_to(200.0)
    assert meter.pulses == before


def test_closing_the_board_lets_everything_go(classroom: Site) -> None:
    board = board_on(classroom)
    board.drive("top-off-valve", True)
    board.close()
    assert not any(board.plant.on.values())
    assert board.name == "sim+plant"
