"""What goes over the broker link beside the Homie device: events, replies, and people's orders."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer

from rules.signals import (
    Alarm,
    AlarmState,
    AskedShelf,
    Command,
    Event,
    EventKind,
    Order,
    Origin,
    Priority,
    Saying,
)
from rules.site.model import Person, Site
from rules.site.show import duration

ALERTS = frozenset(
    {
        EventKind.ALARM_RAISED,
        EventKind.ALARM_RETURNED,
        EventKind.ALARM_ACKNOWLEDGED,
        EventKind.ALARM_ENDED,
        EventKind.PUMP_CUT,
        EventKind.PUMP_HELD,
    }
)
"""Events that somebody must hear of, however long the broker was away."""

ANSWERS = frozenset({EventKind.ORDER_OBEYED, EventKind.ORDER_REFUSED})
"""Events by which the engine answers an order; their subject is the code that was sent."""

UNACKNOWLEDGED = frozenset({AlarmState.UNACK_ALARM, AlarmState.RTN_UNACK, AlarmState.LATCH_UNACK})

LONGEST_ORDER_BYTES = 64
_CODE = re.compile(r"[0-9]{1,8}", re.ASCII)
_MINUTES = re.compile(r"[0-9]{1,3}", re.ASCII)


def events_topic(site: Site) -> str:
    """Where events are published."""
    return f"weirkeeper/{site.site.id}/events"


def command_topic(site: Site) -> str:
    """Where orders of people are awaited."""
    return f"weirkeeper/{site.site.id}/command"


def reply_topic(site: Site) -> str:
    """Where each order is answered."""
    return f"weirkeeper/{site.site.id}/reply"


def _utc_text(wall: datetime) -> str:
    return wall.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


WallTime = Annotated[datetime, PlainSerializer(_utc_text, return_type=str)]


class _Message(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", validate_by_name=True)

    def encoded(self) -> bytes:
        """The payload as it goes over the wire: JSON in UTF-8."""
        return self.model_dump_json(by_alias=True).encode()


class AlarmPart(_Message):
    """The alarm an event is about."""

    row: str = Field(description="the row of the cause-and-effect matrix")
    state: AlarmState = Field(description="state after this event (ISA-18.2, IEC 62682)")
    priority: Literal["low", "medium", "high"] = Field(description="how soon to respond")
    occurrence: int = Field(ge=0, description="how many times this row has alarmed since boot")
    code: str = Field(description='what to send to answer it: "acknowledge CODE"')
    what: str = Field(description="what happened")
    where: str = Field(description="where")
    done: str = Field(description="what the guard did")
    do_now: str = Field(description="what a person should do now")
    consequences: tuple[str, ...] = Field((), description="what only follows from it")
    spill_s: float | None = Field(
        None, ge=0, description="time until water spills [s]; null while no spill is in sight"
    )


class EventMessage(_Message):
    """One event; `id` is the same when a broker delivers the message twice."""

    schema_: Literal["weirkeeper.event"] = Field("weirkeeper.event", alias="schema")
    version: Literal[1] = 1
    id: str = Field(description="boot and sequence: one id for one event")
    site: str = Field(description="id of the site")
    boot: str = Field(description="id of this run of the guard")
    sequence: int = Field(ge=1, description="counts events of this boot; a gap is a lost message")
    tick: int = Field(ge=0, description="the cycle in which it happened")
    t_s: float = Field(ge=0, description="monotonic time since the guard began [s]")
    wall: WallTime = Field(description="wall time, ISO 8601, UTC")
    clock_synchronised: bool | None = Field(
        description="whether the wall clock follows a time source; null when that is not known"
    )
    kind: EventKind
    subject: str = Field(description="id of the thing it happened to")
    text: str = Field(description="the event for a person, to be shown as it stands")
    causes: tuple[str, ...] = Field((), description="rows of the matrix behind a cut")
    alarm: AlarmPart | None = None


class ReplyMessage(_Message):
    """The answer to one order."""

    schema_: Literal["weirkeeper.reply"] = Field("weirkeeper.reply", alias="schema")
    version: Literal[1] = 1
    site: str = Field(description="id of the site")
    boot: str = Field(description="id of this run of the guard")
    wall: WallTime = Field(description="wall time, ISO 8601, UTC")
    accepted: bool
    sentence: str = Field(description="why, for the person who sent the order")
    order: str = Field(description="the order as it arrived, trimmed to what can be printed")


def sentence(text: str) -> str:
    """A text with a capital letter and a full stop; empty stays empty."""
    text = text.strip()
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".?" else text + "."


def _what_and_where(saying: Saying) -> str:
    what = saying.what.strip().removesuffix(".")
    # a place that is part of the sentence already need not be said twice
    known = saying.where.strip().lower() in what.lower()
    return sentence(what if known else f"{what} ({saying.where.strip()})")


def alert_text(alarm: Alarm, *, with_spill: bool) -> str:
    """What happened, where, how long until water spills, what was done, what to do now.

    `with_spill` is for a message read at once; a text that stays on a screen leaves the time out,
    for it would be wrong a minute later.
    """
    saying = alarm.saying
    spill = ""
    if with_spill and math.isfinite(alarm.spill_s):
        spill = f"Water would spill in {duration(max(0.0, alarm.spill_s))}."
    done, do_now = sentence(saying.done), sentence(saying.do_now)
    follows = "".join(f"It brings with it: {sentence(each)} " for each in alarm.consequences)
    parts = (_what_and_where(saying), spill, done, follows.rstrip(), do_now, _how_to_answer(alarm))
    return " ".join(filter(None, parts))


def _how_to_answer(alarm: Alarm) -> str:
    return f"Answer: acknowledge {alarm.code}" if alarm.state in UNACKNOWLEDGED else ""


def event_text(event: Event) -> str:
    """The event as a phone shows it."""
    if event.alarm is None:
        return sentence(event.text)
    if event.kind is EventKind.ALARM_RAISED:
        return alert_text(event.alarm, with_spill=True)
    return " ".join(filter(None, (sentence(event.text), _how_to_answer(event.alarm))))


def rank(event: Event) -> int:
    """How much a waiting message matters: 0 for news, else the priority of the alert."""
    if event.kind not in ALERTS:
        return 0
    return int(event.alarm.priority if event.alarm is not None else Priority.HIGH)


def event_message(
    site: Site,
    boot: str,
    sequence: int,
    event: Event,
    *,
    tick: int,
    wall: datetime,
    clock_synchronised: bool | None,
) -> EventMessage:
    """The message about one event."""
    return EventMessage(
        id=f"{boot}-{sequence}",
        site=site.site.id,
        boot=boot,
        sequence=sequence,
        tick=tick,
        t_s=round(event.t_s, 3),
        wall=wall,
        clock_synchronised=clock_synchronised,
        kind=event.kind,
        subject=event.subject,
        text=event_text(event),
        causes=event.causes,
        alarm=_alarm_part(event.alarm) if event.alarm is not None else None,
    )


_PRIORITY_WORDS: dict[Priority, Literal["low", "medium", "high"]] = {
    Priority.LOW: "low",
    Priority.MEDIUM: "medium",
    Priority.HIGH: "high",
}


def _alarm_part(alarm: Alarm) -> AlarmPart:
    return AlarmPart(
        row=alarm.row,
        state=alarm.state,
        priority=_PRIORITY_WORDS[alarm.priority],
        occurrence=alarm.occurrence,
        code=alarm.code,
        what=alarm.saying.what,
        where=alarm.saying.where,
        done=alarm.saying.done,
        do_now=alarm.saying.do_now,
        consequences=alarm.consequences,
        spill_s=round(max(0.0, alarm.spill_s), 1) if math.isfinite(alarm.spill_s) else None,
    )


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why an order is not even put to the engine."""

    sentence: str


AT_THE_GUARD: dict[Order, str] = {
    Order.RESET: "A reset may start a pump, so it is not taken over the broker; "
    "look at the tanks, then run weirkeeper reset at the guard itself.",
    Order.PAUSE: "A pause stops a pump and starts it again, so it is not taken over the broker; "
    "run weirkeeper pause at the guard itself.",
    Order.OUT_OF_SERVICE: "What is out of service protects nothing, so that is not ordered over "
    "the broker; run weirkeeper service at the guard itself.",
    Order.IN_SERVICE: "Service is ended where it was ordered: run weirkeeper service at the guard "
    "itself.",
    Order.UNSHELVE: "Run weirkeeper shelve --end at the guard itself; it comes back in any case.",
    Order.END_PAUSE: "The end of a pause starts a pump, so it is not taken over the broker; "
    "run weirkeeper pause --end at the guard itself.",
}
"""Orders that are for the guard itself, and what is said to whoever sends one over the broker."""


def read_order(
    payload: bytes,
    *,
    retained: bool,
    people: Mapping[str, Person],
    let_in: Collection[Order],
) -> Command | Refusal:
    """The order in a payload, or why it is none.

    `acknowledge CODE`, `acknowledge CODE PERSON`, or `shelve CODE MINUTES PERSON`.

    A retained order is refused: a broker hands it out again at every connection, long after the
    person who sent it has gone to bed. So is every order that is not `let_in`.
    """
    if retained:
        return Refusal(
            "A retained order is never obeyed; remove it from the broker and send a plain one."
        )
    if len(payload) > LONGEST_ORDER_BYTES:
        return Refusal(f"An order has at most {LONGEST_ORDER_BYTES} bytes.")
    try:
        words = payload.decode("utf-8").split()
    except UnicodeDecodeError:
        return Refusal("An order is text in UTF-8.")
    # phones begin a message with a capital letter
    order = words[0].lower() if words else ""
    if order in AT_THE_GUARD and order not in let_in:
        return Refusal(AT_THE_GUARD[Order(order)])
    if order == Order.SHELVE and order in let_in:
        return _read_shelf(words, people)
    if order != Order.ACKNOWLEDGE or len(words) not in (2, 3):
        return Refusal(
            'The guard takes two orders here: "acknowledge" and the code of the alert, or '
            '"shelve", the code, the minutes and who you are.'
        )
    if not _CODE.fullmatch(words[1]):
        return Refusal("The code is the number at the end of the alert.")
    person = words[2].lower() if len(words) == 3 else ""
    if person and person not in people:
        return Refusal("The site file names nobody of that id.")
    if person and Order.ACKNOWLEDGE.value not in people[person].may:
        return Refusal("The site file does not let this person acknowledge.")
    return Command(Order.ACKNOWLEDGE, words[1], Origin.BROKER, person)


def _read_shelf(words: list[str], people: Mapping[str, Person]) -> Command | Refusal:
    """The order `shelve CODE MINUTES PERSON`: to be told who it was is part of it."""
    if len(words) != 4:
        return Refusal('Send "shelve", the code of the alert, the minutes and who you are.')
    code, minutes, person = words[1], words[2], words[3].lower()
    if not _CODE.fullmatch(code):
        return Refusal("The code is the number at the end of the alert.")
    if not _MINUTES.fullmatch(minutes):
        return Refusal("The time is a whole number of minutes, like 30.")
    if person not in people:
        return Refusal("The site file names nobody of that id.")
    if Order.SHELVE.value not in people[person].may:
        return Refusal("The site file does not let this person shelve an alarm.")
    asked = AskedShelf(code, 60.0 * int(minutes))
    return Command(Order.SHELVE, asked.text, Origin.BROKER, person)


def echo(payload: bytes) -> str:
    """An order as it may be shown again: at most 64 characters, none of them invisible."""
    text = payload[: 4 * LONGEST_ORDER_BYTES].decode("utf-8", errors="replace").strip()
    return "".join(c if c.isprintable() else "?" for c in text)[:LONGEST_ORDER_BYTES]


def answers(event: Event, command: Command) -> bool:
    """Whether the engine's event is its answer to this order."""
    return event.kind in ANSWERS and event.subject == command.code
