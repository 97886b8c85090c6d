"""The board on gpiozero devices, on gpiozero's own mock pins."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from gpiozero.pins.mock import MockFactory, MockPin

from daemon import pins
from daemon.pins import NoPinsError, PinBoard, open_factory
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import load_site, site_text


@pytest.fixture
def site() -> Site:
    return load_site("classroom")


@pytest.fixture
def factory() -> Iterator[MockFactory]:
    factory = MockFactory()
    yield factory
    factory.reset()


def pin_of(site: Site, factory: MockFactory, key: str) -> MockPin:
    thing = site.sensors.get(key) or site.outputs[key]
    return factory.pin(thing.pin)


def test_a_closed_contact_pulls_its_pin_low(site: Site, factory: MockFactory) -> None:
    board = PinBoard(site, factory)
    pin = pin_of(site, factory, "display-high")
    assert pin.pull == "up"
    pin.drive_low()
    assert board.closed("display-high")
    pin.drive_high()
    assert not board.closed("display-high")
    board.close()


def test_an_open_wire_reads_as_an_open_contact(site: Site, factory: MockFactory) -> None:
    board = PinBoard(site, factory)  # nothing drives the pin: its pull-up decides
    assert not board.closed("display-high")
    board.close()


@pytest.mark.parametrize(("safe", "on_level"), [("low", True), ("high", False)])
def test_an_output_is_claimed_at_off_in_the_same_request(
    factory: MockFactory, monkeypatch: pytest.MonkeyPatch, safe: str, on_level: bool
) -> None:
    """No pin becomes an output before its safe level is given: that would be a blip of on."""
    claims: list[bool] = []
    claim = MockPin.output_with_state

    def noted(pin: MockPin, state: bool) -> None:
        claims.append(bool(state))
        claim(pin, state)

    monkeypatch.setattr(MockPin, "output_with_state", noted)
    text = site_text("classroom").replace('safe = "low"', f'safe = "{safe}"')
    site = parse_site(text, "turned.toml")
    board = PinBoard(site, factory)
    assert claims == [not on_level] * len(site.outputs)
    pin = pin_of(site, factory, "pump-relay")
    board.drive("pump-relay", True)
    assert bool(pin.state) is on_level
    board.drive("pump-relay", False)
    assert bool(pin.state) is not on_level
    board.close()


def test_every_pulse_is_counted_once(site: Site, factory: MockFactory) -> None:
    board = PinBoard(site, factory)
    pin = pin_of(site, factory, "return-flow")
    for _ in range(500):
        pin.drive_low()
        pin.drive_high()
    assert board.pulses("return-flow") == 500
    board.close()


def test_close_drives_off_before_it_lets_go(site: Site, factory: MockFactory) -> None:
    board = PinBoard(site, factory)
    pin = pin_of(site, factory, "pump-relay")
    board.drive("pump-relay", True)
    assert pin.state
    board.close()
    assert not pin.state


def test_a_device_that_fails_is_an_os_error(site: Site, factory: MockFactory) -> None:
    board = PinBoard(site, factory)
    board._inputs["display-high"].close()
    with pytest.raises(OSError):
        board.closed("display-high")
    board.close()


def test_a_pin_somebody_else_holds_is_said_in_a_sentence(site: Site, factory: MockFactory) -> None:
    first = PinBoard(site, factory)
    with pytest.raises(NoPinsError, match="a pin cannot be had"):
        PinBoard(site, factory)
    first.close()


def test_no_silent_fall_back_to_another_factory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "native")
    with pytest.raises(NoPinsError, match="--simulate"):
        open_factory()


def test_on_a_machine_without_pins_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GPIOZERO_PIN_FACTORY", raising=False)
    with pytest.raises(NoPinsError, match="--simulate"):
        open_factory()


def test_the_callback_only_counts() -> None:
    """One exception in a callback ends every pin's edges: the counter has nothing that can fail."""
    counter = pins._Counter()
    counter.edge(object())
    counter.edge(None)
    assert counter.count == 2
