"""Events, replies and orders as they go over the wire."""

from __future__ import annotations

import json
import re
from datetime import datetime
from math import inf, nan
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon import messages
from daemon.orders import LET_IN
from rules.signals import AlarmState, Command, Event, EventKind, Order, Origin, Priority
from rules.site.model import Person
from tests.daemon.decisions import SAYING, WALL, alarm, classroom, raised

SITE = classroom()


def build(event: Event, **changes: Any) -> dict[str, Any]:
    """An event as a reader gets it: bytes, then JSON."""
    given_: dict[str, Any] = {"tick": 123, "wall": WALL, "clock_synchronised": True}
    message = messages.event_message(SITE, "boot-a", 7, event, **{**given_, **changes})
    parsed: dict[str, Any] = json.loads(message.encoded())
    return parsed


KINDS: dict[str, Any] = {
    "object": dict,
    "array": list,
    "string": str,
    "boolean": bool,
    "integer": int,
    "number": (int, float),
    "null": type(None),
}

SILENT = {"title", "description", "default", "$defs", "properties", "additionalProperties"}


def check(schema: dict[str, Any], value: Any, root: dict[str, Any]) -> None:
    """Validate against the part of JSON Schema 2020-12 that our schemas use, nothing unknown.

    Keywords by the JSON Schema specification, draft 2020-12, Validation, sections 6.1 to 6.5 and
    Core, 10.2 and 10.3 (from memory).
    """
    if "properties" in schema:
        assert schema["additionalProperties"] is False
        assert isinstance(value, dict)
        assert set(value) <= set(schema["properties"])
        for key, each in value.items():
            check(schema["properties"][key], each, root)
    for keyword, wanted in schema.items():
        match keyword:
            case "$ref":
                check(root["$defs"][wanted.removeprefix("#/$defs/")], value, root)
            case "type":
                assert isinstance(value, KINDS[wanted]), (value, wanted)
                assert wanted == "boolean" or not isinstance(value, bool), value
            case "const":
                assert value == wanted
            case "enum":
                assert value in wanted
            case "minimum":
                assert value >= wanted
            case "anyOf":
                assert any(matches(each, value, root) for each in wanted), value
            case "items":
                assert all(check(wanted, each, root) is None for each in value)
            case "required":
                assert set(wanted) <= set(value)
            case _:
                assert keyword in SILENT, f"the checker does not know {keyword}"


def matches(schema: dict[str, Any], value: Any, root: dict[str, Any]) -> bool:
    try:
        check(schema, value, root)
    except (AssertionError, KeyError, TypeError):
        return False
    return True


SCHEMA = messages.EventMessage.model_json_schema(by_alias=True, mode="serialization")


@pytest.mark.parametrize("kind", list(EventKind))
def test_every_kind_of_event_fits_the_published_schema(kind: EventKind) -> None:
    """What is emitted is what the schema promises, with and without an alarm."""
    for part in (None, alarm(), alarm(spill_s=inf, state=AlarmState.LATCH_ACK)):
        message = build(Event(kind, 12.3456, "display", "Something happened", part, ("a.b",)))
        check(SCHEMA, message, SCHEMA)


def test_the_schema_refuses_what_it_must() -> None:
    """The checker above is no rubber stamp: four broken messages fail it."""
    good = build(raised())
    for broken in (
        {**good, "tick": "12"},
        {**good, "kind": "nothing"},
        {**good, "extra": 1},
        {key: value for key, value in good.items() if key != "boot"},
    ):
        assert not matches(SCHEMA, broken, SCHEMA)


def test_a_raised_alarm_says_what_where_how_long_what_was_done_and_what_to_do() -> None:
    """A person at night reads it in this order, and finds the answer to send at the end."""
    text = build(raised(spill_s=42.4))["text"]
    assert text == (
        "Water stands at the spill edge of the display (high float of the display). "
        "Water would spill in 42 s. "
        "The return pump was cut; the top-off is shut. "
        "Look at the drains that leave the display: clear them, then reset at the guard. "
        "Answer: acknowledge 4821"
    )


def test_no_spill_in_sight_is_not_given_a_time() -> None:
    """Infinity is neither written out nor promised to be safe."""
    for endless in (inf, nan):
        message = build(raised(spill_s=endless))
        assert "spill in" not in message["text"]
        assert message["alarm"]["spill_s"] is None


def test_an_alarm_that_needs_no_answer_asks_for_none() -> None:
    """A code is shown while it can be used, and only then."""
    ended = Event(
        EventKind.ALARM_ENDED, 90.0, "display-high", "It is over", alarm(state=AlarmState.NORMAL)
    )
    assert build(ended)["text"] == "It is over."
    returned = Event(
        EventKind.ALARM_RETURNED, 90.0, "x", "It is over", alarm(state=AlarmState.RTN_UNACK)
    )
    assert build(returned)["text"] == "It is over. Answer: acknowledge 4821"


def test_a_text_that_stays_on_a_screen_names_no_time() -> None:
    """A retained "spills in 42 s" would be a lie a minute later."""
    assert "42 s" not in messages.alert_text(alarm(), with_spill=False)
    assert SAYING.do_now in messages.alert_text(alarm(), with_spill=False)


def test_ids_tell_two_deliveries_from_two_events() -> None:
    """Boot and sequence make the id; the wall clock has no part in it."""
    message = build(raised())
    assert message["id"] == "boot-a-7"
    assert (message["sequence"], message["tick"], message["t_s"]) == (7, 123, 12.3)


def test_wall_time_is_utc_whatever_the_zone() -> None:
    """ISO 8601 with Z, so that a reader elsewhere is not an hour off."""
    east = datetime.fromisoformat("2026-03-01T04:12:45.250+01:00")
    assert build(raised(), wall=east)["wall"] == "2026-03-01T03:12:45.250Z"


def test_an_unknown_clock_is_said_to_be_unknown() -> None:
    """None becomes null: neither trusted nor mistrusted."""
    assert build(raised(), clock_synchronised=None)["clock_synchronised"] is None


def test_ranks_put_news_under_every_alert() -> None:
    """What is given up first when the queue is full."""
    news = Event(EventKind.TOP_OFF_OPENED, 1.0, "top-off-valve", "Top-off opened")
    cut = Event(EventKind.PUMP_CUT, 1.0, "return-pump", "The return pump was cut")
    low = raised(priority=Priority.LOW)
    assert messages.rank(news) < messages.rank(low) < messages.rank(cut) == messages.rank(raised())


def order(payload: bytes | str, *, retained: bool = False) -> Command | messages.Refusal:
    raw = payload.encode() if isinstance(payload, str) else payload
    return messages.read_order(raw, retained=retained, people=SITE.people, let_in=LET_IN)


@pytest.mark.parametrize(
    ("payload", "person"),
    [
        ("acknowledge 4821", ""),
        ("acknowledge 4821 keeper", "keeper"),
        ("  Acknowledge   4821\n", ""),
        ("ACKNOWLEDGE 4821 Keeper", "keeper"),
    ],
)
def test_orders_that_are_taken(payload: str, person: str) -> None:
    """With and without a person, and as a phone's keyboard changes it."""
    assert order(payload) == Command(Order.ACKNOWLEDGE, "4821", Origin.BROKER, person)


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "two orders"),
        ("   ", "two orders"),
        ("stop 4821", "two orders"),
        ("acknowledge", "two orders"),
        ("acknowledge 4821 keeper now", "two orders"),
        ("acknowledge 48x1", "number"),
        ("acknowledge ٤٨٢١", "number"),
        ("acknowledge 123456789", "number"),
        ("acknowledge 4821 stranger", "nobody"),
        ("acknowledge 4821 guest", "does not let"),
        ("reset 4821", "weirkeeper reset"),
        ("reset", "weirkeeper reset"),
        ("pause feeding", "weirkeeper pause at the guard"),
        ("Pause", "weirkeeper pause at the guard"),
        ("end-pause", "weirkeeper pause --end"),
        (b"\xff\xfe\x00acknowledge", "UTF-8"),
        ("acknowledge 4821" + " " * 60, "64 bytes"),
        ("acknowledge 4821\x00", "number"),
    ],
)
def test_orders_that_are_refused(payload: bytes | str, why: str) -> None:
    """Each with a sentence that says why."""
    refused = order(payload)
    assert isinstance(refused, messages.Refusal)
    assert why in refused.sentence
    assert refused.sentence.endswith(".")


def test_a_retained_order_is_refused_even_if_it_is_good() -> None:
    """Nobody is awake behind a message that the broker keeps."""
    refused = order("acknowledge 4821", retained=True)
    assert isinstance(refused, messages.Refusal)
    assert "retained" in refused.sentence


@settings(max_examples=400, deadline=None)
@given(payload=st.binary(max_size=200), retained=st.booleans())
def test_no_payload_raises_and_no_payload_resets(payload: bytes, retained: bool) -> None:
    """Whatever arrives is an acknowledgement or a sentence, and can be shown again."""
    result = messages.read_order(payload, retained=retained, people=SITE.people, let_in=LET_IN)
    if isinstance(result, Command):
        assert not retained
        assert result.order is Order.ACKNOWLEDGE
    shown = messages.echo(payload)
    assert len(shown) <= 64
    assert shown.isprintable()


def test_an_echo_hides_what_could_move_the_cursor() -> None:
    """An order is shown in a terminal by whoever reads replies."""
    assert messages.echo(b"  acknow\x1b[2Jledge\r\n4821 ") == "acknow?[2Jledge??4821"


def test_topics_stand_under_the_site() -> None:
    """Three topics beside the Homie device, all fit for an access list by prefix."""
    topics = [messages.events_topic(SITE), messages.command_topic(SITE), messages.reply_topic(SITE)]
    assert all(re.fullmatch(r"weirkeeper/classroom/(events|command|reply)", t) for t in topics)


def test_an_order_to_shelve_names_code_minutes_and_who_it_was() -> None:
    people = {"keeper": Person(name="k", may=("acknowledge", "shelve")), "other": Person(name="o")}

    def read(text: str) -> object:
        return messages.read_order(text.encode(), retained=False, people=people, let_in=LET_IN)

    command = read("Shelve 4821 30 keeper")
    assert command == Command(Order.SHELVE, "4821 for=1800", Origin.BROKER, "keeper")
    for text, words in (
        ("shelve 4821 30", "who you are"),
        ("shelve 4821 30 other", "does not let this person shelve"),
        ("shelve 4821 30 nobody", "names nobody"),
        ("shelve 4821 half keeper", "whole number of minutes"),
        ("shelve x 30 keeper", "The code is"),
        ("unshelve 4821", "at the guard itself"),
        ("out-of-service box-watch", "at the guard itself"),
        ("in-service box-watch", "at the guard itself"),
    ):
        refused = read(text)
        assert isinstance(refused, messages.Refusal), text
        assert words in refused.sentence
