"""Sensors as they fail: what the guard reads then, on the direct board and on pins alike."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from daemon.pins import PinBoard
from daemon.ports import Board
from rules.site.model import Site
from simulator.night.runner import make_stand
from simulator.signals.contacts import FLOAT_DROP_S
from simulator.signals.stand import Stand
from simulator.story.roles import NoSuchRoleError
from simulator.story.script import Script
from simulator.water.plant import Plant
from tests.simulator.stories import Tale, drill_of, everything


@pytest.fixture(scope="module")
def site() -> Site:
    """The classroom with all that a happening can happen to."""
    return everything()


def turns(tale: Tale, key: str, until_s: float) -> tuple[int, int]:
    """How often a contact changed, and in how many looks of a tenth of a second it was closed."""
    changes = closed = 0
    before = tale.board.closed(key)
    for _ in tale.seconds(until_s, 0.1):
        now = tale.board.closed(key)
        changes += now is not before
        closed += now
        before = now
    return changes, closed


# --- contacts ----------------------------------------------------------------------------------


def test_a_loose_cable_parts_for_moments_as_often_as_it_says(site: Site) -> None:
    """Twelve breaks a minute of half a second each: one tenth of the time open, then mended."""
    tale = Tale(
        site,
        'at = "0 s"; what = "loose cable"; where = "high float"; a_minute = 12; for = "500 ms"; '
        'lasts = "10 min"',
        exact=False,
    )
    changes, closed = turns(tale, "display-high", 600.0)
    assert 180 <= changes <= 300  # 120 breaks, two changes each; some come together
    assert 1 - closed / 6000 == pytest.approx(0.1, abs=0.03)
    changes, closed = turns(tale, "display-high", 700.0)
    assert changes <= 1
    assert closed >= 995


def test_a_mended_cable_is_sound(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "cut cable"; where = "high float"',
        'at = "0 s"; what = "loose cable"; where = "low float"; a_minute = 30; for = "1 s"',
        'at = "30 s"; what = "mend cable"; where = "high float"',
        'at = "30 s"; what = "mend cable"; where = "low float"',
    )
    tale.to(20.0)
    assert not tale.board.closed("display-high")
    tale.to(31.0)
    assert turns(tale, "return-low", 90.0) == (0, 590)
    assert tale.board.closed("display-high")


def test_swapped_contacts_show_each_others_water_by_their_own_wiring(site: Site) -> None:
    """The low float closes when wet, the high one when dry: swapped, both still read closed; then
    the display rises, and it is the low float's place that opens."""
    tale = Tale(
        site,
        'at = "1 s"; what = "swap"; where = "high float of the display"; with = "low float"',
        'at = "60 s"; what = "unswap"',
    )
    tale.to(2.0)
    assert tale.board.closed("display-high")
    assert tale.board.closed("return-low")
    tale.plant.bring("display", 0.030)
    tale.to(4.0)
    assert tale.board.closed("display-high")
    assert not tale.board.closed("return-low")
    tale.plant.bring("display", -0.030)
    tale.plant.bring("return", -1.0)
    tale.to(20.0)
    assert not tale.board.closed("display-high")
    tale.to(61.0)
    assert tale.board.closed("display-high")
    assert not tale.board.closed("return-low")


def test_a_fault_stays_with_the_sensor_that_has_it_wherever_it_is_plugged_in(site: Site) -> None:
    tale = Tale(
        site,
        'at = "1 s"; what = "swap"; where = "display-high"; with = "inlet-high"',
        'at = "2 s"; what = "stick"; where = "display-high"; state = "wet"',
    )
    tale.to(4.0)
    assert tale.board.closed("display-high")
    assert not tale.board.closed("inlet-high")


def test_nothing_is_swapped_with_itself(site: Site) -> None:
    with pytest.raises(NoSuchRoleError, match="nothing to swap"):
        Tale(site, 'at = "1 s"; what = "swap"; where = "low float"; with = "first low float"')


def test_splashes_wet_a_float_for_moments_and_stop(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "splash"; where = "high float"; drops = 10; lasts = "10 min"',
        exact=False,
    )
    changes, closed = turns(tale, "display-high", 600.0)
    wet = 6000 - closed
    assert 120 <= changes <= 260
    assert 100 * 10 * FLOAT_DROP_S[0] < wet < 100 * 10 * FLOAT_DROP_S[1]
    assert turns(tale, "display-high", 660.0)[0] <= 1


def test_splashes_bridge_a_pad_for_longer_and_reach_no_mains_input(site: Site) -> None:
    tale = Tale(site, 'at = "0 s"; what = "splash"; where = "leak pad"; drops = 2; lasts = "5 min"')
    _, closed = turns(tale, "floor-pad", 300.0)
    assert closed > 60
    tale.to(330.0)
    assert not tale.board.closed("floor-pad")
    with pytest.raises(NoSuchRoleError, match="no water reaches the mains-present input"):
        Tale(
            site,
            'at = "0 s"; what = "splash"; where = "mains-present input"; drops = 2; lasts = "9 s"',
        )


def test_a_dull_pad_takes_more_water(site: Site) -> None:
    """Two litres instead of two tenths: at a litre a minute that is after two minutes."""
    tale = Tale(
        site,
        'at = "0 s"; what = "dull pad"; volume = "2 l"',
        'at = "0 s"; what = "leak"; where = "inlet chamber"; flow = "1 l/min"',
    )
    tale.to(115.0)
    assert not tale.board.closed("floor-pad")
    tale.to(140.0)
    assert tale.board.closed("floor-pad")


def test_a_hand_in_the_tank_makes_the_high_float_turn(site: Site) -> None:
    """Waves of 30 mm reach a float that hangs some 15 mm over the surface; still water does not."""
    tale = Tale(
        site,
        'at = "30 s"; what = "stir"; where = "display"; height = "30 mm"; lasts = "30 s"',
        exact=False,
    )
    assert turns(tale, "display-high", 30.0)[0] == 0
    assert turns(tale, "display-high", 60.0)[0] >= 20
    assert turns(tale, "display-high", 120.0)[0] <= 1


# --- meters ------------------------------------------------------------------------------------


def counted(tale: Tale, until_s: float) -> int:
    """Pulses of the flow meter up to a time."""
    before = tale.board.pulses("return-flow")
    tale.to(until_s)
    return tale.board.pulses("return-flow") - before


def test_a_fouled_meter_reads_less_and_starts_later(site: Site) -> None:
    tale = Tale(
        site,
        'at = "60 s"; what = "foul"; share = "30 %"; over = "30 s"',
        'at = "200 s"; what = "revive meter"',
    )
    clean = counted(tale, 60.0)
    tale.to(100.0)
    assert counted(tale, 160.0) == pytest.approx(0.7 * clean, rel=0.01)
    tale.to(200.0)
    assert counted(tale, 260.0) == pytest.approx(clean, rel=0.01)
    meter = tale.sensors.meters["return-flow"]
    trickle_m3 = 2e-5  # of water in a second: more than any clean wheel needs to turn
    for fouled, turning in ((0.0, True), (0.5, False)):
        meter.fouled = fouled
        before = meter.pulses
        meter._source.moved_m3 += trickle_m3
        meter.look(1.0)
        assert (meter.pulses > before) is turning


def test_noise_counts_while_nothing_flows_until_it_is_quiet(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "noise"; a_second = 50',
        'at = "0 s"; what = "unplug"; where = "return pump"',
        'at = "500 s"; what = "quiet"',
        exact=False,
    )
    tale.to(200.0)  # the riser has run empty
    assert counted(tale, 500.0) == pytest.approx(50 * 300, abs=5 * (50 * 300) ** 0.5)
    assert counted(tale, 600.0) == 0


def test_a_rare_noise_comes_as_often_as_it_says(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "noise"; a_second = 0.5',
        'at = "0 s"; what = "unplug"; where = "return pump"',
        exact=False,
    )
    tale.to(200.0)
    assert 100 < counted(tale, 500.0) < 200  # 150 on average, five sigma either way


def test_a_meter_on_a_cut_or_loose_cable_misses_pulses(site: Site) -> None:
    tale = Tale(
        site,
        'at = "60 s"; what = "loose cable"; where = "flow meter"; a_minute = 30; for = "1 s"',
        'at = "360 s"; what = "cut cable"; where = "flow meter"',
        'at = "400 s"; what = "mend cable"; where = "flow meter"',
        exact=False,
    )
    whole = counted(tale, 60.0)
    before, lost = tale.board.pulses("return-flow"), 0
    for _ in tale.seconds(360.0, 0.1):
        now = tale.board.pulses("return-flow")
        lost += now == before
        before = now
    assert lost / 3000 == pytest.approx(0.5, abs=0.1)
    assert counted(tale, 400.0) == 0
    assert counted(tale, 460.0) == pytest.approx(whole, rel=0.01)


# --- level sensors -----------------------------------------------------------------------------


def depth(tale: Tale, site: Site) -> float:
    """What the level sensor reads, as a level [m]."""
    sensor = site.levels()["return-depth"]
    return sensor.level_m(tale.board.analog("return-depth"))


def test_a_level_sensor_comes_to_be_off(site: Site) -> None:
    tale = Tale(site, 'at = "10 s"; what = "offset"; by = "12 mm"; to = "less"; over = "100 s"')
    tale.to(9.0)
    true_m = tale.plant.level_m("return")
    assert depth(tale, site) == pytest.approx(true_m, abs=0.001)
    tale.to(60.0)
    assert depth(tale, site) == pytest.approx(true_m - 0.006, abs=0.001)
    tale.to(111.0)
    assert depth(tale, site) == pytest.approx(true_m - 0.012, abs=0.001)


def test_a_level_sensor_grows_noisy_and_is_quiet_again(site: Site) -> None:
    tale = Tale(
        site,
        'at = "0 s"; what = "hiss"; spread = "8 mm"',
        'at = "200 s"; what = "hiss"; spread = "0 mm"',
    )
    tale.to(1.0)
    true_m = tale.plant.level_m("return")
    off = [depth(tale, site) - true_m for _ in tale.seconds(200.0)]
    spread = (sum(x * x for x in off) / len(off)) ** 0.5
    assert spread == pytest.approx(0.008, rel=0.25)
    tale.to(201.0)
    assert depth(tale, site) == pytest.approx(tale.plant.level_m("return"), abs=0.001)


def test_a_level_sensor_drops_out_and_comes_back(site: Site) -> None:
    """Its channel then reads the end of the range, as an open wire does."""
    tale = Tale(
        site,
        'at = "5 s"; what = "drop out"; lasts = "20 s"',
        'at = "60 s"; what = "cut cable"; where = "level sensor"',
        'at = "70 s"; what = "mend cable"; where = "level sensor"',
    )
    tale.to(6.0)
    assert tale.board.analog("return-depth") == 0.0
    tale.to(26.0)
    assert tale.board.analog("return-depth") > 0.3
    tale.to(61.0)
    assert tale.board.analog("return-depth") == 0.0
    tale.to(71.0)
    assert tale.board.analog("return-depth") > 0.3


def test_a_level_sensor_freezes_whatever_the_water_does(site: Site) -> None:
    tale = Tale(site, 'at = "5 s"; what = "freeze"; lasts = "60 s"')
    tale.to(4.0)
    before = depth(tale, site)
    tale.to(6.0)
    tale.plant.bring("return", -0.010)
    tale.to(10.0)
    assert depth(tale, site) == before
    tale.to(66.0)
    assert depth(tale, site) < before - 0.01


def test_stirred_water_moves_what_a_level_sensor_reads(site: Site) -> None:
    tale = Tale(
        site,
        'at = "20 s"; what = "stir"; where = "return chamber"; height = "25 mm"; lasts = "60 s"',
    )
    still = [depth(tale, site) for _ in tale.seconds(20.0, 0.3)]
    stirred = [depth(tale, site) for _ in tale.seconds(80.0, 0.3)]
    assert max(still) - min(still) < 0.002
    assert max(stirred) - min(stirred) == pytest.approx(0.05, abs=0.008)


# --- both boards show the same -----------------------------------------------------------------

FAULTS = (
    'at = "1 s"; what = "loose cable"; where = "high float"; a_minute = 30; for = "1 s"',
    'at = "1 s"; what = "loose cable"; where = "flow meter"; a_minute = 10; for = "1 s"',
    'at = "1 s"; what = "loose cable"; where = "level sensor"; a_minute = 10; for = "1 s"',
    'at = "2 s"; what = "swap"; where = "inlet-high"; with = "low float"',
    'at = "3 s"; what = "splash"; where = "leak pad"; drops = 20; lasts = "20 s"',
    'at = "3 s"; what = "noise"; a_second = 40',
    'at = "4 s"; what = "hiss"; spread = "5 mm"',
    'at = "5 s"; what = "stick"; where = "box-watch"; state = "wet"',
    'at = "8 s"; what = "cut cable"; where = "refugium-high"',
    'at = "12 s"; what = "power cut"; lasts = "9 s"',
    'at = "20 s"; what = "unswap"',
)


def reads(site: Site, stage: Stand, board: Board) -> list[object]:
    """All that the guard would read."""
    del stage
    return [
        *(board.closed(key) for key in site.sensors if site.sensors[key].kind in CONTACTS),
        board.pulses("return-flow"),
        round(board.analog("return-depth"), 9),
    ]


CONTACTS = ("float", "leak", "mains")


def test_pins_and_the_direct_board_show_the_same_faults(site: Site) -> None:
    """The same seed, the same story: every look of 30 s alike, and both see things happen."""
    seen: list[list[list[object]]] = []
    for kind in ("plant", "pins"):
        plant = Plant(site, 5)
        plant.settle()
        stage, board = make_stand(site, plant, kind)  # type: ignore[arg-type]
        if kind == "pins":
            assert isinstance(board, PinBoard)
        board.drive("pump-relay", True)
        script = Script(site, stage, drill_of(*FAULTS))
        first = board.pulses("return-flow")
        looks = []
        for tick in range(1, 301):
            script.advance(tick / 10)
            stage.advance_to(tick / 10)
            row = reads(site, stage, board)
            row[-2] = int(row[-2]) - first  # type: ignore[call-overload]
            looks.append(row)
        board.close()
        seen.append(looks)
    assert seen[0] == seen[1]
    moved = [len(set(column)) > 1 for column in zip(*seen[0], strict=True)]
    contacts = [key for key, sensor in site.sensors.items() if sensor.kind in CONTACTS]
    turned = {key for key, has in zip(contacts, moved, strict=False) if has}
    assert turned == {"display-high", "box-watch", "refugium-high", "floor-pad", "supply"}
    assert all(moved[-2:])


def test_stretches_and_ticks_show_the_same_faults(site: Site) -> None:
    """Told in stretches of up to ten seconds, a loose cable parts as often as told in ticks."""
    told: list[int] = []
    steps: tuple[Callable[[Tale, float], object], ...] = (
        lambda tale, t_s: tale.board.advance_until(t_s),
        lambda tale, _t_s: tale.board.advance_to(tale.plant.t_s + 0.1),
    )
    for step in steps:
        tale = Tale(
            site,
            'at = "0 s"; what = "loose cable"; where = "high float"; a_minute = 6; for = "2 s"',
            exact=False,
        )
        tale.script.advance(0.0)
        changes, before = 0, tale.board.closed("display-high")
        while tale.plant.t_s < 600.0 - 1e-6:
            step(tale, min(600.0, tale.plant.t_s + 10.0))
            now = tale.board.closed("display-high")
            changes += now is not before
            before = now
        told.append(changes)
    assert told[0] == pytest.approx(told[1], abs=2)
    assert told[1] > 60
