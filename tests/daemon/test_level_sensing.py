"""A level sensor through a converter: gpiozero's devices on a mock bus, and what they make."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from math import inf, isnan, nan
from pathlib import Path
from typing import Any

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory, MockSPIDevice
from rich.console import Console

from daemon import cli, homie
from daemon.checking import check
from daemon.live import LiveView, Moment
from daemon.loop import Tally
from daemon.pins import NoPinsError, PinBoard
from daemon.report import print_check
from daemon.sensing import Senses, true_when_closed
from daemon.status import StatusBoard
from rules.engine import plan_for
from rules.signals import Condition, Decision, LevelFigures, Quality, Reading
from rules.site.model import Site
from tests.daemon.boards import MemoryBoard
from tests.daemon.decisions import decision
from tests.level_site import LEVEL, TABLE, level_site, level_text

CLOCK, DATA_OUT, DATA_IN = 11, 10, 9
SELECTS = (8, 7)
"""GPIO numbers of the first SPI bus on the 40-pin header."""


@pytest.fixture
def site() -> Site:
    return level_site()


# --- the bus -------------------------------------------------------------------------------------


class Converter(MockSPIDevice):
    """An analog-to-digital converter, bit by bit as its data sheet draws it (figures 5-1 and 6-1 of
    the data sheets of the MCP3002, MCP3004/3008, MCP3202 and MCP3204/3208; from memory).

    A start bit, one bit for single-ended, the channel, and on the two-channel kinds one bit that
    asks for the highest bit first; then a null bit and the reading.
    """

    def __init__(self, kind: str, factory: MockFactory, select: int = 0) -> None:
        super().__init__(CLOCK, DATA_OUT, DATA_IN, SELECTS[select], pin_factory=factory)
        self.two = kind.endswith("2")
        self.bits = 12 if kind.startswith("mcp32") else 10
        self.volts = [0.0] * 8
        self.supply = 3.3
        self.asked: list[int] = []
        self._request: list[int] | None = None

    def on_start(self) -> None:
        super().on_start()
        self._request = None

    def on_bit(self) -> None:
        bit = int(self.rx_buf[-1])
        if self._request is None:
            self._request = [] if bit else None
            return
        self._request.append(bit)
        if len(self._request) != (3 if self.two else 4):
            return
        single, *rest = self._request
        assert single == 1
        channel = rest[0] if self.two else rest[0] << 2 | rest[1] << 1 | rest[2]
        self.asked.append(channel)
        # digital output code = 2^bits x input / reference, at the most all ones (data sheets)
        code = min(2**self.bits - 1, int(2**self.bits * self.volts[channel] / self.supply))
        # the four-channel and eight-channel kinds sample for one bit more before the null bit
        self.tx_word(code, self.bits + (1 if self.two else 2))


@pytest.fixture
def factory(monkeypatch: pytest.MonkeyPatch) -> Iterator[MockFactory]:
    factory = MockFactory()
    # gpiozero's bus of wagged pins asks for the factory of the process, whatever it is given
    monkeypatch.setattr(Device, "pin_factory", factory)
    yield factory
    factory.reset()


@pytest.mark.parametrize(
    ("kind", "channel"),
    [
        ("mcp3002", 1), ("mcp3004", 3), ("mcp3008", 0), ("mcp3008", 7),
        ("mcp3202", 0), ("mcp3204", 2), ("mcp3208", 6),
    ],
)  # fmt: skip
@pytest.mark.parametrize("volts", [0.0, 0.6, 1.5712, 3.3])
def test_a_voltage_is_read_as_its_share_of_the_supply(
    factory: MockFactory, kind: str, channel: int, volts: float
) -> None:
    table = TABLE.replace('"mcp3008"', f'"{kind}"').replace("channel = 3", f"channel = {channel}")
    with Converter(kind, factory) as converter:
        board = PinBoard(level_site(table), factory)
        converter.volts[channel] = volts
        step = 1 / (2**converter.bits - 1)
        assert board.analog(LEVEL) == pytest.approx(volts / 3.3, abs=step)
        assert 0.0 <= board.analog(LEVEL) <= 1.0
        assert set(converter.asked) == {channel}
        board.close()


def test_two_sensors_on_one_converter_are_told_apart(factory: MockFactory) -> None:
    other = TABLE.replace(LEVEL, "other-level").replace("channel = 3", "channel = 5")
    with Converter("mcp3008", factory) as converter:
        board = PinBoard(level_site(f"{TABLE}\n{other}"), factory)
        converter.volts[3], converter.volts[5] = 1.0, 2.0
        assert board.analog(LEVEL) == pytest.approx(1.0 / 3.3, abs=1e-3)
        assert board.analog("other-level") == pytest.approx(2.0 / 3.3, abs=1e-3)
        board.close()


def test_a_converter_that_fails_is_an_os_error(factory: MockFactory, site: Site) -> None:
    with Converter("mcp3008", factory):
        board = PinBoard(site, factory)
        board._inputs[LEVEL].close()
        with pytest.raises(OSError):
            board.analog(LEVEL)
        board.close()


def test_whatever_the_pin_library_raises_is_an_os_error(
    factory: MockFactory, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library of real pins raises an error of its own kind, which gpiozero lets through."""

    class OfTheLibraryError(Exception):
        pass

    def fail(*_: Any) -> Any:
        raise OfTheLibraryError("spi transfer failed")

    with Converter("mcp3008", factory):
        board = PinBoard(site, factory)
        monkeypatch.setattr(board._inputs[LEVEL], "_read", fail)
        with pytest.raises(OSError, match="spi transfer failed"):
            board.analog(LEVEL)
        reading = Senses(site, board).read(0.0)[list(site.sensors).index(LEVEL)]
        assert reading.quality is Quality.BAD
        board.close()


def test_without_the_bus_it_says_so_and_wags_no_pins(site: Site) -> None:
    class WithoutBus(MockFactory):
        def _get_spi_class(self, shared: bool, hardware: bool) -> Any:
            def missing(**_: Any) -> Any:
                raise OSError("can not open SPI device")

            return missing if hardware else super()._get_spi_class(shared, hardware)

    factory = WithoutBus()
    with pytest.raises(NoPinsError, match="dtparam=spi=on"):
        PinBoard(site, factory)
    assert factory.pin(site.outputs["pump-relay"].pin).function == "input"
    assert factory.pin(CLOCK).function == "input"
    factory.reset()


def test_a_site_without_level_sensors_leaves_the_bus_alone(factory: MockFactory) -> None:
    board = PinBoard(level_site(""), factory)
    with pytest.raises(OSError):
        board.analog(LEVEL)
    assert factory.pin(CLOCK).function == "input"
    board.close()


# --- the reading ---------------------------------------------------------------------------------


class Told:
    """A level sensor whose converter the test holds, read ten times a second."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.board = MemoryBoard(site)
        self.senses = Senses(site, self.board)
        self.t_s = 0.0

    def read(self, share: float, times: int = 1) -> Reading:
        for _ in range(times):
            self.t_s = round(self.t_s + 0.1, 6)
            self.board.shares[LEVEL] = share
            reading = self.senses.read(self.t_s)[list(self.site.sensors).index(LEVEL)]
        return reading


def share_of(site: Site, level_m: float) -> float:
    return site.levels()[LEVEL].share(level_m)


def test_the_level_is_read_in_metres_above_the_bottom(site: Site) -> None:
    """45 % lie 35 % above the lower point, at 4 mm a percent: 20 + 140 mm (plain arithmetic)."""
    reading = Told(site).read(0.45)
    assert reading == Reading(pytest.approx(0.160), Quality.GOOD, 0.0)


def test_a_spark_is_not_seen_and_a_step_is_after_half_the_window(site: Site) -> None:
    told = Told(site)
    told.read(0.45, 20)
    for spark in (0.70, 0.20, 1.0, 0.0):
        assert told.read(spark).value == pytest.approx(0.160)
        told.read(0.45, 5)
    seen = [told.read(0.60).value for _ in range(10)]
    assert seen[2] == pytest.approx(0.160)
    assert seen[6] == pytest.approx(0.220)


def test_a_ramp_lags_by_no_more_than_half_the_window(site: Site) -> None:
    told = Told(site)
    for i in range(100):
        reading = told.read(0.20 + 0.002 * i)
    behind_s = (0.20 + 0.002 * 99 - site.levels()[LEVEL].share(reading.value)) / 0.02
    assert 0.0 < behind_s <= 0.6


@pytest.mark.parametrize("share", [0.0, 0.005, 0.0099, 0.991, 1.0])
def test_the_end_of_the_range_is_a_broken_wire_and_no_level(site: Site, share: float) -> None:
    told = Told(site)
    told.read(0.45, 20)
    reading = told.read(share, 12)
    assert reading.quality is Quality.BAD
    assert isnan(reading.value)
    assert "a broken wire" in reading.why
    assert 0.4 <= reading.age_s <= 1.2
    assert told.read(0.45, 12).quality is Quality.GOOD


@pytest.mark.parametrize(
    ("level_m", "quality"),
    [
        (0.0, Quality.GOOD), (-0.004, Quality.GOOD), (-0.006, Quality.UNCERTAIN),
        (-0.014, Quality.UNCERTAIN), (-0.0155, Quality.BAD), (0.350, Quality.GOOD),
        (0.354, Quality.GOOD), (0.356, Quality.UNCERTAIN), (0.366, Quality.BAD),
    ],
)  # fmt: skip
def test_a_level_where_no_water_can_be_is_doubted_then_refused(
    site: Site, level_m: float, quality: Quality
) -> None:
    """The box is 350 mm deep, the sensor good to 5 mm."""
    reading = Told(site).read(share_of(site, level_m))
    assert reading.quality is quality
    assert isnan(reading.value) is (quality is Quality.BAD)
    if quality is not Quality.GOOD:
        assert ("below the bottom" if level_m < 0 else "above the rim") in reading.why


@pytest.mark.parametrize("share", [nan, inf, -inf])
def test_what_is_no_number_is_bad_at_once(site: Site, share: float) -> None:
    told = Told(site)
    told.read(0.45, 20)
    assert told.read(share).quality is Quality.BAD
    assert told.read(0.45).quality is Quality.GOOD


def test_one_that_cannot_be_read_is_bad_and_ages(site: Site) -> None:
    told = Told(site)
    told.read(0.45, 20)
    told.board.broken.add(LEVEL)
    reading = told.read(0.45, 25)
    assert reading.quality is Quality.BAD
    assert reading.age_s == pytest.approx(2.5)
    assert "cable test" in reading.why


def test_the_window_does_not_grow_and_takes_any_pace(site: Site) -> None:
    told = Told(site)
    told.read(0.45, 3000)
    assert len(told.senses._levels[LEVEL]._shares) <= 11
    told.t_s += 60.0
    assert told.read(0.60).value == pytest.approx(0.220)


def test_it_is_no_contact(site: Site) -> None:
    with pytest.raises(TypeError):
        true_when_closed(site.levels()[LEVEL])


# --- where it is shown ---------------------------------------------------------------------------


READ = LevelFigures(LEVEL, "overflow-box", 0.1671, 0.005, Quality.GOOD)
LOST = LevelFigures(LEVEL, "overflow-box", None, 0.005, Quality.BAD, "no supply")


def with_level(site: Site, level: LevelFigures) -> Decision:
    return replace(decision(site), levels=(level,))


def test_homie_tells_it_and_takes_back_what_is_not_known(site: Site) -> None:
    device = homie.Device(site)
    assert f'"{LEVEL}"' in device.description(1)
    topic = f"{device.base}/{LEVEL}"
    values = device.values(with_level(site, READ), homie.Own("boot-a"))
    assert values[f"{topic}/level"] == "167.1"
    assert values[f"{topic}/quality"] == "good"
    values = device.values(with_level(site, LOST), homie.Own("boot-a"))
    assert f"{topic}/level" not in values
    assert values[f"{topic}/quality"] == "bad"


def test_status_says_it(site: Site) -> None:
    board = StatusBoard(plan_for(site), "boot-a", Tally(), None)
    for level, words in ((READ, "167.1 mm, good to 5.0 mm"), (LOST, "not known, no supply")):
        board.hand_over(1.0, 1, datetime.now(UTC), with_level(site, level))
        status = board.as_json()
        assert f"level sensor of the overflow box: {words}" in status["lines"]
        assert status["levels"][0]["sensor"] == LEVEL


@pytest.mark.parametrize(("level", "shown"), [(READ, "167.1 mm"), (LOST, "not known")])
def test_the_live_view_has_it_beside_the_level(site: Site, level: LevelFigures, shown: str) -> None:
    console = Console(width=132, file=io.StringIO(), force_terminal=False)
    view = LiveView(site, "a night", "02:00", console)
    levels = dict.fromkeys(site.chambers, 0.1)
    view.show(Moment(1.0, with_level(site, level), (), levels, 0.0, 1.0))
    console.print(view.render())
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    assert "level sensor of the overflow box" in text
    assert shown in text


@pytest.mark.parametrize("share", [0.93, None])
def test_the_live_view_has_what_is_left_of_the_main_drain(site: Site, share: float | None) -> None:
    console = Console(width=132, file=io.StringIO(), force_terminal=False)
    view = LiveView(site, "a night", "02:00", console)
    told = decision(site, condition=Condition(share, 0.9, 0.96))
    view.show(Moment(1.0, told, (), dict.fromkeys(site.chambers, 0.1), 0.0, 1.0))
    console.print(view.render())
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    assert ("93 % (90 to 96 %)" in text) is (share is not None)
    assert ("main drain of the overflow box" in text) is (share is not None)


def test_check_prints_how_it_is_wired(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    print_check(check(site))
    printed = capsys.readouterr().out
    assert "mcp3008 0, channel 3" in printed
    assert "level in overflow-box: 20.0 mm at 10 %, 320.0 mm at 85 %, good to 5.0 mm" in printed
    assert "level sensor of the overflow box drifts" in printed


def test_the_questions_do_not_know_it_and_do_not_lose_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`new` on a file that has one says what would be lost, and writes nothing."""
    file, answers = tmp_path / "reef.toml", tmp_path / "answers.toml"
    file.write_text(level_text(), encoding="utf-8")
    answers.write_text("", encoding="utf-8")
    assert cli.main(["new", str(file), "--answers", str(answers)]) == 2
    assert f"[sensors.{LEVEL}]" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == level_text()
