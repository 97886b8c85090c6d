"""The plant behind gpiozero's mock pins: the same contacts as direct, real edges, no growth."""

from __future__ import annotations

import pytest
from gpiozero import DigitalInputDevice, DigitalOutputDevice, PinInvalidBounce

from daemon.pins import PinBoard
from daemon.ports import Board
from rules.site.model import Site
from simulator.signals.pins import PinStand, PlantFactory, PlantPin
from simulator.signals.stand import PlantBoard, Stand
from simulator.water.plant import Plant


def settled(site: Site, seed: int) -> Plant:
    """A plant on a good day."""
    plant = Plant(site, seed)
    plant.settle()
    return plant


def on_pins(site: Site, seed: int) -> tuple[Stand, Board]:
    """A plant behind pins, and the guard's board on them."""
    factory = PlantFactory()
    stand = PinStand(site, settled(site, seed), factory)
    return stand, PinBoard(site, factory, name="sim+pins")


def direct(site: Site, seed: int) -> tuple[Stand, Board]:
    """The same plant, read directly."""
    board = PlantBoard(site, settled(site, seed))
    return board, board


def _night(site: Site, stand: Stand, board: Board) -> list[tuple[object, ...]]:
    """Two minutes in which drains block, floats turn, the pump is cut and the pad gets wet."""
    seen: list[tuple[object, ...]] = []
    contacts = [key for key, sensor in site.sensors.items() if sensor.kind != "flow-meter"]
    meters = [key for key, sensor in site.sensors.items() if sensor.kind == "flow-meter"]
    for number in range(1, 1201):
        if number == 100:
            stand.plant.condition["main-drain"] = 0.0
        if number == 500:
            stand.plant.leak_m3_s["inlet"] = 1e-4
        board.drive("pump-relay", not 600 < number < 900)
        board.drive("top-off-valve", number % 50 > 25)
        stand.advance_to(number * 0.1)
        seen.append(
            (
                *(board.closed(key) for key in contacts),
                *(board.pulses(key) for key in meters),
                stand.plant.level_m("return"),
            )
        )
    return seen


@pytest.mark.parametrize("seed", [1, 2])
def test_both_boards_show_the_same_contacts_pulses_and_water(classroom: Site, seed: int) -> None:
    """The contract of a board, on either stand: what is read, and what driving does."""
    straight = _night(classroom, *direct(classroom, seed))
    stand, board = on_pins(classroom, seed)
    assert _night(classroom, stand, board) == straight
    assert len({row[:-2] for row in straight}) > 3  # contacts did turn
    board.close()
    stand.advance_to(130.0)
    assert not any(stand.plant.on.values())


def test_a_turn_is_several_edges_on_the_pin(classroom: Site) -> None:
    stand, board = on_pins(classroom, 4)
    assert isinstance(stand, PinStand)
    pin = stand.pin_of("supply")
    before = pin.edges_seen
    stand.plant.mains = False
    stand.advance_to(0.3)
    assert pin.edges_seen - before in (3, 5, 7)
    assert not board.closed("supply")
    board.close()


def test_every_pulse_is_an_edge(classroom: Site) -> None:
    stand, board = on_pins(classroom, 5)
    assert isinstance(stand, PinStand)
    board.drive("pump-relay", True)
    stand.advance_to(20.0)
    meter = stand.sensors.meters["return-flow"]
    assert meter.pulses > 5000
    assert board.pulses("return-flow") == meter.pulses
    assert stand.pin_of("return-flow").edges_seen >= 2 * meter.pulses
    board.close()


def test_pin_does_not_grow_over_100_000_pulses() -> None:
    factory = PlantFactory()
    device = DigitalInputDevice(20, pull_up=True, pin_factory=factory)
    counted: list[int] = [0]

    def count() -> None:
        counted[0] += 1

    device.when_activated = count
    pin = factory.pin(20)
    assert isinstance(pin, PlantPin)
    sizes = []
    before = pin.edges_seen
    pin.hold(True)
    for _ in range(2):
        for _ in range(50_000):
            pin.hold(False)
            pin.hold(True)
        sizes.append(len(pin.states))
    assert counted[0] == 100_000
    assert sizes == [0, 0]
    assert pin.edges_seen - before == 200_000
    device.close()


def test_opening_a_device_does_not_move_a_contact_that_is_held() -> None:
    """A contact closed before the guard opens its pins is closed after, pull-up or not."""
    factory = PlantFactory()
    pin = factory.pin(5)
    pin.hold(False)
    device = DigitalInputDevice(5, pull_up=True, pin_factory=factory)
    assert device.is_active
    loose = DigitalInputDevice(6, pull_up=True, pin_factory=factory)
    assert not loose.is_active  # nothing is wired to it: its pull speaks
    device.close()
    loose.close()


def test_debounce_is_refused_rather_than_ignored() -> None:
    with pytest.raises(PinInvalidBounce, match="every bounce"):
        DigitalInputDevice(5, pull_up=True, bounce_time=0.01, pin_factory=PlantFactory())


def test_relay_follows_the_level_that_is_not_safe(classroom: Site) -> None:
    factory = PlantFactory()
    plant = settled(classroom, 1)
    stand = PinStand(classroom, plant, factory)
    stand.advance_to(0.1)
    assert not any(plant.on.values())  # pulled low at power-on, which is safe here
    relay = DigitalOutputDevice(17, active_high=True, initial_value=False, pin_factory=factory)
    relay.on()
    stand.advance_to(0.2)
    assert plant.on["pump-relay"]
    relay.close()
    stand.advance_to(0.3)
    assert not plant.on["pump-relay"]
