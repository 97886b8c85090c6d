"""One tick, whole, on a board in memory."""

from __future__ import annotations

from daemon.guard import Guard
from rules.engine import RETURN_S
from rules.memory import Kept
from rules.orders import EVERYTHING
from rules.resting import RESTS_S, SUPPLY_REST_S
from rules.signals import TICK_S, Command, EventKind, Order, Origin, Phase
from simulator.library import load_site
from tests.daemon.boards import MemoryBoard

PULSES_A_TICK = 50  # 67 l/min at 450 pulses/l


class Bench:
    """A guard on a board, ticked by hand."""

    def __init__(self, kept: Kept | None = None) -> None:
        self.board = MemoryBoard(load_site("classroom"))
        self.guard = Guard(self.board.site, self.board, "boot", kept=kept)
        self.n = 0
        self.events = []

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / TICK_S)):
            if self.board.on["pump-relay"]:
                self.board.counts["return-flow"] += PULSES_A_TICK
            decision = self.guard.tick(self.n * TICK_S)
            self.n += 1
            self.events += decision.events
            self.phase = decision.pumps[0].phase


def test_the_pump_is_off_until_signals_have_settled_then_runs() -> None:
    bench = Bench()
    bench.run(2.9)
    assert not bench.board.on["pump-relay"]
    bench.run(30)
    assert bench.board.on["pump-relay"]
    assert bench.phase is Phase.RUNNING


def test_a_wet_spill_edge_puts_the_relay_off_within_its_filter_and_one_tick() -> None:
    bench = Bench()
    bench.run(60)
    bench.board.wet("display-high", True)
    wet_at = bench.n
    while bench.board.on["pump-relay"]:
        bench.run(TICK_S)
        assert bench.n < wet_at + 100
    taken_s = (bench.n - wet_at) * TICK_S
    filter_s = bench.board.site.floats()["display-high"].filter
    assert filter_s - 1e-6 <= taken_s <= filter_s + TICK_S + 1e-6


def test_a_stall_drops_the_output_and_the_pump_comes_back_in_order() -> None:
    bench = Bench()
    bench.run(60)
    bench.n += 50  # the loop stands still for five seconds
    bench.run(TICK_S)
    assert not bench.board.on["pump-relay"], "it must not go on as if nothing had happened"
    assert any(e.kind is EventKind.PUMP_CUT and "lease-lost" in e.causes[0] for e in bench.events)
    bench.run(RETURN_S + SUPPLY_REST_S - 1)
    assert not bench.board.on["pump-relay"], "levels are to settle first"
    bench.run(2)
    assert bench.board.on["pump-relay"]


def test_what_was_latched_before_a_restart_still_holds_the_pump() -> None:
    bench = Bench(Kept(frozenset({"spill-edge.display-high"})))
    bench.run(120)
    assert not bench.board.on["pump-relay"]
    told = [e for e in bench.events if e.kind is EventKind.ALARM_RAISED]
    assert [e.alarm.row for e in told] == ["spill-edge.display-high"]
    assert told[0].alarm.code


def test_a_guard_that_is_begun_anew_in_mid_cut_waits_out_its_rest() -> None:
    before = Bench()
    before.run(60)
    assert before.guard.kept() == Kept(on=frozenset({"return-pump"}))
    before.board.wet("box-watch", True)
    before.run(2)
    assert not before.board.on["pump-relay"]
    assert before.guard.kept() == Kept(attempts={"return-pump": 1})
    bench = Bench(before.guard.kept())
    bench.run(RESTS_S[0] - 1)
    assert bench.phase is Phase.WAITING
    assert ("pump-relay", True) not in bench.board.driven
    bench.run(2)
    assert bench.board.on["pump-relay"]
    bench.run(60)
    bench.board.wet("box-watch", True)
    bench.run(2)
    assert bench.guard.kept() == Kept(attempts={"return-pump": 2})


def test_what_a_person_must_release_is_kept_until_it_is_released() -> None:
    bench = Bench()
    bench.run(60)
    bench.board.wet("display-high", True)
    bench.run(6)  # shorter is splash, which waits for nobody
    bench.board.good_day()
    bench.run(60)
    assert bench.guard.kept().latched == {"spill-edge.display-high"}
    reset = Command(Order.RESET, EVERYTHING, Origin.LOCAL)
    bench.guard.tick(bench.n * TICK_S, (reset,))
    assert bench.guard.kept() == Kept()


def test_close_lets_every_output_go() -> None:
    bench = Bench()
    bench.run(60)
    bench.guard.close()
    assert not any(bench.board.on.values())
