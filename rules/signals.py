"""What goes into one step of the engine and what comes out: frozen values, nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from math import inf
from typing import Self

TICK_S = 0.1
"""Time between two looks at the world [s]: ten a second."""


class Quality(IntEnum):
    """How far a reading can be believed; the order is the order of trust."""

    BAD = 0
    UNCERTAIN = 1
    GOOD = 2


@dataclass(frozen=True, slots=True)
class Reading:
    """One sensor's value at this tick.

    `value` is 1.0 (wet, or supply present) or 0.0 for contacts, m3/s for flow meters, m above the
    chamber's bottom for level sensors; it is NaN when `quality` is BAD. `age_s` is the time since
    the value was last known to be true.
    """

    value: float
    quality: Quality = Quality.GOOD
    age_s: float = 0.0
    why: str = ""


class Order(StrEnum):
    """What a person may ask of the guard."""

    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    PAUSE = "pause"
    END_PAUSE = "end-pause"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"


class Origin(StrEnum):
    """Which way an order came."""

    BROKER = "broker"
    LOCAL = "local"


@dataclass(frozen=True, slots=True)
class Command:
    """An order as it arrived.

    `code` is the one shown in the alert that it answers; for a pause or a shelf what is asked for,
    as `AskedPause` and `AskedShelf` have it; for service the id of a sensor or a row.
    """

    order: Order
    code: str
    origin: Origin
    person: str = ""


@dataclass(frozen=True, slots=True)
class AskedPause:
    """What an order of a pause asks for: its kind; how long [s] and which pump where it says."""

    kind: str
    lasts_s: float | None = None
    pump: str = ""

    @property
    def text(self) -> str:
        """It as the code of a command: "feeding for=600 pump=return-pump"."""
        lasts = "" if self.lasts_s is None else f" for={self.lasts_s:g}"
        return f"{self.kind}{lasts}{f' pump={self.pump}' if self.pump else ''}"

    @classmethod
    def read(cls, text: str) -> Self:
        """The same again; raises ValueError for a text that says something else."""
        kind, *others = text.split(" ")
        said = dict(other.split("=", 1) for other in others if "=" in other)
        if len(said) != len(others) or not said.keys() <= {"for", "pump"}:
            raise ValueError(f'"{text}" asks for no pause')
        lasts = said.get("for")
        return cls(kind, float(lasts) if lasts is not None else None, said.get("pump", ""))


@dataclass(frozen=True, slots=True)
class AskedShelf:
    """What an order to shelve asks for: the code of the alarm, and how long [s] where it says."""

    code: str
    lasts_s: float | None = None

    @property
    def text(self) -> str:
        """It as the code of a command: "4821 for=3600"."""
        return self.code if self.lasts_s is None else f"{self.code} for={self.lasts_s:g}"

    @classmethod
    def read(cls, text: str) -> Self:
        """The same again; raises ValueError for a text that says something else."""
        code, _, lasts = text.partition(" for=")
        if " " in code or not code:
            raise ValueError(f'"{text}" is no code of an alarm')
        return cls(code, float(lasts) if lasts else None)


@dataclass(frozen=True, slots=True)
class Observation:
    """All that the engine is told at one tick.

    `t_s` is monotonic time since the guard began [s]. `readings` are in the order of the site's
    sensors, `dropped` and every other tuple of outputs in the order of its outputs; `dropped` is
    True for an output whose lease ran out since the last tick.
    """

    t_s: float
    readings: tuple[Reading, ...]
    commands: tuple[Command, ...] = ()
    dropped: tuple[bool, ...] = ()


class Priority(IntEnum):
    """How soon a person must respond (IEC 62682); about 80/15/5 % of alarms from least to most."""

    LOW = 1
    MEDIUM = 2
    HIGH = 3


class AlarmState(StrEnum):
    """States of an alarm in the terms of ISA-18.2 and IEC 62682."""

    NORMAL = "NORMAL"
    UNACK_ALARM = "UNACK_ALARM"
    ACK_ALARM = "ACK_ALARM"
    RTN_UNACK = "RTN_UNACK"
    LATCH_UNACK = "LATCH_UNACK"
    LATCH_ACK = "LATCH_ACK"
    SHELVED = "SHELVED"


@dataclass(frozen=True, slots=True)
class Saying:
    """What an alarm tells a person: one sentence for each question they have at night."""

    what: str
    where: str
    done: str
    do_now: str


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm as it stands; `code` answers it, and is valid for this occurrence only.

    `consequences` is what only follows from it, and is told in it.
    """

    row: str
    hazard: str
    state: AlarmState
    priority: Priority
    occurrence: int
    code: str
    since_s: float
    saying: Saying
    spill_s: float = inf
    consequences: tuple[str, ...] = ()


class EventKind(StrEnum):
    """What can happen that somebody may want to know."""

    ALARM_RAISED = "alarm-raised"
    ALARM_CHATTERS = "alarm-chatters"
    ALARM_RETURNED = "alarm-returned"
    ALARM_ACKNOWLEDGED = "alarm-acknowledged"
    ALARM_ENDED = "alarm-ended"
    ALARM_FOLDED = "alarm-folded"
    ALARM_SHELVED = "alarm-shelved"
    ALARM_UNSHELVED = "alarm-unshelved"
    PUMP_STARTED = "pump-started"
    PUMP_RUNNING = "pump-running"
    PUMP_CUT = "pump-cut"
    PUMP_HELD = "pump-held"
    PAUSE_BEGUN = "pause-begun"
    PAUSE_ENDED = "pause-ended"
    TOP_OFF_OPENED = "top-off-opened"
    TOP_OFF_CLOSED = "top-off-closed"
    ORDER_OBEYED = "order-obeyed"
    ORDER_REFUSED = "order-refused"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at this tick; `subject` is the id of the thing it happened to.

    `alarm` is set on the alarm-* kinds; `causes` are the rows of the matrix behind a cut.
    """

    kind: EventKind
    t_s: float
    subject: str
    text: str
    alarm: Alarm | None = None
    causes: tuple[str, ...] = ()


class Phase(StrEnum):
    """Where a pump stands between off and on."""

    STARTING = "starting"  # waiting for every signal to settle
    PROVING = "proving"  # a short run in which flow and prime must show
    RUNNING = "running"
    PAUSED = "paused"  # a planned pause has it stop; it comes back by itself
    WAITING = "waiting"  # cut; a restart will be tried when its cause is gone
    LATCHED = "latched"  # cut; a person must reset it


@dataclass(frozen=True, slots=True)
class Condition:
    """How much is left of a chamber's largest drain, as a share of clean, with its band.

    `share` is None where it is not known, and then `why` says why. It is told against what was
    learned in the first days where `learned`, else against the drawing.
    """

    share: float | None = None
    least: float = 0.0
    most: float = 1.0
    why: str = ""
    learned: bool = False


@dataclass(frozen=True, slots=True)
class DrainFigures:
    """One drained chamber, live: flows in m3/s, level bounds in m above its bottom.

    `margin` is capacity / return flow; `spill_s` is the time until water leaves a tank over its
    rim at the present net inflow, infinite while the drains carry what comes.
    """

    chamber: str
    return_m3_s: float
    capacity_m3_s: float
    margin: float
    level_least_m: float
    level_most_m: float
    spill_s: float
    condition: Condition = Condition()


@dataclass(frozen=True, slots=True)
class PumpFigures:
    """One pump, live: its phase, flow [m3/s], and time until it draws air [s]."""

    pump: str
    phase: Phase
    flow_m3_s: float
    dry_s: float


@dataclass(frozen=True, slots=True)
class LevelFigures:
    """One level sensor, live: the level above its chamber's bottom [m], None when it is not known,
    how far that may be off, and why it is in doubt, where it is."""

    sensor: str
    chamber: str
    level_m: float | None
    tolerance_m: float
    quality: Quality
    why: str = ""


@dataclass(frozen=True, slots=True)
class PauseFigures:
    """The planned pause that goes on: its kind, the pumps that stop for it, how long it still
    lasts [s], and the hazards that raise no alarm meanwhile."""

    kind: str
    pumps: tuple[str, ...]
    left_s: float
    suppressed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutFigures:
    """A sensor or row that is out of service: its id, for how long [s], and the rows that see
    nothing meanwhile."""

    id: str
    for_s: float
    blind: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SignalFigures:
    """A signal of which there is something to say: its status in the words of NAMUR NE 107
    (failure, function check, out of specification, maintenance required), and why."""

    sensor: str
    status: str
    why: str


@dataclass(frozen=True, slots=True)
class AlarmRates:
    """Alarms raised in the last ten minutes and in the last day, to the minute and to the hour; and
    whether they are a flood, so many that each hides the others."""

    ten_minutes: int = 0
    day: int = 0
    flood: bool = False


@dataclass(frozen=True, slots=True)
class Decision:
    """What one step decided: an on/off for every output, what happened, and how things stand."""

    outputs: tuple[bool, ...]
    events: tuple[Event, ...]
    alarms: tuple[Alarm, ...]
    drains: tuple[DrainFigures, ...]
    pumps: tuple[PumpFigures, ...]
    levels: tuple[LevelFigures, ...] = ()
    pause: PauseFigures | None = None
    rates: AlarmRates = AlarmRates()
    out: tuple[OutFigures, ...] = ()
    signals: tuple[SignalFigures, ...] = ()
