"""The broker link: takes each decision from the tick at once, and does the rest beside it.

Events wait in a bounded queue until the broker has them, alerts longest. Values of the Homie
device are kept as the newest a topic, and dropped while the broker is away. Orders that people
send are checked here and left for the tick to collect.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import datetime

from structlog.typing import FilteringBoundLogger

from daemon import homie, messages
from daemon.machine import THIS, Machine
from daemon.orders import Orders, Reply
from daemon.outbox import Outbox
from daemon.secrets import Secret
from daemon.session import Acknowledged, Address, Arrived, Broken, Down, Up
from rules.signals import Command, Decision, Event
from rules.site.model import Site

MOST_EVENTS_UNDER_WAY = 20
"""Events, and replies, given to paho and not yet acknowledged; the rest can still be sorted out."""

MOST_VALUES_UNDER_WAY = 50
"""Homie messages given to paho and not yet acknowledged; newer values replace those that wait."""

VALUES_EVERY_S = 1.0

MOST_TAKEN = 10_000
"""Events that may wait for the link's next turn; it comes at once, so this is for a dead link."""

STEADY_S = 10.0
"""A connection that stood for so long was a good one; its end is news again [s]."""

OPEN_AGAIN_S = 30.0

STUMBLED_S = 1.0
"""How long the link pauses after a mistake of its own [s]."""

LEAVING_EVERY_S = 0.05
"""How often a link that takes leave looks whether all is acknowledged [s]."""

GOODBYE_S = 0.5
"""How long before it must be gone the link takes leave, whatever still waits [s]."""


@dataclass(frozen=True, slots=True)
class LinkStatus:
    """How the link stands; `last_error` is a sentence, empty while all is well."""

    connected: bool = False
    alerts_waiting: int = 0
    alerts_lost: int = 0
    telemetry_dropped: int = 0
    last_error: str = ""


def _address(site: Site, host: str | None, port: int | None, tls: bool | None) -> Address:
    broker = site.broker
    if host is None and broker is None:
        raise ValueError("the site file names no broker, and no other was given")
    encrypted = tls if tls is not None else broker.tls if broker is not None else False
    return Address(
        host=host if host is not None else broker.host if broker is not None else "",
        port=port or (broker.port if broker is not None else 8883 if encrypted else 1883),
        tls=encrypted,
        ca_file=broker.ca_file if broker is not None else None,
        cert_file=broker.cert_file if broker is not None else None,
        key_file=broker.key_file if broker is not None else None,
        keep_alive_s=round(broker.keep_alive) if broker is not None else 15,
    )


class Link:
    """The link of one site. `hand_over` and `commands` are for the tick and never wait."""

    def __init__(
        self,
        site: Site,
        boot: str,
        secret: Secret | None,
        *,
        host: str | None = None,
        port: int | None = None,
        tls: bool | None = None,
        log: FilteringBoundLogger,
        machine: Machine = THIS,
    ) -> None:
        self._site, self._boot, self._log, self._clock = site, boot, log, machine.clock
        self._device = homie.Device(site)
        # a time grows from one start to the next without anything kept on disk
        description = self._device.description(version=int(self._clock.wall().timestamp()))
        self._events_topic = messages.events_topic(site)
        self._reply_topic = messages.reply_topic(site)
        self._command_topic = messages.command_topic(site)
        self._worker = machine.hire("weirkeeper-link", self._turn)
        self._deadline_s: float | None = None
        self._wire = machine.open_session(
            _address(site, host, port, tls),
            f"weirkeeper-{site.site.id}",
            secret,
            will=(self._device.state_topic, "lost"),
            subscriptions=(
                self._command_topic,
                self._device.state_topic,
                self._device.alerts_filter,
            ),
            wake=self._worker.wake,
        )
        # between the tick and the link's worker: one value and two queues, none of them locked
        self._latest: Decision | None = None
        self._taken: deque[tuple[Event, int, datetime]] = deque()
        self._orders = Orders(site.people)
        self._status = LinkStatus()
        # everything from here on belongs to the link's worker
        self._outbox = Outbox()
        self._taken_lost = 0
        self._said: set[str] = set()
        self._last_error = ""
        self._up_since_s: float | None = None
        self._open_at_s = 0.0
        self._resume_s = 0.0
        self._prepared = False
        self._sequence = 0
        self._under_way: dict[int, str] = {}
        self._mirror = homie.Mirror(self._device, description)
        self._values: dict[str, str] | None = None
        self._values_at_s = 0.0
        self._telemetry_dropped = 0
        self._leaving = self._said_goodbye = False

    # --- for the tick -----------------------------------------------------------------------

    def hand_over(self, decision: Decision, tick: int, wall: datetime) -> None:
        """Take one decision of the tick; returns at once whatever the network does."""
        self._latest = decision
        for event in decision.events:
            if len(self._taken) < MOST_TAKEN:
                self._taken.append((event, tick, wall))
            else:
                self._taken_lost += 1
            self._worker.wake()

    def commands(self) -> tuple[Command, ...]:
        """The orders that came since the last call."""
        return self._orders.commands()

    @property
    def status(self) -> LinkStatus:
        """How the link stands now."""
        return self._status

    def start(self) -> None:
        """Begin to connect; returns at once."""
        self._worker.start()

    def stop(self, timeout_s: float) -> None:
        """Send what waits, say that the guard leaves, and disconnect: at most `timeout_s` [s]."""
        self._deadline_s = self._clock.monotonic_s() + timeout_s
        self._worker.wake()
        self._worker.join(timeout_s)

    # --- the link's own turns ---------------------------------------------------------------

    def _turn(self) -> float | None:
        now_s = self._clock.monotonic_s()
        if self._deadline_s is not None:
            return self._leave(now_s, self._deadline_s - now_s)
        if now_s >= self._resume_s:
            self._guarded_cycle(now_s)
        return max(0.0, max(self._values_at_s, self._resume_s) - now_s)

    def _guarded_cycle(self, now_s: float) -> None:
        try:
            self._cycle(now_s)
        except Exception:
            # a mistake in this program; the link is worth trying again, the guard does not need it
            if "mistake" not in self._said:
                self._said.add("mistake")
                self._log.exception("the broker link stumbled and goes on")
            self._resume_s = now_s + STUMBLED_S

    def _cycle(self, now_s: float) -> None:
        if now_s >= self._open_at_s:
            self._open(now_s)
        for signal in self._wire.signals():
            match signal:
                case Up():
                    self._on_up(signal, now_s)
                case Down():
                    self._on_down(signal.sentence, now_s)
                case Acknowledged():
                    self._under_way.pop(signal.number, None)
                case Arrived():
                    self._on_arrived(signal, now_s)
                case Broken():
                    self._complain(signal.sentence)
        fresh = self._take_events()
        self._orders.forget(now_s)
        if fresh or now_s >= self._values_at_s:
            self._values_at_s = now_s + VALUES_EVERY_S
            self._renew_values()
        if self._up_since_s is not None:
            self._send()
        self._status = LinkStatus(
            connected=self._up_since_s is not None,
            alerts_waiting=self._outbox.alerts() + self._count_under_way("alert"),
            alerts_lost=self._outbox.alerts_lost + self._taken_lost,
            telemetry_dropped=self._telemetry_dropped,
            last_error=self._last_error,
        )

    def _open(self, now_s: float) -> None:
        """Start paho, or start it again; a certificate that is not there may be there later."""
        self._open_at_s = now_s + OPEN_AGAIN_S
        try:
            if not self._prepared:
                self._wire.prepare()
                self._prepared = True
        except (OSError, ValueError) as error:
            self._complain(f"The broker's name or certificate files cannot be used: {error}.")
            return
        self._open_at_s = now_s + VALUES_EVERY_S
        if self._wire.open() and self._up_since_s is not None:
            self._on_down("The thread of the broker link died; it was started again.", now_s)

    def _on_up(self, up: Up, now_s: float) -> None:
        if self._up_since_s is None:
            self._up_since_s = now_s
        self._last_error = ""
        if "connected" not in self._said:
            self._said.add("connected")
            self._log.info("connected to the broker", alerts_waiting=self._outbox.alerts())
        if up.refused:
            self._complain("The broker lets this guard publish, but not hear every topic it needs.")
        self._mirror.begin()
        self._said_goodbye = False

    def _on_down(self, sentence: str, now_s: float) -> None:
        if self._up_since_s is not None and now_s - self._up_since_s >= STEADY_S:
            self._said.clear()
        self._up_since_s = None
        self._mirror.forget()
        self._complain(sentence)

    def _complain(self, sentence: str) -> None:
        """One line for each kind of trouble, until a connection has stood for a while."""
        self._last_error = sentence
        if sentence not in self._said:
            self._said.add(sentence)
            self._log.warning(sentence)

    # --- what comes in ----------------------------------------------------------------------

    def _on_arrived(self, message: Arrived, now_s: float) -> None:
        if message.topic == self._command_topic:
            if message.payload:  # an empty one is somebody removing a retained order
                self._orders.arrive(
                    message.payload,
                    retained=message.retained,
                    open_codes=self._open_codes(),
                    now_s=now_s,
                )
        else:
            self._mirror.hear(message.topic, message.payload, retained=message.retained)

    def _open_codes(self) -> set[str]:
        """Codes that still wait for an answer: a code may come round again in a long night."""
        alarms = self._latest.alarms if self._latest is not None else ()
        return {alarm.code for alarm in alarms if alarm.state in messages.UNACKNOWLEDGED}

    def _take_events(self) -> bool:
        """Turn what the tick handed over into messages; True if there was anything."""
        fresh = bool(self._taken)
        while self._taken:
            event, tick, wall = self._taken.popleft()
            self._sequence += 1
            message = messages.event_message(
                self._site,
                self._boot,
                self._sequence,
                event,
                tick=tick,
                wall=wall,
                clock_synchronised=self._clock.synchronised(),
            )
            lost = self._outbox.alerts_lost
            self._outbox.put(messages.rank(event), message.encoded())
            if self._outbox.alerts_lost > lost:
                self._complain("Too many alerts wait for the broker; the least are being lost.")
            self._orders.settle(event)
        return fresh

    # --- what goes out ----------------------------------------------------------------------

    def _renew_values(self) -> None:
        if self._latest is None:
            return
        own = homie.Own(self._boot, self._outbox.alerts_lost + self._taken_lost)
        values = self._device.values(self._latest, own)
        if self._up_since_s is None:
            old = self._values or {}
            self._telemetry_dropped += sum(old.get(key) != value for key, value in values.items())
        self._values = values

    def _count_under_way(self, kind: str) -> int:
        return sum(each == kind for each in self._under_way.values())

    def _publish(self, kind: str, topic: str, payload: bytes | str, *, retain: bool) -> bool:
        """Hand one message to paho; False if it must be offered again later."""
        number = self._wire.publish(topic, payload, retain=retain)
        if number is None:
            return False
        self._under_way[number] = kind
        return True

    def _send(self) -> None:
        """Give paho what there is room for: events in order, then replies, then the device."""
        room = MOST_EVENTS_UNDER_WAY - len(self._under_way) + self._count_under_way("value")
        while room > 0 and (head := self._outbox.head()) is not None:
            kind = "alert" if head.rank else "news"
            if not self._publish(kind, self._events_topic, head.payload, retain=False):
                return
            self._outbox.remove_head()
            room -= 1
        while room > 0 and self._orders.replies:
            reply = self._encoded(self._orders.replies[0])
            if not self._publish("reply", self._reply_topic, reply, retain=False):
                return
            self._orders.replies.popleft()
            room -= 1
        if not self._leaving:
            self._send_device(MOST_VALUES_UNDER_WAY - self._count_under_way("value"))

    def _encoded(self, reply: Reply) -> bytes:
        message = messages.ReplyMessage(
            site=self._site.site.id,
            boot=self._boot,
            wall=self._clock.wall(),
            accepted=reply.accepted,
            sentence=reply.sentence,
            order=reply.order,
        )
        return message.encoded()

    def _send_device(self, room: int) -> None:
        for topic, payload in self._mirror.due(self._values)[: max(0, room)]:
            if not self._publish("value", topic, payload, retain=True):
                return
            self._mirror.sent(topic, payload)

    def _leave(self, now_s: float, left_s: float) -> float | None:
        """Send what waits while there is time, then take leave as the convention asks."""
        self._leaving = True
        if left_s > 0.0:
            self._guarded_cycle(now_s)
            idle = not (len(self._outbox) or self._orders.replies or self._under_way)
            if self._up_since_s is not None and not (idle and self._said_goodbye):
                if not self._said_goodbye and (idle or left_s < GOODBYE_S):
                    self._publish("value", self._device.state_topic, "disconnected", retain=True)
                    self._said_goodbye = True
                return LEAVING_EVERY_S
        self._wire.close()
        return None
