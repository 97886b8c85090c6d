"""Floats that vote: what asks for the act, what one that hangs does, and what is refused.

The tables of the votes are written out from the definition in IEC 61508-6 and IEC 61511 (from
memory): MooN acts when M of N channels ask for it; a channel found faulty is taken out of the vote.
"""

from __future__ import annotations

from itertools import product

import pytest

from rules import voting
from rules.engine import plan_for
from rules.memory import ContactMemory
from rules.signals import Command, EventKind, Order, Origin
from rules.site.parse import parse_site
from rules.site.problems import SiteError
from rules.voting import Vote
from tests.rules.nights import Night, edited, site_of
from tests.vote_sites import FIRST, LEFT, RIGHT, three_text, two_text

ACTS: dict[tuple[str, int], str] = {
    ("1oo2", 0): "-AA",
    ("1oo2", 1): "-A",
    ("1oo2", 2): "A",
    ("2oo3", 0): "--AA",
    ("2oo3", 1): "-AA",
    ("2oo3", 2): "-A",
    ("2oo3", 3): "A",
    ("1oo3", 0): "-AAA",
    ("1oo3", 1): "-AA",
    ("1oo3", 2): "-A",
    ("1oo3", 3): "A",
}
"""By vote and by how many cannot be read: whether it acts with 0, 1, 2, 3 of the others asking."""


def contact(state: str, acts: bool) -> ContactMemory:
    return ContactMemory(0.0, acts if state in ("asks", "unread") else not acts, state == "unread")


@pytest.mark.parametrize("acts", [True, False], ids=["spill-edge", "dry-run"])
@pytest.mark.parametrize("pattern", ["1oo2", "2oo3", "1oo3"])
def test_every_combination_of_a_vote(pattern: str, acts: bool) -> None:
    count = int(pattern[-1])
    vote = Vote(("a", "b", "c")[:count], tuple(range(count)), acts, pattern)
    for states in product(("asks", "denies", "unread"), repeat=count):
        contacts = [contact(state, acts) for state in states]
        wanted = ACTS[pattern, states.count("unread")][states.count("asks")] == "A"
        assert voting.verdict(vote, contacts, ()) is wanted, states
        out = [key for key, state in zip(vote.ids, states, strict=True) if state == "unread"]
        if len(out) < count:  # out of service counts as little as unread
            assert voting.verdict(vote, contacts, out) is wanted, states


def night(text: str) -> Night:
    told = Night(site_of(text))
    told.good(100)
    assert told.on("pump-relay")
    return told


def signal(told: Night, key: str) -> str:
    """What the alarms of a sensor have said, and what was done."""
    alarms = told.raised(f"signal.{key}")
    return " | ".join(f"{alarm.saying.what} {alarm.saying.done}" for alarm in alarms)


# --- three ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("stuck", [FIRST, LEFT, RIGHT])
def test_one_of_three_stuck_wet_cuts_nothing_and_is_named(stuck: str) -> None:
    told = night(three_text("585 mm", "585 mm"))
    told.wet(stuck)
    told.run(30)
    assert not signal(told, stuck)
    told.run(10)
    assert "it hangs" in signal(told, stuck)
    assert "2oo3" in signal(told, stuck)
    told.wait(7200)
    assert told.cut_at is None
    for other in {FIRST, LEFT, RIGHT} - {stuck}:
        assert not signal(told, other)


@pytest.mark.parametrize("stuck", [FIRST, LEFT, RIGHT])
def test_one_of_three_stuck_dry_keeps_nothing_from_cutting_and_is_named(stuck: str) -> None:
    told = night(three_text())
    told.wet(*{FIRST, LEFT, RIGHT} - {stuck})
    told.run(2)
    assert told.cut_after_s == pytest.approx(1.0, abs=0.11)
    told.run(40)
    assert "it hangs" in signal(told, stuck)
    assert not told.raised(f"spill-edge.{stuck}")


def test_waves_name_nobody() -> None:
    told = night(three_text())
    told.wave(LEFT, 6.0, 0.5, 120)
    assert told.cut_at is None
    assert not told.of(EventKind.ALARM_RAISED)


def test_three_go_on_as_two_and_as_one() -> None:
    told = night(three_text())
    told.bad(LEFT)
    told.run(10)
    assert "2oo3 goes on as 1oo2" in signal(told, LEFT)
    told.bad(RIGHT)
    told.run(10)
    assert "2oo3 goes on as 1oo1" in signal(told, RIGHT)
    assert told.cut_at is None
    told.wet(FIRST)
    told.run(2)
    assert told.cut_after_s == pytest.approx(1.0, abs=0.11)


def test_none_of_three_that_can_be_read_is_the_worst_case() -> None:
    told = night(three_text())
    told.bad(FIRST, LEFT, RIGHT)
    told.run(2)
    assert told.cut_at is not None


def test_one_of_three_that_can_be_read_again_cuts_nothing_by_what_it_was_feared_to_be() -> None:
    told = night(three_text())
    told.bad(LEFT, RIGHT)
    told.run(10)
    told.mend(LEFT)
    told.run(5)
    told.mend()
    told.run(5)
    assert told.cut_at is None


def test_one_of_three_out_of_service_leaves_two_that_act_each_by_itself() -> None:
    told = night(three_text())
    told.order(Command(Order.OUT_OF_SERVICE, FIRST, Origin.LOCAL))
    told.wet(RIGHT)
    told.run(2)
    assert told.cut_after_s == pytest.approx(1.0, abs=0.11)


def test_three_may_be_told_to_act_each_by_itself() -> None:
    told = night(edited(three_text(), f"sensors.{LEFT}", voting='"1oo3"'))
    told.wet(RIGHT)
    told.run(2)
    assert told.cut_after_s == pytest.approx(1.0, abs=0.11)


# --- two -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("wet", [FIRST, LEFT])
def test_either_of_two_cuts_and_one_of_the_two_is_said_to_hang(wet: str) -> None:
    told = night(two_text())
    told.wet(wet)
    told.run(2)
    assert told.cut_after_s == pytest.approx(1.0, abs=0.11)
    told.run(40)
    assert "one of the two hangs" in signal(told, wet)


def test_one_of_two_unread_leaves_the_other_and_comes_back_without_a_cut() -> None:
    told = night(two_text())
    told.bad(LEFT)
    told.run(10)
    assert "1oo2 goes on as 1oo1" in signal(told, LEFT)
    told.mend()
    told.run(10)
    assert told.cut_at is None
    told.bad(LEFT)
    told.run(10)
    told.wet(FIRST)
    told.run(2)
    assert told.cut_after_s == pytest.approx(1.0, abs=0.11)


@pytest.mark.parametrize("key", [FIRST, LEFT])
@pytest.mark.parametrize("state", ["wet", "bad"])
def test_floats_farther_apart_than_a_ruler_tells_do_not_vote(key: str, state: str) -> None:
    told = night(two_text("578 mm"))
    assert not told.plan.votes
    getattr(told, state)(key)
    told.run(2)
    assert told.cut_at is not None


# --- the site file -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "key", "told", "why"),
    [
        (two_text(), LEFT, "2oo2", "keeps the others from it"),
        (three_text(), LEFT, "3oo3", "keeps the others from it"),
        (two_text(), LEFT, "2oo3", '2 floats hang there (display-high, left-high): say "1oo2"'),
        (three_text(), LEFT, "1oo2", 'say "2oo3" or "1oo3"'),
        (two_text("578 mm"), LEFT, "1oo2", "it votes with nothing"),
        (two_text(), "return-level", "1oo2", "it votes with nothing"),
    ],
)
def test_a_vote_that_is_weaker_or_impossible_is_refused(
    text: str, key: str, told: str, why: str
) -> None:
    with pytest.raises(SiteError) as refused:
        parse_site(edited(text, f"sensors.{key}", voting=f'"{told}"'), "vote.toml")
    assert why in str(refused.value)


def test_two_that_say_different_things_are_refused() -> None:
    text = edited(three_text(), f"sensors.{LEFT}", voting='"2oo3"')
    with pytest.raises(SiteError, match="says another"):
        site_of(edited(text, f"sensors.{RIGHT}", voting='"1oo3"'))


def test_four_at_one_height_act_each_by_itself() -> None:
    more = three_text() + two_text().split(f"[sensors.{LEFT}]")[1].join(
        ("\n[sensors.fourth-high]", "")
    ).replace("pin = 4", "pin = 15")
    assert not plan_for(site_of(more)).votes
