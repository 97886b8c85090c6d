"""The site as a device of the Homie convention, version 5 (an open convention over MQTT).

Every chamber that drains leave, every level sensor, every pump and every output is a node; one node
more tells of the guard itself. Values are metric whatever units the site prints: a program that
reads them must not see its numbers change because a person would rather read gallons.

The convention knows no infinity and no "unknown". A time that is infinite, or longer than a day,
reads 86400 (see `LONGEST_S`), a margin without return flow reads 99, both named in the property;
a value that is not known is no message at all: what was retained under its topic is removed.
"""

from __future__ import annotations

import json
import math
import re
from collections import deque
from dataclasses import dataclass

from daemon.messages import UNACKNOWLEDGED, alert_text
from rules.signals import (
    AlarmState,
    Decision,
    DrainFigures,
    LevelFigures,
    Phase,
    Priority,
    PumpFigures,
    Quality,
)
from rules.site.model import Site
from rules.site.outputs import HeartbeatOutput
from rules.site.pauses import PAUSE_KINDS

VERSION = "5.0"
LONGEST_S = 86400
"""What a time reads when it is a day or longer, or infinite [s]."""

MOST_MARGIN = 99
"""What a margin reads when it is this or more, or when nothing flows that a drain must carry."""

MOST_HELD = 2000
"""Topics that the broker is known to hold for this device; a site of a hundred tanks has fewer."""

SEVERITIES = ("none", *(priority.name.lower() for priority in Priority))


@dataclass(frozen=True, slots=True)
class Own:
    """How the guard itself fares: alerts lost for want of room, telemetry dropped while away."""

    boot: str
    alerts_lost: int = 0
    telemetry_dropped: int = 0


def _property(name: str, datatype: str, unit: str = "", form: str = "") -> dict[str, object]:
    described: dict[str, object] = {"name": name, "datatype": datatype, "settable": False}
    if unit:
        described["unit"] = unit
    if form:
        described["format"] = form
    return described


_TIME_FORM = f"0:{LONGEST_S}"
_NO_END = f"{LONGEST_S} = a day or longer, or no end"

DRAINED = {
    "return-flow": _property("return flow", "float", "L/min", "0:"),
    "capacity": _property("drain capacity", "float", "L/min", "0:"),
    "margin": _property(
        f"margin, drain capacity / return flow ({MOST_MARGIN} = this or more, or no flow)",
        "float",
        form=f"0:{MOST_MARGIN}",
    ),
    "level-least": _property("lowest level it can have, above its bottom", "float", "mm"),
    "level-most": _property("highest level it can have, above its bottom", "float", "mm"),
    "spill-time": _property(f"time until water spills ({_NO_END})", "float", "s", _TIME_FORM),
}
MAIN_DRAIN = {
    "main-drain": _property("what its main drain carries, of clean", "float", "%", "0:"),
    "main-drain-least": _property("the least that can be of it", "float", "%", "0:"),
    "main-drain-most": _property("the most that can be of it", "float", "%", "0:"),
}
LEVEL = {
    "level": _property("level above the bottom of its chamber", "float", "mm"),
    "quality": _property(
        "how far it can be believed", "enum", form=",".join(q.name.lower() for q in Quality)
    ),
}
PUMP = {
    "phase": _property("phase", "enum", form=",".join(phase.value for phase in Phase)),
    "flow": _property("flow", "float", "L/min", "0:"),
    "dry-time": _property(f"time until it draws air ({_NO_END})", "float", "s", _TIME_FORM),
}
OUTPUT = {"energised": _property("energised", "boolean", form="off,on")}
NO_PAUSE = "none"
GUARD = {
    "boot": _property("id of this run of the guard", "string"),
    "alarms": _property("alarms that are not normal", "integer", "#", "0:"),
    "unacknowledged": _property("alarms that nobody has acknowledged", "integer", "#", "0:"),
    "most-severe": _property("priority of the gravest alarm", "enum", form=",".join(SEVERITIES)),
    "alarms-in-ten-minutes": _property(
        "alarms raised in the last ten minutes (more than 10 are a flood)", "integer", "#", "0:"
    ),
    "alarms-in-a-day": _property("alarms raised in the last 24 hours", "integer", "#", "0:"),
    "pause": _property("planned pause", "enum", form=",".join((NO_PAUSE, *PAUSE_KINDS))),
    "pause-left": _property("time until the planned pause ends", "integer", "s", "0:"),
    "suppressed": _property(
        "hazards that raise no alarm during the planned pause (- = none)", "string"
    ),
    "shelved": _property("alarms that a person has put aside", "integer", "#", "0:"),
    "out-of-service": _property(
        "sensors and rows that a person has taken out of service (- = none)", "string"
    ),
    "alerts-lost": _property("alerts lost for want of room", "integer", "#", "0:"),
    "telemetry-dropped": _property("values dropped while away", "integer", "#", "0:"),
}


class Device:
    """The Homie device of one site: its description and topics, and the values of a decision."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self.base = f"homie/5/{site.site.id}"
        self.state_topic = f"{self.base}/$state"
        self.description_topic = f"{self.base}/$description"
        self.alerts_filter = f"{self.base}/$alert/+"
        # a heartbeat changes for its own sake, several times between two readings
        self._outputs = {
            key: index
            for index, (key, output) in enumerate(site.outputs.items())
            if not isinstance(output, HeartbeatOutput)
        }
        taken = {*site.chambers, *site.levels(), *site.pumps, *site.outputs}
        # ids of the site never end in a hyphen, so this one is free at the latest with one
        self._guard = "guard" if "guard" not in taken else "guard-"

    def description(self, version: int) -> str:
        """The `$description` document; `version` must grow whenever the site file changes."""
        site = self._site
        nodes = {
            key: self._node(key, DRAINED | MAIN_DRAIN if site.levels(key) else DRAINED)
            for key in site.drained_chambers()
        }
        nodes |= {key: self._node(key, LEVEL) for key in site.levels()}
        nodes |= {key: self._node(key, PUMP) for key in site.pumps}
        nodes |= {key: self._node(key, OUTPUT) for key in self._outputs}
        nodes[self._guard] = {"name": "guard", "properties": GUARD}
        return json.dumps(
            {"homie": VERSION, "version": version, "name": site.site.name, "nodes": nodes},
            ensure_ascii=False,
        )

    def _node(self, key: str, properties: dict[str, dict[str, object]]) -> dict[str, object]:
        return {"name": self._site.label(key), "properties": properties}

    def values(self, decision: Decision, own: Own) -> dict[str, str]:
        """Payload by topic, of every property whose value is known and every standing alarm."""
        nodes: dict[str, dict[str, str]] = {}
        for drain in decision.drains:
            nodes[drain.chamber] = _drain_values(drain)
        for level in decision.levels:
            nodes[level.sensor] = _level_values(level)
        for pump in decision.pumps:
            nodes[pump.pump] = _pump_values(pump)
        for key, index in self._outputs.items():
            nodes[key] = {"energised": "true" if decision.outputs[index] else "false"}
        nodes[self._guard] = _guard_values(decision, own)
        values = {
            f"{self.base}/$alert/{alert_id(alarm.row)}": alert_text(alarm, with_spill=False)
            for alarm in decision.alarms
            if alarm.state not in (AlarmState.NORMAL, AlarmState.SHELVED)
        }
        for node, properties in nodes.items():
            for key, value in properties.items():
                if value:
                    values[f"{self.base}/{node}/{key}"] = value
        return values


class Mirror:
    """What the broker holds of the device, and so what must be sent to make it true again.

    After every new connection: `init`, the description, every value, then `ready`.
    """

    def __init__(self, device: Device, description: str) -> None:
        self._device = device
        self._greeting = ((device.state_topic, "init"), (device.description_topic, description))
        self._first: deque[tuple[str, str]] = deque()
        self._held: dict[str, str] = {}
        self._ready = False

    def forget(self) -> None:
        """The connection is gone: another may come, perhaps to an empty broker."""
        self._held.clear()

    def begin(self) -> None:
        """A new connection stands."""
        self._first = deque(self._greeting)
        self._ready = False

    def hear(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Take what the broker says of this device."""
        if topic == self._device.state_topic:
            # the last will of a connection that this one replaced may come out late
            if payload == b"lost" and not retained:
                self._ready = False
        elif retained and payload and len(self._held) < MOST_HELD:
            # an alert of an earlier run; it is removed with the next values if it does not stand
            self._held.setdefault(topic, "")

    def due(self, values: dict[str, str] | None) -> list[tuple[str, str]]:
        """Topics and payloads to send, in order; without values yet the device is not ready."""
        due = list(self._first)
        if values is not None:
            due += [item for item in values.items() if self._held.get(item[0]) != item[1]]
            due += [(topic, "") for topic in self._held if topic not in values]
            if not self._ready:
                due.append((self._device.state_topic, "ready"))
        return due

    def sent(self, topic: str, payload: str) -> None:
        """One of those that were due has been sent."""
        if self._first and self._first[0] == (topic, payload):
            self._first.popleft()
        elif topic == self._device.state_topic:
            self._ready = True
        elif payload:
            self._held[topic] = payload
        else:
            del self._held[topic]


def alert_id(row: str) -> str:
    """A row of the matrix as an id of the convention, which knows `a-z`, `0-9` and hyphen.

    Ids of rows never hold two hyphens together, so two rows cannot become one alert.
    """
    return re.sub(r"[^a-z0-9-]", "--", row.lower())


def _number(value: float, decimals: int, least: float = -math.inf, most: float = math.inf) -> str:
    """A float of the convention (no exponent, no NaN, no infinity); empty when not known."""
    if math.isnan(value):  # first: comparing would turn it into one of the limits
        return ""
    limited = min(max(value, least), most)
    return "" if math.isinf(limited) else f"{limited:.{decimals}f}"


def _time(seconds: float) -> str:
    return _number(seconds, 0, 0.0, LONGEST_S)


def _flow(m3_s: float) -> str:
    return _number(m3_s * 60000.0, 1, 0.0)


def _drain_values(drain: DrainFigures) -> dict[str, str]:
    left = drain.condition
    known = left.share is not None
    shares = (left.share, left.least, left.most)
    percents = [_number(100.0 * (share or 0.0), 1) if known else "" for share in shares]
    return {
        "return-flow": _flow(drain.return_m3_s),
        "capacity": _flow(drain.capacity_m3_s),
        "margin": _number(drain.margin, 2, 0.0, MOST_MARGIN),
        "level-least": _number(drain.level_least_m * 1000.0, 0),
        "level-most": _number(drain.level_most_m * 1000.0, 0),
        "spill-time": _time(drain.spill_s),
        "main-drain": percents[0],
        "main-drain-least": percents[1],
        "main-drain-most": percents[2],
    }


def _level_values(level: LevelFigures) -> dict[str, str]:
    known = level.level_m if level.level_m is not None else math.nan
    return {"level": _number(known * 1000.0, 1), "quality": level.quality.name.lower()}


def _pump_values(pump: PumpFigures) -> dict[str, str]:
    return {
        "phase": pump.phase.value,
        "flow": _flow(pump.flow_m3_s),
        "dry-time": _time(pump.dry_s),
    }


def _guard_values(decision: Decision, own: Own) -> dict[str, str]:
    standing = [alarm for alarm in decision.alarms if alarm.state is not AlarmState.NORMAL]
    gravest = max((alarm.priority for alarm in standing), default=None)
    pause = decision.pause
    return {
        "boot": own.boot,
        "alarms": str(len(standing)),
        "unacknowledged": str(sum(alarm.state in UNACKNOWLEDGED for alarm in standing)),
        "most-severe": gravest.name.lower() if gravest is not None else "none",
        "alarms-in-ten-minutes": str(decision.rates.ten_minutes),
        "alarms-in-a-day": str(decision.rates.day),
        "pause": pause.kind if pause is not None else NO_PAUSE,
        "pause-left": str(round(pause.left_s)) if pause is not None else "0",
        "suppressed": (", ".join(pause.suppressed) if pause is not None else "") or "-",
        "shelved": str(sum(alarm.state is AlarmState.SHELVED for alarm in decision.alarms)),
        "out-of-service": ", ".join(one.id for one in decision.out) or "-",
        "alerts-lost": str(own.alerts_lost),
        "telemetry-dropped": str(own.telemetry_dropped),
    }
