"""Quiet stretches: time passes in long pieces, and whatever turns is found all the same."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest

from rules.site.model import Site
from simulator.signals.stand import PlantBoard
from simulator.story.script import Script
from simulator.water.plant import Plant
from tests.simulator.stories import drill_of

Doing = Callable[[Plant, PlantBoard], None]


def board_on(site: Site, seed: int = 5) -> PlantBoard:
    """The direct board on a settled plant, its pumps on for a while."""
    plant = Plant(site, seed)
    plant.settle()
    board = PlantBoard(site, plant)
    board.advance_to(20.0)
    return board


def shown(board: PlantBoard) -> dict[str, bool]:
    """What every contact shows."""
    return {key: board.closed(key) for key in board.sensors.contacts}


def first_turn(board: PlantBoard, doing: Doing, *, quietly: bool, until_s: float) -> float | None:
    """When the first contact shows something new after `doing`, looked at either way [s]."""
    before = shown(board)
    doing(board.plant, board)
    while board.plant.t_s < until_s - 1e-6:
        if quietly:
            board.advance_until(min(until_s, board.plant.t_s + 10.0))
        else:
            board.advance_to(board.plant.t_s + 0.1)
        if shown(board) != before:
            return board.plant.t_s
    return None


def block_all(plant: Plant, _board: PlantBoard) -> None:
    """Every drain of the display shuts."""
    plant.condition.update({"main-drain": 0.0, "open-drain": 0.0, "emergency-drain": 0.0})


def block_main(plant: Plant, _board: PlantBoard) -> None:
    """The main drain shuts: the float in the overflow box is reached."""
    plant.condition["main-drain"] = 0.0


def lose(plant: Plant, _board: PlantBoard) -> None:
    """Water goes from the return chamber, a litre in a minute."""
    plant.stream_m3_s["return"] = -1.0e-3 / 60.0


def weep(plant: Plant, _board: PlantBoard) -> None:
    """A small leak reaches the pad after some minutes."""
    plant.leak_m3_s["inlet"] = 1.0e-3 / 3600.0


def slip(plant: Plant, _board: PlantBoard) -> None:
    """A hose gives a little beside."""
    plant.rises["refugium-feed"].beside = 0.02


def dark(plant: Plant, _board: PlantBoard) -> None:
    """The mains go."""
    plant.mains = False


def stick(_plant: Plant, board: PlantBoard) -> None:
    """A float sticks."""
    board.sensors.contacts["display-high"].stuck = True


def stir(plant: Plant, _board: PlantBoard) -> None:
    """A hand in the tank makes waves that reach the high float now and then."""
    plant.stirred_m["display"] = 0.03


@pytest.mark.parametrize(
    ("doing", "until_s", "late_s"),
    [
        (block_all, 300.0, 0.25),
        (block_main, 300.0, 0.25),
        (lose, 900.0, 0.25),
        (weep, 3600.0, 1.0),
        (slip, 900.0, 1.0),
        (dark, 60.0, 0.01),
        (stick, 60.0, 0.01),
        (stir, 60.0, 0.25),
    ],
)
def test_a_turn_is_found_as_if_looked_at_ten_times_a_second(
    classroom: Site, doing: Doing, until_s: float, late_s: float
) -> None:
    always = first_turn(board_on(classroom), doing, quietly=False, until_s=until_s)
    quiet = first_turn(board_on(classroom), doing, quietly=True, until_s=until_s)
    assert always is not None
    assert quiet is not None
    assert quiet == pytest.approx(always, abs=late_s)


def test_a_quiet_hour_asks_for_few_looks_and_counts_every_pulse(classroom: Site) -> None:
    """Ten seconds at a time; the pulses are the water's, and nothing turns."""
    board = board_on(classroom)
    riser, meter = board.plant.rises["riser"], board.sensors.meters["return-flow"]
    moved_m3, pulses, before = riser.moved_m3, meter.pulses, shown(board)
    asked = []
    calm_s = board.sensors.calm_s
    board.sensors.calm_s = lambda most: asked.append(most) or calm_s(most)  # type: ignore[method-assign, func-returns-value]
    early = 0
    for number in range(1, 361):
        board.plant.keep_beating(10.0)
        early += board.advance_until(20.0 + 10.0 * number) < 20.0 + 10.0 * number - 1e-6
    assert early <= 2
    assert len(asked) <= 400
    assert shown(board) == before
    counted = (riser.moved_m3 - moved_m3) * meter.pulses_m3
    assert meter.pulses - pulses == pytest.approx(counted, abs=2.0)


def test_a_flow_that_changes_ends_the_stretch(classroom: Site) -> None:
    """A pump that dies is news at once although no contact turns."""
    board = board_on(classroom)
    board.plant.lifts["return-pump"].seized = True
    assert board.advance_until(30.0) == pytest.approx(20.1, abs=1e-6)


def test_after_a_change_of_flow_every_tick_is_shown(classroom: Site) -> None:
    """The guard takes its flows over two seconds, and no pulse for three: so long it looks on."""
    board = board_on(classroom)
    board.plant.lifts["return-pump"].seized = True
    meter, changed_s = board.sensors.meters["return-flow"], 0.0
    looks, flow = [], meter.flow_m3_s
    while board.advance_until(90.0) < 90.0 - 1e-6:
        looks.append(board.plant.t_s)
        if abs(meter.flow_m3_s - flow) > 1e-5 + 0.01 * flow:
            changed_s = board.plant.t_s
        flow = meter.flow_m3_s
    gaps = [after - before for before, after in pairwise(looks) if after <= changed_s + 3.0]
    assert max(gaps) == pytest.approx(0.1)
    assert looks[-1] - changed_s == pytest.approx(3.0, abs=0.15)
    assert changed_s > 21.0


def test_what_the_story_changes_is_looked_at_every_tick(classroom: Site) -> None:
    """A meter that falls silent moves no water and no contact; it is news all the same."""
    board = board_on(classroom)
    script = Script(classroom, board, drill_of('at = "5 s"; what = "silence"'))
    script.advance(4.0)
    assert board.advance_until(25.0) == pytest.approx(25.0)
    script.advance(5.0)
    assert board.sensors.meters["return-flow"].silent
    assert board.advance_until(60.0) == pytest.approx(25.1)
    assert board.advance_until(60.0) == pytest.approx(25.2)
    board.advance_to(29.0)
    script.advance(9.0)
    assert board.advance_until(60.0) == pytest.approx(60.0)


def test_a_stretch_ends_on_the_beat(classroom: Site) -> None:
    """Whatever ends it, the guard's next look is at a tenth of a second."""
    board = board_on(classroom)
    block_all(board.plant, board)
    for _ in range(40):
        reached = board.advance_until(board.plant.t_s + 10.0)
        assert reached * 10.0 == pytest.approx(round(reached * 10.0), abs=1e-6)


def test_waves_near_a_float_are_looked_at_closely(classroom: Site) -> None:
    """With the mean level at its height, the float turns as often in stretches as it does looked at
    ten times a second."""
    turns = []
    for quietly in (False, True):
        plant = Plant(classroom, 0, exact=True)
        height_m = classroom.floats()["display-high"].height
        plant.bring("display", (height_m - plant.level_m("display")) * 0.81)
        plant.condition["comb"] = 0.0
        board = PlantBoard(classroom, plant)
        number, before = 0, board.closed("display-high")
        while plant.t_s < 60.0 - 1e-6:
            if quietly:
                board.advance_until(60.0)
            else:
                board.advance_to(plant.t_s + 0.1)
            number += board.closed("display-high") != before
            before = board.closed("display-high")
        turns.append(number)
    assert turns[0] > 20
    assert turns[1] == turns[0]
