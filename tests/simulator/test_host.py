"""The guard's own life: killed, hung, rebooted, without power, upgraded; and what the pins do."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.response import LEASE_S
from rules.signals import TICK_S, Command, Decision, EventKind, Order, Origin, Phase
from rules.site.model import Site
from rules.site.parse import parse_site
from simulator.library import site_text
from simulator.night.host import BOOT_S, Host
from simulator.signals.stand import PlantBoard
from simulator.water.plant import Plant
from simulator.water.wiring import TIMER_S


class Scene:
    """A host on a plant, with time to pass."""

    def __init__(self, site: Site) -> None:
        self.plant = Plant(site, 3, timer_relay=True)
        self.plant.settle()
        self.board = PlantBoard(site, self.plant)
        self.host = Host(site, self.board, "scene")
        self.ticks = 0
        self.events: list[tuple[float, EventKind]] = []
        self.decision: Decision = self.host.decision

    @property
    def t_s(self) -> float:
        return self.ticks * TICK_S

    def lasts(self, seconds: float) -> None:
        for _ in range(round(seconds / TICK_S)):
            self.ticks += 1
            self.board.advance_to(self.t_s)
            self.decision = self.host.tick(self.t_s)
            self.events += [(self.t_s, event.kind) for event in self.decision.events]

    def times(self, kind: EventKind) -> list[float]:
        return [t_s for t_s, which in self.events if which is kind]

    @property
    def phase(self) -> Phase:
        return self.decision.pumps[0].phase

    @property
    def on(self) -> dict[str, bool]:
        return dict(self.plant.on)


@pytest.fixture
def scene(classroom: Site) -> Scene:
    """The classroom with its pump running."""
    scene = Scene(classroom)
    scene.lasts(8.0)
    assert scene.on["pump-relay"]
    assert scene.plant.powered("return-pump")
    return scene


def test_a_killed_guard_leaves_its_pins_and_the_timer_relay_opens(scene: Scene) -> None:
    scene.host.kill(5.0)
    assert scene.host.guard is None
    scene.lasts(TIMER_S - 0.6)
    assert scene.plant.powered("return-pump")
    scene.lasts(1.0)
    assert scene.on["pump-relay"]
    assert scene.decision.outputs[0]
    assert not scene.plant.powered("return-pump")
    assert scene.decision.events == ()
    assert scene.host.standing() == ()
    scene.lasts(3.0)
    assert scene.host.guard is not None
    assert not scene.on["pump-relay"]
    scene.lasts(4.0)
    assert scene.plant.powered("return-pump")
    assert len(scene.times(EventKind.PUMP_STARTED)) == 2


def test_pins_let_go_by_a_killed_guard_go_to_their_pulls(scene: Scene) -> None:
    scene.host.kill(5.0, held=False)
    assert not any(scene.on.values())
    scene.lasts(3.0)
    assert not any(scene.decision.outputs)


def test_a_pin_pulled_the_wrong_way_switches_its_pump_on_in_a_reboot() -> None:
    """GPIO 4 is pulled high at power-on: a relay there that is released by low then closes."""
    text = site_text("classroom").replace("pin = 17\n", "pin = 4\n")
    scene = Scene(parse_site(text, "wrong pull"))
    assert not scene.on["pump-relay"]
    scene.host.reboot(10.0)
    assert scene.on["pump-relay"]
    assert not scene.on["top-off-valve"]
    scene.lasts(10.2)
    assert not scene.on["pump-relay"]


def test_a_hung_loop_loses_its_leases_and_says_so_after_it(scene: Scene) -> None:
    scene.host.hang(8.0)
    scene.lasts(LEASE_S - 0.2)
    assert scene.on["pump-relay"]
    scene.lasts(0.4)
    assert not scene.on["pump-relay"]
    assert not any(scene.decision.outputs)
    guard = scene.host.guard
    assert guard is not None
    scene.lasts(6.0)
    assert scene.host.guard is guard
    raised = [alarm.hazard for alarm in scene.host.standing()]
    assert raised == ["lease-lost"]
    assert scene.phase is Phase.WAITING


def test_a_stopped_process_holds_its_pins_until_it_goes_on(scene: Scene) -> None:
    """Its thread stands still too: the timer relay is all that is left."""
    scene.host.hang(8.0, whole=True)
    scene.lasts(7.9)
    assert scene.on["pump-relay"]
    assert not scene.plant.powered("return-pump")
    scene.lasts(0.3)
    assert not scene.on["pump-relay"]
    assert [alarm.hazard for alarm in scene.host.standing()] == ["lease-lost"]


def test_without_power_pins_are_low_until_the_machine_has_booted(scene: Scene) -> None:
    scene.host.unpower(20.0)
    assert not any(scene.on.values())
    scene.lasts(20.0 + BOOT_S - 0.1)
    assert scene.host.guard is None
    scene.lasts(0.2)
    assert scene.host.guard is not None
    scene.lasts(4.0)
    assert scene.on["pump-relay"]


def test_a_relay_released_by_high_is_on_while_its_pin_has_no_power() -> None:
    """The worst case: its board has a supply of its own."""
    text = site_text("classroom").replace('pin = 17\nsafe = "low"', 'pin = 4\nsafe = "high"')
    scene = Scene(parse_site(text, "released by high"))
    scene.host.unpower(20.0)
    assert scene.on["pump-relay"]
    scene.lasts(20.5)
    assert not scene.on["pump-relay"]  # booting: pulled up, and so off


def _kill(host: Host) -> None:
    host.kill(3.0)


def _reboot(host: Host) -> None:
    host.reboot(3.0)


def _upgrade(host: Host) -> None:
    host.upgrade(3.0)


@pytest.mark.parametrize("away", [_kill, _reboot, _upgrade])
def test_what_is_latched_outlives_every_way_to_go(
    scene: Scene, away: Callable[[Host], None]
) -> None:
    """A restart is no reset: the pump stays off, under a new code, until a person resets."""
    scene.board.sensors.contacts["display-high"].stuck = True
    scene.lasts(3.0)
    assert scene.phase is Phase.LATCHED
    (before,) = (a for a in scene.host.standing() if a.hazard == "spill-edge")
    scene.board.sensors.contacts["display-high"].stuck = None
    away(scene.host)
    scene.lasts(30.0)
    (after,) = (a for a in scene.host.standing() if a.hazard == "spill-edge")
    assert after.code != before.code
    assert not scene.on["pump-relay"]
    scene.host.order(Command(Order.RESET, "all", Origin.LOCAL))
    scene.lasts(5.0)
    assert scene.times(EventKind.ORDER_OBEYED)
    assert scene.on["pump-relay"]


def test_an_upgrade_puts_every_output_off_at_once(scene: Scene) -> None:
    scene.host.upgrade(8.0)
    assert not any(scene.on.values())
    scene.lasts(8.2)
    assert scene.host.guard is not None


def test_orders_are_lost_on_a_guard_that_is_away_and_wait_for_one_that_hangs(scene: Scene) -> None:
    reset = Command(Order.RESET, "all", Origin.LOCAL)
    scene.host.kill(2.0)
    scene.host.order(reset)
    scene.lasts(6.0)
    assert not scene.times(EventKind.ORDER_REFUSED)
    scene.host.hang(1.0)
    scene.host.order(reset)
    scene.lasts(2.0)
    assert len(scene.times(EventKind.ORDER_REFUSED)) == 1  # nothing was latched


def test_an_undisturbed_host_decides_as_its_guard_would(classroom: Site) -> None:
    from daemon.guard import Guard

    scene = Scene(classroom)
    plant = Plant(classroom, 3, timer_relay=True)
    plant.settle()
    board = PlantBoard(classroom, plant)
    board.close()
    guard = Guard(classroom, board, "scene")
    for _ in range(100):
        scene.lasts(TICK_S)
        board.advance_to(scene.t_s)
        assert guard.tick(scene.t_s) == scene.decision
