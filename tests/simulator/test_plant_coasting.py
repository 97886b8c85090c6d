"""While next to nothing moves, the plant computes few flows anew, and nobody can tell."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from rules.site.model import Site
from simulator.water.plant import Plant


def settled(site: Site, seed: int = 3) -> Plant:
    """A plant on a good day."""
    plant = Plant(site, seed)
    plant.settle()
    return plant


def _night(site: Site) -> tuple[list[dict[str, float]], Plant]:
    """Half an hour still but for evaporation and a top-off, then every drain blocks: it spills."""
    plant, levels = settled(site), []
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


def test_coasting_shows_the_same_night(classroom: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Levels within a hundredth of a millimetre, what is spilled within ten millilitres."""
    coasted, quick = _night(classroom)
    monkeypatch.setattr(Plant, "_coasts", lambda _plant, _dt_s: False)
    stepped, slow = _night(classroom)
    for here, there in zip(coasted[:60], stepped[:60], strict=True):
        for key, level_m in there.items():
            assert here[key] == pytest.approx(level_m, abs=1e-5)
    assert quick.spilled_total_m3 > 0.005
    assert quick.spilled_total_m3 == pytest.approx(slow.spilled_total_m3, abs=1e-5)
    assert quick.evaporated_m3 == pytest.approx(slow.evaporated_m3, rel=1e-6)
    for key, rise in quick.rises.items():
        assert rise.moved_m3 == pytest.approx(slow.rises[key].moved_m3, rel=1e-5)


@pytest.mark.parametrize("name", ["classroom", "rack", "workshop"])
def test_still_water_is_left_to_itself(
    name: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 600 looks in a quiet minute at most 300 compute flows; without coasting 1,200 would."""
    plant = settled(request.getfixturevalue(name))
    plant.advance(60.0)
    computed = _counted(plant, monkeypatch)
    for _ in range(600):
        plant.advance(0.1)
    assert 0 < len(computed) <= 300
    computed.clear()
    plant.advance(60.0)
    assert 0 < len(computed) <= 800


def _counted(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> list[float]:
    computed: list[float] = []
    flow = plant._flow
    monkeypatch.setattr(plant, "_flow", lambda dt_s: (computed.append(dt_s), flow(dt_s)))
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
    while computed or not plant._coasts(0.1):
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
    """Blocked and under still water, its air goes in the time that it takes, and no later."""
    plant = Plant(classroom, 3)
    siphon = plant.siphon("main-drain")
    plant.condition.update(dict.fromkeys(plant.condition, 0.0))
    plant.bring("overflow-box", 0.006)
    while not siphon.primed:
        assert plant.t_s < 20.0
        plant.advance(0.1)
    assert plant.t_s == pytest.approx(siphon.prime_s, abs=0.2)
