"""A question as data: what it asks, its usual answer, how it is read, where a file answers it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any, Generic, Protocol, TypeVar

T = TypeVar("T")

Raw = Mapping[str, Any]
"""A site file as TOML gives it, before any quantity is read."""

Reader = Callable[[str], tuple[str, T]]
"""From what was typed to the text that is kept and its value; ValueError with a sentence."""

Place = tuple[str, str]
"""A table of the site file and a key in it."""

Found = Callable[[Raw], str | None]
"""The answer that a site file gives, as it would be typed; None where it gives none."""


class Part(Enum):
    """The parts of the interview, in order: a title, and what to know before its questions."""

    SITE = ("The site", "What it is called, and how figures are printed.")
    DISPLAYS = (
        "The displays, and how water leaves them",
        "Heights inside a tank are measured up from its own inside bottom, with a ruler.",
    )
    SUMP = (
        "The sump",
        "Its chambers in the order in which water runs through them; the last one holds the "
        "return pump.",
    )
    DRAINS = (
        "The drains",
        "Pipes from each overflow box down to the first chamber of the sump. The lip of a drain "
        "is the edge at which water enters it.",
    )
    REFUGIUM = ("The refugium", "A side tank that a branch of the return pump feeds.")
    WAY_UP = ("The way up", "The pipe from the return pump to the display, and the pump itself.")
    TOP_OFF = ("The top-off", "Fresh water that replaces what evaporates.")
    OUTPUTS = (
        "Relays and other outputs",
        "Each sits on a GPIO pin of its own, 0 to 27; the pins offered are pulled to the off side "
        "at power-on. Answer none where there is none.",
    )
    SENSORS = (
        "The sensors",
        "Each one that is fitted sits on a GPIO pin of its own. Answer none where there is none.",
    )
    ALERTS = ("Alerts", "Where alerts go, and who may answer them.")

    @property
    def title(self) -> str:
        """Its heading."""
        return self.value[0]

    @property
    def intro(self) -> str:
        """What to know before its questions."""
        return self.value[1]

    @property
    def place(self) -> str:
        """Which of the parts it is."""
        parts = list(Part)
        return f"Part {parts.index(self) + 1} of {len(parts)}"


@dataclass(frozen=True, slots=True)
class Question(Generic[T]):
    """One question.

    A `quiet` one is not asked: its usual answer stands unless a file or a list of answers says
    otherwise. `guess` is False where the usual answer is one that the keeper gave elsewhere;
    `about` names the thing asked about where there are several of its kind; `place` is where a
    measured answer stands in the file, with its mark.
    """

    key: str
    part: Part
    label: str
    why: str
    usual: str
    read: Reader[T]
    found: Found
    quiet: bool = False
    guess: bool = True
    about: str = ""
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Given:
    """What was once answered: its text, and whether it was a usual value that nobody measured."""

    text: str
    guess: bool = False


@dataclass(frozen=True, slots=True)
class Answer(Generic[T]):
    """An answer: its text for the file, its value (SI), and whether nobody measured it."""

    text: str
    value: T
    guess: bool


class Ask(Protocol):
    """Whoever answers questions: a person at a terminal, a file, a test."""

    def __call__(self, question: Question[T], /) -> Answer[T]:
        """Answer one question."""


def at(table: str, field: str, absent: str | None = None) -> Found:
    """Finds an answer that stands in one place of the file.

    `absent` is the answer of a file that has the table and lacks the key.
    """

    def found(raw: Raw) -> str | None:
        here: Any = raw
        for step in table.split("."):
            here = here.get(step) if isinstance(here, Mapping) else None
        if not isinstance(here, Mapping):
            return None
        value = here.get(field)
        if value is None:
            return absent
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, list):
            return ", ".join(str(item) for item in value)
        return str(value)

    return found


def has(raw: Raw, table: str) -> bool:
    """True when the file holds the table of that dotted path."""
    here: Any = raw
    for step in table.split("."):
        if not isinstance(here, Mapping) or step not in here:
            return False
        here = here[step]
    return True


def fitted_in(table: str) -> Found:
    """The pin of a thing, or "none" in a file that describes a site and not this thing."""
    pin = at(table, "pin")
    return lambda raw: pin(raw) or ("none" if has(raw, "chambers") else None)
