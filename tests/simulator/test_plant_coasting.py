"""While next to nothing moves, the plant computes few flows anew, and nobody can tell."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy

import pytest

from rules.site.model import Site
from simulator.water.plant import Plant


def settled(site: Site, seed: int = 3) -> Plant:
    """A plant on a good day."""
    plant = Plant(site, seed)
    plant.settle()
    return plant


def _night(site: Site, plant: Plant) -> tuple[list[dict[str, float]], Plant]:
    """Half an hour still but for evaporation and a top-off, then every drain blocks: it spills."""
    levels = []
    drains = [key for key, passage in site.gravity().items() if passage.kind.endswith("drain")]
    for tick in range(1, 18_901):
        if tick in (6_000, 6_600):
            plant.command("top-off-valve", tick == 6_000)
        if tick == 18_000:
            for key in drains:
                plant.condition[key] = 0.0
        plant.advance(0.1)
        if tick % 300 == 0:
            levels.append(plant.levels_m())
    return levels, plant


@pytest.fixture
def finely(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """From its call on no plant coasts: every step is a fine one."""

    def from_now_on() -> None:
        monkeypatch.setattr(Plant, "_stretch", lambda _plant, flows, net: (flows, net))

    return from_now_on


def test_coasting_shows_the_same_night(classroom: Site, finely: Callable[[], None]) -> None:
    """Levels within a hundredth of a millimetre, what is spilled within half a percent."""
    alike = settled(classroom)
    coasted, quick = _night(classroom, deepcopy(alike))
    finely()
    stepped, slow = _night(classroom, alike)
    for here, there in zip(coasted[:60], stepped[:60], strict=True):
        for key, level_m in there.items():
            assert here[key] == pytest.approx(level_m, abs=1e-5)
    assert quick.spilled_total_m3 > 0.005
    assert quick.spilled_total_m3 == pytest.approx(slow.spilled_total_m3, rel=5e-3)
    assert quick.evaporated_m3 == pytest.approx(slow.evaporated_m3, rel=1e-9)
    for key, rise in quick.rises.items():
        assert rise.moved_m3 == pytest.approx(slow.rises[key].moved_m3, rel=1e-5)


def _fell_s(plant: Plant, chamber: str, level_m: float) -> float:
    """The time until a chamber has fallen to a level, looked at every second."""
    while plant.level_m(chamber) > level_m:
        assert plant.t_s < 4000.0
        plant.advance(1.0)
    return plant.t_s


@pytest.mark.parametrize("fault", ["dry air", "slow leak", "worn pump"])
def test_floats_turn_when_they_would(
    classroom: Site, finely: Callable[[], None], fault: str
) -> None:
    """In a quiet drift a level comes past a float within a second of when it does in fine steps."""
    times, alike = [], settled(classroom)
    for _ in range(2):
        plant = deepcopy(alike)
        if fault == "slow leak":
            plant.leak_m3_s["settling"] = 2e-6
        plant.dry_air(0.06)
        plant.lifts["return-pump"].condition = 0.99 if fault == "worn pump" else 1.0
        at_m = plant.level_m("return") - 0.001
        times.append(_fell_s(plant, "return", at_m))
        finely()
    assert 100.0 < times[0] < 2000.0
    assert times[0] == pytest.approx(times[1], abs=1.0)


@pytest.mark.parametrize("look_s", [0.1, 1.0, 10.0])
def test_water_comes_over_the_rim_when_it_would(
    classroom: Site, finely: Callable[[], None], look_s: float
) -> None:
    """Nothing comes down and the pump is slow: time of the spill and its amount within 1 %."""
    spilled, alike = [], settled(classroom)
    for _ in range(2):
        plant = deepcopy(alike)
        plant.condition.update(dict.fromkeys(classroom.drains_from("overflow-box"), 0.0))
        plant.lifts["return-pump"].condition = 0.55
        while plant.spilled_total_m3 < 1e-4:
            assert plant.t_s < 600.0
            plant.advance(0.1)
        at_s = plant.t_s
        for _ in range(round(60.0 / look_s)):
            plant.advance(look_s)
        spilled.append((at_s, plant.spilled_total_m3))
        finely()
    assert spilled[0][0] == pytest.approx(spilled[1][0], rel=0.01)
    assert spilled[0][1] == pytest.approx(spilled[1][1], rel=0.01)
    assert spilled[1][1] > 0.002


@pytest.mark.parametrize("name", ["classroom", "rack", "workshop"])
def test_still_water_is_left_to_itself(
    name: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A quiet hour takes no more than 150 looks at the flows; without coasting 72,000."""
    plant = settled(request.getfixturevalue(name))
    plant.advance(60.0)
    computed = _counted(plant, monkeypatch)
    for _ in range(3600):
        plant.advance(1.0)
    assert 60 < len(computed) <= 150
    computed.clear()
    plant.advance(3600.0)
    assert 60 < len(computed) <= 150


def _counted(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> list[float]:
    computed: list[float] = []
    flow = plant._flow

    def counting(dt_s: float) -> None:
        computed.append(dt_s)
        flow(dt_s)

    monkeypatch.setattr(plant, "_flow", counting)
    return computed


def _block(plant: Plant) -> None:
    plant.condition["main-drain"] = 0.0


def _clog(plant: Plant) -> None:
    plant.rises["riser"].condition = 0.0


def _stop(plant: Plant) -> None:
    plant.command("pump-relay", False)


def _mains(plant: Plant) -> None:
    plant.mains = False


def _seize(plant: Plant) -> None:
    plant.lifts["return-pump"].seized = True


def _wear(plant: Plant) -> None:
    plant.lifts["return-pump"].condition = 0.5


def _slip(plant: Plant) -> None:
    plant.rises["riser"].beside = 0.5


def _pour(plant: Plant) -> None:
    plant.bring("overflow-box", 1e-3)


def _unplug(plant: Plant) -> None:
    plant.unplugged.add("return-pump")


def _dead_relay(plant: Plant) -> None:
    plant.relay_stuck["pump-relay"] = False


def _lose_prime(plant: Plant) -> None:
    plant.siphon("main-drain").lose_prime()


@pytest.mark.parametrize(
    "touch",
    [
        _block,
        _clog,
        _stop,
        _mains,
        _seize,
        _wear,
        _slip,
        _pour,
        _unplug,
        _dead_relay,
        _lose_prime,
    ],
)
def test_whatever_happens_ends_it_at_once(
    classroom: Site, touch: Callable[[Plant], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The very next look computes flows anew: wherever in a still stretch it comes."""
    plant = settled(classroom)
    plant.advance(60.0)
    computed = _counted(plant, monkeypatch)
    while computed or not plant._coasts():
        computed.clear()
        plant.advance(0.1)
    before = plant.flows_m3_s
    touch(plant)
    plant.advance(0.1)
    assert computed
    assert plant.flows_m3_s != before


def test_open_valve_and_a_leak_are_never_left_waiting(classroom: Site) -> None:
    """Water from outside moves in a still stretch as ever: to the drop."""
    plant = settled(classroom)
    plant.advance(60.0)
    plant.command("top-off-valve", True)
    plant.leak_m3_s["inlet"] = 1e-6
    before_m3 = plant.volume_m3[plant.index["reservoir"]]
    for _ in range(5):
        plant.advance(0.1)
    given_m3 = before_m3 - plant.volume_m3[plant.index["reservoir"]]
    assert given_m3 == pytest.approx(0.5 * plant.flows_m3_s["top-off"])
    assert plant.leaked_m3 == pytest.approx(0.5e-6)


def test_siphon_that_is_about_to_prime_is_watched(classroom: Site) -> None:
    """Under still water its air goes in the time that it takes, and no later."""
    plant = Plant(classroom, 3)
    siphon = plant.siphon("main-drain")
    plant.condition.update(dict.fromkeys(plant.condition, 0.0))
    plant.condition["main-drain"] = 0.2
    plant.bring("overflow-box", 0.009)
    while not siphon.primed:
        assert plant.t_s < 20.0
        plant.advance(0.1)
    assert plant.t_s == pytest.approx(siphon.prime_s, abs=0.2)
