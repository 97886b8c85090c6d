"""Planned pauses: what may be ordered, what is suppressed, what never is, and how they end."""

from __future__ import annotations

import pytest

from rules import pausing
from rules.engine import RETURN_S, SETTLED_S
from rules.matrix import Effect
from rules.memory import keep
from rules.pausing import KINDS, NEVER_SUPPRESSED
from rules.pumping import SETTLE_S, SHOW_S
from rules.signals import AskedPause, Command, Event, EventKind, Order, Origin, Phase
from rules.site.pauses import LEAST_S, LONGEST_S, PAUSE_KINDS, USUAL_S, PauseKind
from tests.rules.nights import TICK_S, Night, edited, site_of, text_of
from tests.rules.stories import CUTTING, Story, starts
from tests.rules.test_two_pumps import SECOND_PUMP

OBEYED, REFUSED = EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED
CLASSROOM = text_of("classroom")
BY_PERSON = [story for story in CUTTING if story.latches]
STAYS = [s for s in CUTTING if s.hazard in NEVER_SUPPRESSED]

APART = """
[chambers.frag-tank]
bottom = "900 mm"
rim = "300 mm"
area = "0.3 m^2"

[chambers.frag-sump]
bottom = "100 mm"
rim = "300 mm"
area = "0.3 m^2"
level = "150 mm"

[passages.frag-edge]
kind = "weir"
from = "frag-tank"
to = "frag-sump"
crest = "260 mm"
width = "200 mm"

[pumps.frag-pump]
name = "frag pump"
from = "frag-sump"
intake = "40 mm"
curve = [{ flow = "0 l/h", head = "2.5 m" }, { flow = "1500 l/h", head = "0 m" }]

[passages.frag-riser]
kind = "branch"
pump = "frag-pump"
to = "frag-tank"
outlet = "280 mm"
pipe = "1 in sch40"
length = "1.6 m"
fittings = ["exit"]

[sensors.frag-low]
kind = "float"
chamber = "frag-sump"
height = "80 mm"
duty = "dry-run"
pin = 4

[outputs.frag-relay]
kind = "pump"
pump = "frag-pump"
pin = 25
safe = "low"
"""
"""A second circuit, whose water never meets that of the first."""


def paused(
    kind: str = "feeding", lasts_s: float | None = None, pump: str = "", site: str = CLASSROOM
) -> Night:
    """A good while, then a pause."""
    night = Night("classroom") if site == CLASSROOM else Night(site_of(site))
    night.good(120)
    answer = order(night, kind, lasts_s, pump)
    assert answer.kind is OBEYED, answer.text
    return night


def order(
    night: Night,
    kind: str = "feeding",
    lasts_s: float | None = None,
    pump: str = "",
    origin: Origin = Origin.LOCAL,
) -> Event:
    """A person orders a pause; returns the answer."""
    code = AskedPause(kind, lasts_s, pump).text
    return night.order(Command(Order.PAUSE, code, origin))


def end(night: Night, origin: Origin = Origin.LOCAL) -> Event:
    """A person ends it."""
    return night.order(Command(Order.END_PAUSE, "all", origin))


# --- the course of one ----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", PAUSE_KINDS)
def test_the_pump_stops_at_once_and_comes_back_by_itself_in_the_guarded_order(
    kind: PauseKind,
) -> None:
    night = paused(kind)
    began_s = night.t_s
    assert not night.on("pump-relay")
    assert night.phase is Phase.PAUSED
    night.rest(USUAL_S[kind] - 1.0)
    assert night.phase is Phase.PAUSED
    assert len(starts(night)) == 1
    night.run(SETTLE_S + 2.0)
    assert night.phase is Phase.PROVING
    assert starts(night)[1] == pytest.approx(began_s + USUAL_S[kind] + SETTLE_S, abs=1.0)
    night.run(night.plan.pumps[0].prime_s + SHOW_S + 1.0)
    assert night.phase is Phase.RUNNING
    assert [e.kind for e in night.events if e.kind.value.startswith("pause")] == [
        EventKind.PAUSE_BEGUN,
        EventKind.PAUSE_ENDED,
    ]
    assert night.of(EventKind.ALARM_RAISED) == []


def test_it_counts_as_no_attempt_and_no_cut() -> None:
    night = paused(lasts_s=LEAST_S)
    night.rest(200)
    assert night.phase is Phase.RUNNING
    assert (night.memory.pumps[0].attempts, night.memory.pumps[0].flaps) == (0, 0)
    assert night.of(EventKind.PUMP_CUT) == []


def test_it_is_ended_by_order_before_its_time() -> None:
    night = paused()
    night.run(30)
    answer = end(night)
    assert answer.kind is OBEYED
    assert "return pump comes back" in answer.text
    night.run(SETTLE_S + 1.0)
    assert night.on("pump-relay")
    night.rest(USUAL_S["feeding"])
    assert len(night.of(EventKind.PAUSE_ENDED)) == 1


def test_the_top_off_stays_shut_in_it_and_until_levels_have_settled_after_it() -> None:
    night = Night()
    night.good(150)
    night.dry("return-level")
    night.run(5)
    assert night.on("top-off-valve")
    order(night, lasts_s=120.0)
    assert not night.on("top-off-valve")
    for _ in range(round(600 / TICK_S)):
        night.tick()
        if night.on("top-off-valve"):
            break
    ran_s = night.of(EventKind.PUMP_RUNNING)[-1].t_s
    assert night.t_s == pytest.approx(ran_s + SETTLED_S, abs=2 * TICK_S)


def test_it_says_what_it_suppresses_and_for_how_long() -> None:
    night = paused("cleaning")
    (told,) = night.of(EventKind.PAUSE_BEGUN)
    (answer,) = night.of(OBEYED)
    assert told.text == answer.text
    assert told.subject == "return-pump"
    assert "stops for 30 min 00 s and comes back by itself" in told.text
    assert "pump-off" in told.text
    assert "dry-run" in told.text
    assert "Pull its plug" in told.text
    assert night.decision is not None
    figures = night.decision.pause
    assert figures is not None
    assert figures.kind == "cleaning"
    assert figures.pumps == ("return-pump",)
    assert set(figures.suppressed) == set(KINDS["cleaning"].suppressed)
    night.run(60)
    assert night.decision.pause is not None
    assert night.decision.pause.left_s == pytest.approx(1740.0, abs=0.2)
    end(night)
    assert night.decision.pause is None


def test_a_site_sets_its_own_times() -> None:
    text = f'{CLASSROOM}\n[pauses.feeding]\nusual = "3 min"\nlongest = "4 min"\n'
    night = paused(site=text)
    night.rest(175)
    assert night.phase is Phase.PAUSED
    night.rest(10)
    assert night.phase is not Phase.PAUSED
    night.rest(60)
    refused = order(night, lasts_s=250.0)
    assert refused.kind is REFUSED
    assert "from 1 min 00 s to 4 min 00 s" in refused.text


def test_the_spare_pump_stirs_the_display_but_not_the_food() -> None:
    for kind, stirs in (("feeding", False), ("rinsing", True), ("cleaning", True)):
        night = paused(kind)
        night.run(2)
        assert night.on("spare-pump") is stirs
        end(night)
        night.run(SETTLE_S + 1)
        assert not night.on("spare-pump")


# --- what is in force -----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", PAUSE_KINDS)
def test_water_in_the_wrong_place_is_never_suppressed(kind: PauseKind) -> None:
    """The list is in words of the matrix, and no kind names one of it."""
    assert not NEVER_SUPPRESSED & set(KINDS[kind].suppressed)
    night = paused(kind)
    assert night.memory.pause is not None
    for row in night.plan.rows:
        if row.effect is Effect.CUT_PUMP and row.hazard in NEVER_SUPPRESSED:
            assert row.id not in night.memory.pause.suppressed


@pytest.mark.parametrize("story", STAYS, ids=lambda story: story.hazard)
@pytest.mark.parametrize("kind", PAUSE_KINDS)
def test_it_is_told_at_once_in_any_pause(kind: PauseKind, story: Story) -> None:
    night = paused(kind)
    night.run(20)
    story.happens(night)
    night.changed_s = night.t_s
    night.run(story.within_s)
    assert len(night.raised(story.row)) == 1


@pytest.mark.parametrize("story", [s for s in STAYS if s.latches], ids=lambda story: story.hazard)
def test_a_trip_that_needs_a_person_takes_the_pump_out_of_the_pause(story: Story) -> None:
    night = paused()
    night.run(20)
    story.happens(night)
    night.run(story.within_s + TICK_S)
    assert night.phase is Phase.LATCHED
    (held,) = night.of(EventKind.PUMP_HELD)
    assert held.causes == (story.row,)
    (ended,) = night.of(EventKind.PAUSE_ENDED)
    assert "ended in a trip" in ended.text
    assert night.memory.pause is None
    night.mend()
    night.rest(USUAL_S["feeding"] + 1800)
    assert len(starts(night)) == 1
    assert end(night).kind is REFUSED


def test_a_cause_that_goes_by_itself_leaves_the_pause_as_it_is() -> None:
    night = paused(lasts_s=300.0)
    night.run(20)
    night.dry("supply")
    night.run(30)
    assert len(night.raised("mains.supply")) == 1
    night.mend()
    night.rest(240)
    assert night.phase is Phase.PAUSED
    night.rest(30)
    assert len(starts(night)) == 2


def test_the_pump_is_not_started_into_a_cause_that_stands_when_the_pause_ends() -> None:
    night = paused(lasts_s=LEAST_S)
    night.dry("supply")
    night.rest(600)
    assert len(starts(night)) == 1
    assert night.phase is Phase.WAITING
    (held,) = night.of(EventKind.PUMP_HELD)
    assert held.causes == ("mains.supply",)
    night.mend()
    night.rest(60)
    assert len(starts(night)) == 2


# --- what is suppressed ---------------------------------------------------------------------------

SILENT = (
    ("water-change", "dry-run.return-low", lambda night: night.dry("return-low")),
    ("cleaning", "dry-run.return-low", lambda night: night.dry("return-low")),
    ("cleaning", "mains.supply", lambda night: night.dry("supply")),
)


@pytest.mark.parametrize(("kind", "row", "happens"), SILENT)
def test_what_handling_is_bound_to_raise_is_silent_while_it_goes_on(
    kind: str, row: str, happens: object
) -> None:
    night = paused(kind)
    assert callable(happens)
    happens(night)
    night.rest(900)
    assert night.of(EventKind.ALARM_RAISED) == []
    night.mend()
    night.rest(1200)
    assert night.phase is Phase.RUNNING
    assert night.raised(row) == []


@pytest.mark.parametrize(("kind", "row", "happens"), SILENT)
def test_and_in_force_again_the_moment_it_is_over(kind: str, row: str, happens: object) -> None:
    night = paused(kind)
    assert callable(happens)
    happens(night)
    night.run(60)
    end(night)
    assert len(night.raised(row)) == 1
    night.rest(600)
    assert len(starts(night)) == 1


@pytest.mark.parametrize(("kind", "row", "happens"), SILENT)
def test_what_one_pause_suppresses_another_does_not(kind: str, row: str, happens: object) -> None:
    night = paused("feeding")
    assert callable(happens)
    happens(night)
    night.run(10)
    assert len(night.raised(row)) == 1, kind


def test_hands_among_sensors_and_cables_raise_no_alarm_of_a_signal_until_it_is_over() -> None:
    night = paused("rinsing")
    night.bad("return-flow")
    night.rest(120)
    assert night.raised("signal.return-flow") == []
    end(night)
    night.run(6)
    assert len(night.raised("signal.return-flow")) == 1


def test_an_alarm_that_stood_before_stands_on() -> None:
    """It is neither taken back nor told twice."""
    night = Night()
    night.good(120)
    night.bad("return-flow")
    night.run(10)
    order(night, "rinsing")
    night.run(60)
    assert night.alarm("signal.return-flow") is not None
    end(night)
    night.rest(120)
    assert len(night.raised("signal.return-flow")) == 1
    assert night.of(EventKind.ALARM_ENDED) == night.of(EventKind.ALARM_RETURNED) == []


# --- what is refused ------------------------------------------------------------------------------


@pytest.mark.parametrize("asked", ["fedding", "", "pause", "feeding  ", "feeding forever", "x=1"])
def test_an_unknown_kind_is_refused_by_name(asked: str) -> None:
    night = Night()
    night.good(100)
    answer = night.order(Command(Order.PAUSE, asked, Origin.LOCAL))
    assert answer.kind is REFUSED
    assert "no kind of pause" in answer.text or "asks for no pause" in answer.text
    assert night.on("pump-relay")


@pytest.mark.parametrize("lasts_s", [0.0, -60.0, LEAST_S - 1, LONGEST_S["feeding"] + 1, 1e9])
def test_a_pause_that_is_too_long_or_too_short_is_refused(lasts_s: float) -> None:
    night = Night()
    night.good(100)
    answer = order(night, "feeding", lasts_s)
    assert answer.kind is REFUSED
    assert "from 1 min 00 s to 30 min 00 s" in answer.text
    assert night.on("pump-relay")


@pytest.mark.parametrize("said", ["nan", "inf", "-inf"])
def test_a_length_that_is_no_number_is_refused(said: str) -> None:
    night = Night()
    night.good(100)
    answer = night.order(Command(Order.PAUSE, f"feeding for={said}", Origin.LOCAL))
    assert answer.kind is REFUSED
    assert night.on("pump-relay")


def test_a_second_pause_is_refused_and_the_first_goes_on() -> None:
    night = paused(lasts_s=600.0)
    night.run(60)
    answer = order(night, "cleaning")
    assert answer.kind is REFUSED
    assert "a pause for feeding already, for another 9 min 00 s" in answer.text
    assert night.memory.pause is not None
    assert night.memory.pause.kind == "feeding"


def test_an_end_without_a_pause_is_refused() -> None:
    night = Night()
    night.good(100)
    answer = end(night)
    assert answer.kind is REFUSED
    assert answer.text == "there is no pause to end"
    assert night.on("pump-relay")


@pytest.mark.parametrize("story", CUTTING, ids=lambda story: story.hazard)
def test_a_pause_during_a_trip_is_refused(story: Story) -> None:
    night = Night()
    night.good(100)
    story.happens(night)
    night.run(5)
    answer = order(night)
    assert answer.kind is REFUSED
    assert "return pump is held off already" in answer.text
    assert night.memory.pause is None
    night.mend()
    night.run(RETURN_S + 2)
    assert order(night).kind is REFUSED, "it rests, or waits for a person"


def test_no_pump_is_stopped_while_its_own_chamber_stands_high() -> None:
    """What runs down after a stop would go over the rim."""
    night = Night()
    night.good(100)
    night.wet("return-high")
    night.run(3)
    answer = order(night)
    assert answer.kind is REFUSED
    assert "return chamber stands at" in answer.text
    night.rest(60)
    assert night.on("pump-relay")


@pytest.mark.parametrize("origin", [Origin.BROKER])
def test_it_is_ordered_at_the_guard_and_not_from_afar(origin: Origin) -> None:
    night = Night()
    night.good(100)
    assert order(night, origin=origin).kind is REFUSED
    assert night.on("pump-relay")
    assert order(night).kind is OBEYED
    assert end(night, origin).kind is REFUSED
    assert night.phase is Phase.PAUSED


def test_it_is_refused_before_the_first_look() -> None:
    night = Night()
    answer = order(night)
    assert answer.kind is REFUSED
    assert "only just started" in answer.text


def test_orders_of_one_tick_are_answered_each() -> None:
    """The reset first; the second pause meets the first."""
    night = Night()
    night.good(100)
    night.give(
        Command(Order.PAUSE, "feeding", Origin.LOCAL),
        Command(Order.PAUSE, "cleaning", Origin.LOCAL),
        Command(Order.END_PAUSE, "all", Origin.LOCAL),
        Command(Order.END_PAUSE, "all", Origin.LOCAL),
    )
    answers = [e for e in night.events if e.kind in (OBEYED, REFUSED)]
    assert [(e.kind, e.subject) for e in answers] == [
        (OBEYED, "feeding"),
        (REFUSED, "cleaning"),
        (OBEYED, "all"),
        (REFUSED, "all"),
    ]


# --- several pumps --------------------------------------------------------------------------------


def test_all_pumps_of_a_circuit_stop_and_come_back_in_turn() -> None:
    night = paused(lasts_s=LEAST_S, site=CLASSROOM + SECOND_PUMP)
    relays = ("pump-relay", "second-relay")
    assert not any(night.on(relay) for relay in relays)
    night.run(LEAST_S + SETTLE_S + 1)
    assert [night.on(relay) for relay in relays] == [True, False]
    night.run(10)
    assert all(night.on(relay) for relay in relays)


def test_several_circuits_are_told_apart_and_one_is_named() -> None:
    night = Night(site_of(CLASSROOM + APART))
    night.good(120)
    assert pausing.circuit(night.site, "frag-pump") == ("frag-pump",)
    assert pausing.circuit(night.site, "return-pump") == ("return-pump",)
    answer = order(night)
    assert answer.kind is REFUSED
    assert "name a pump of the one meant, of return-pump and frag-pump" in answer.text
    assert order(night, pump="frag-pump").kind is OBEYED
    assert [night.on(relay) for relay in ("pump-relay", "frag-relay")] == [True, False]
    assert order(night, pump="return").kind is REFUSED


def test_what_is_about_another_circuit_is_not_suppressed() -> None:
    night = Night(site_of(CLASSROOM + APART))
    night.good(120)
    assert order(night, "water-change", pump="frag-pump").kind is OBEYED
    night.dry("frag-low")
    night.run(5)
    assert night.raised("dry-run.frag-low") == []
    night.dry("return-low")
    night.run(5)
    assert len(night.raised("dry-run.return-low")) == 1
    assert not night.on("pump-relay")


def test_a_trip_of_another_circuit_hinders_no_pause() -> None:
    night = Night(site_of(CLASSROOM + APART))
    night.good(120)
    night.dry("return-low")
    night.run(5)
    assert order(night, pump="frag-pump").kind is OBEYED


def test_a_site_names_the_pumps_that_stop() -> None:
    text = f'{CLASSROOM}{SECOND_PUMP}\n[pauses.feeding]\npumps = ["second-pump"]\n'
    night = paused(site=text)
    assert [night.on(relay) for relay in ("pump-relay", "second-relay")] == [True, False]
    assert not night.on("top-off-valve")


def test_a_pump_that_no_output_powers_cannot_be_paused() -> None:
    text = edited(CLASSROOM + SECOND_PUMP, "outputs.pump-relay", pump='"second-pump"')
    text = text.replace('[outputs.second-relay]\nkind = "pump"\npump = "second-pump"\n',
                        '[outputs.second-relay]\nkind = "sounder"\n')  # fmt: skip
    night = paused(site=text)
    assert night.memory.pause is not None
    assert night.memory.pause.pumps == ("second-pump",)


# --- the guard that is restarted in one -----------------------------------------------------------


def test_a_guard_restarted_in_a_pause_comes_back_out_of_it() -> None:
    """In the guarded order, and with nothing suppressed."""
    before = paused("cleaning")
    before.run(60)
    night = Night(boot="boot-b", kept=keep(before.plan, before.memory))
    night.run(SETTLE_S - 1)
    assert starts(night) == []
    night.run(2)
    assert night.phase is Phase.PROVING
    assert night.memory.pause is None
    night.dry("return-low")
    night.run(3)
    assert len(night.raised("dry-run.return-low")) == 1
