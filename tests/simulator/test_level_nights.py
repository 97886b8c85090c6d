"""Nights with a level sensor in the overflow box: what it adds, and what it neither does nor hides.

Seeds were not chosen: they are the first ones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from daemon.pins import PinBoard
from rules.signals import EventKind
from rules.site.model import Site
from simulator.library import load_drill, load_site
from simulator.night.runner import run
from simulator.signals import levels
from simulator.signals.levels import Level
from simulator.signals.pins import PinStand, PlantFactory
from simulator.signals.stand import PlantBoard
from simulator.story.drill import Drill
from simulator.story.drill_file import parse_drill
from simulator.water.plant import Plant
from tests.level_site import LEVEL, TABLE, level_site

STICK = """
[[happens]]
at = "0 s"
what = "stick"
where = "drain-watch float of the first overflow box"
state = "dry"
"""

BLOCK = """
title = "The main drain is blocked"
group = "drains"
story = "A snail sits on it."
starts_at = "02:40"
lasts = "8 min"

[[happens]]
at = "2 min"
what = "block"
where = "main drain of the first display"

[[must_not]]
what = "spill"
"""

SOON = parse_drill(BLOCK.replace("2 min", "5 s").replace("8 min", "15 s"), "soon.toml")


@dataclass
class Seen:
    """What came of a night: cuts with their causes, and alarms, timed from its start [s]."""

    passed: bool = False
    cuts: list[tuple[float, tuple[str, ...]]] = field(default_factory=list)
    alarms: list[tuple[float, str]] = field(default_factory=list)

    @property
    def first_cut_s(self) -> float:
        return self.cuts[0][0]


def play(
    site: Site, drill: Drill, seed: int, without: frozenset[str] = frozenset(), ticks: bool = False
) -> Seen:
    seen = Seen()

    def tap(t_s: float, _observation: object, decision: object, *_: object) -> None:
        for event in decision.events:  # type: ignore[attr-defined]
            if event.kind is EventKind.PUMP_CUT:
                seen.cuts.append((t_s, event.causes))
            elif event.kind is EventKind.ALARM_RAISED:
                seen.alarms.append((t_s, event.alarm.row))

    seen.passed = run(
        site, drill, seed, without=without, tap=tap, trace=False, every_tick=ticks
    ).passed
    return seen


def blocked(*, stuck: bool = False) -> Drill:
    return parse_drill(BLOCK + (STICK if stuck else ""), "blocked.toml")


def off_by(monkeypatch: pytest.MonkeyPatch, change: Callable[[float], float]) -> None:
    """Let every level sensor read a changed share of its range."""
    reads = Level.share
    monkeypatch.setattr(Level, "share", lambda self: change(reads(self)))


# --- the sensor on the plant ---------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_it_reads_the_water_within_its_tolerance_and_noise(seed: int) -> None:
    site = level_site()
    plant = Plant(site, seed)
    plant.settle()
    board = PlantBoard(site, plant)
    read = [board.analog(LEVEL)]
    for _ in range(50):
        board.advance_to(plant.t_s + 0.1)
        read.append(board.analog(LEVEL))
    true_m = plant.levels_m()["overflow-box"]
    sensor = site.levels()[LEVEL]
    middle_m = sensor.level_m(sum(read) / len(read))
    assert abs(middle_m - true_m) < sensor.tolerance + 0.001
    assert len(set(read)) > 1, "a converter that shows no noise is too good to be true"
    spread_m = sensor.level_m(max(read)) - sensor.level_m(min(read))
    assert 0.0005 < spread_m < 0.006


@pytest.mark.parametrize("converter", ["mcp3002", "mcp3008", "mcp3202", "mcp3208"])
def test_real_devices_on_mock_pins_read_what_the_plant_board_reads(converter: str) -> None:
    table = TABLE.replace("mcp3008", converter).replace("channel = 3", "channel = 1")
    site = level_site(table)
    plants = [Plant(site, 5), Plant(site, 5)]
    for plant in plants:
        plant.settle()
    factory = PlantFactory()
    pins = PinStand(site, plants[0], factory)
    board = PinBoard(site, factory, "sim+pins")
    direct = PlantBoard(site, plants[1])
    direct.close()  # a board on pins claims every output at off
    for i in range(5):
        pins.advance_to(0.1 * i + plants[0].t_s)
        direct.advance_to(0.1 * i + plants[1].t_s)
        assert board.analog(LEVEL) == pytest.approx(direct.analog(LEVEL), abs=1e-12)
    board.close()


# --- nights --------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2])
def test_a_healthy_night_with_a_noisy_sensor_that_reads_too_high_is_silent(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Four hours; 5 mm too high on top of its own error, and noise four times as large."""
    monkeypatch.setattr(levels, "NOISE_SHARE", (0.008, 0.008))
    off_by(monkeypatch, lambda share: share + 0.005 / 0.400)
    seen = play(level_site(), load_drill("healthy-night"), seed)
    assert seen.passed
    assert seen.cuts == []
    assert seen.alarms == []


def test_at_ten_looks_a_second_a_healthy_quarter_of_an_hour_is_silent_too() -> None:
    drill = load_drill("healthy-night").model_copy(update={"lasts": 900.0})
    seen = play(level_site(), drill, 3, ticks=True)
    assert seen.cuts == []
    assert seen.alarms == []


def test_a_float_that_hangs_dry_is_made_up_for() -> None:
    """The drain-watch float says dry whatever comes; the level sensor cuts before the last float,
    and without its hazard that one is left."""
    seen = play(level_site(), blocked(stuck=True), 1)
    plain = play(load_site("classroom"), blocked(stuck=True), 1)
    assert seen.passed
    assert seen.cuts[0][1] == ("drain-capacity.overflow-box",)
    assert plain.cuts[0][1] == ("spill-edge.display-high",)
    assert seen.first_cut_s < plain.first_cut_s
    assert (f"signal.{LEVEL}") in [row for _, row in seen.alarms]
    taken_out = play(level_site(), blocked(stuck=True), 1, frozenset({"drain-capacity"}))
    assert taken_out.cuts[0][1] == ("spill-edge.display-high",)


def test_a_drain_that_closes_slowly_is_seen_minutes_earlier() -> None:
    drill = load_drill("main-drain-blocking-slowly")
    seen = play(level_site(), drill, 1)
    plain = play(load_site("classroom"), drill, 1)
    assert seen.passed
    rows = [row for _, row in seen.alarms]
    assert rows[:2] == ["drain-fouling.overflow-box", "drain-loss.overflow-box"]
    assert seen.alarms[1][0] < plain.first_cut_s - 60.0
    assert seen.first_cut_s > plain.first_cut_s, "the flow went on while all was carried"


WRONG: dict[str, Callable[[float], float]] = {
    "a broken wire": lambda _: 0.0,
    "the top of the range": lambda _: 1.0,
    "always a good day": lambda _: 0.4675,
    "120 mm too little": lambda share: max(0.02, share - 0.3),
}


@pytest.fixture(scope="module")
def plain() -> Seen:
    """The blocked drain, seen by the float alone, every look of it."""
    return play(load_site("classroom"), SOON, 1, ticks=True)


@pytest.mark.parametrize("wrong", WRONG)
def test_whatever_it_reads_the_float_cuts_at_the_very_look_that_it_would_without_it(
    wrong: str, plain: Seen, monkeypatch: pytest.MonkeyPatch
) -> None:
    off_by(monkeypatch, WRONG[wrong])
    seen = play(level_site(), SOON, 1, ticks=True)
    assert plain.cuts[0][1] == ("drain-capacity.overflow-box",)
    assert seen.cuts == plain.cuts


def test_a_broken_wire_is_told_of_and_stops_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    off_by(monkeypatch, WRONG["a broken wire"])
    drill = load_drill("healthy-night").model_copy(update={"lasts": 3600.0})
    seen = play(level_site(), drill, 1)
    assert seen.cuts == []
    assert [row for _, row in seen.alarms] == [f"signal.{LEVEL}"]
