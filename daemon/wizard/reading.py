"""Readers: from what a keeper typed to a text worth keeping and its value, or a sentence."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar, get_args

from pydantic import StringConstraints, TypeAdapter, ValidationError

from daemon.wizard.question import Reader
from rules.site import show
from rules.site.base import ID_PATTERN, Name
from rules.site.passages import Fitting
from rules.site.pipes import Pipe, PipeSize
from rules.site.sensors import Pin
from rules.site.show import Units

T = TypeVar("T")
Check = Callable[[float], str | None]
"""From a value [SI] to what is wrong with it, or None."""

NONE = "none"


def tidy(text: str) -> str:
    """Typed text without the spaces and the quotation marks around it."""
    plain = " ".join(text.split())
    if len(plain) > 1 and plain[0] == plain[-1] and plain[0] in "\"'":
        plain = plain[1:-1].strip()
    return plain


def _validated(adapter: TypeAdapter[T], value: object) -> T:
    try:
        return adapter.validate_python(value)
    except ValidationError as error:
        message = str(error.errors(include_url=False)[0]["msg"])
        raise ValueError(message.removeprefix("Value error, ")) from None


@functools.lru_cache(maxsize=4096)
def _value(kind: Any, plain: str) -> float:
    """A quantity's value [SI]; kept, since one costs a millisecond and is asked for many times."""
    adapter: TypeAdapter[float] = TypeAdapter(kind)
    return _validated(adapter, plain)


def quantity(kind: Any, *checks: Check) -> Reader[float]:
    """A quantity of one of the site file's kinds (`Length`, `Flow`, ...), held to `checks`."""

    def read(text: str) -> tuple[str, float]:
        plain = tidy(text)
        value = _value(kind, plain)
        for check in checks:
            if sentence := check(value):
                raise ValueError(sentence)
        return plain, value

    return read


def within(least: float, most: float, say: Callable[[float], str]) -> Check:
    """A value from `least` to `most`; `say` prints one."""
    return lambda value: (
        None if least <= value <= most else f"give {say(least)} to {say(most)}; it is {say(value)}"
    )


def length_within(least_m: float, most_m: float, units: Units) -> Check:
    """A length between two lengths."""
    return within(least_m, most_m, lambda value: show.length(value, units))


@dataclass(frozen=True, slots=True)
class Span:
    """Where a height must lie, and between which two things [m]."""

    least_m: float
    low: str
    most_m: float
    high: str

    def check(self, units: Units) -> Check:
        """A height inside the span."""

        def check(value: float) -> str | None:
            if value < self.least_m - 1e-9:
                least = show.length(self.least_m, units)
                return f"it must lie above {self.low}: at {least} or higher"
            if value > self.most_m + 1e-9:
                most = show.length(self.most_m, units)
                return f"it must lie under {self.high}: at {most} or lower"
            return None

        return check


def or_none(read: Reader[T]) -> Reader[T | None]:
    """The same, or "none"."""

    def optional(text: str) -> tuple[str, T | None]:
        return (NONE, None) if tidy(text).lower() == NONE else read(text)

    return optional


def count(least: int, most: int) -> Reader[int]:
    """A whole number."""

    def read(text: str) -> tuple[str, int]:
        plain = tidy(text)
        if not re.fullmatch(r"[0-9]{1,6}", plain) or not least <= int(plain) <= most:
            raise ValueError(f"give a whole number from {least} to {most}")
        return str(int(plain)), int(plain)

    return read


def number(least: float, most: float) -> Reader[float]:
    """A plain number."""

    def read(text: str) -> tuple[str, float]:
        plain = tidy(text)
        if not re.fullmatch(r"[0-9]+(\.[0-9]+)?", plain) or not least <= float(plain) <= most:
            raise ValueError(f"give a plain number from {least:g} to {most:g}")
        return plain, float(plain)

    return read


def choice(*words: str) -> Reader[str]:
    """One of a few words, or its beginning."""

    def read(text: str) -> tuple[str, str]:
        plain = tidy(text).lower()
        fits = [plain] if plain in words else [word for word in words if word.startswith(plain)]
        if not plain or len(fits) != 1:
            raise ValueError(f"answer {', '.join(words[:-1])} or {words[-1]}")
        return fits[0], fits[0]

    return read


def yes_no(text: str) -> tuple[str, bool]:
    """Yes or no."""
    word = choice("yes", "no")(text)[0]
    return word, word == "yes"


_NAME: TypeAdapter[str] = TypeAdapter(Name)
_ID: TypeAdapter[str] = TypeAdapter(
    Annotated[str, StringConstraints(pattern=ID_PATTERN, max_length=40)]
)


def name(text: str) -> tuple[str, str]:
    """Any text of one line that can be written to a file."""
    plain = " ".join(text.split())
    try:
        plain.encode()
        return plain, _NAME.validate_python(plain)
    except (UnicodeEncodeError, ValidationError):
        raise ValueError("give one line of text, 1 to 80 characters long") from None


def name_or_nothing(text: str) -> tuple[str, str | None]:
    """A name, or no text at all for none."""
    return name(text) if text else ("", None)


def identifier(text: str) -> tuple[str, str]:
    """An id of the site file."""
    plain = tidy(text)
    try:
        return plain, _ID.validate_python(plain)
    except ValidationError:
        raise ValueError(
            "an id is lower-case letters, digits and single hyphens, like reef-room; at most 40"
        ) from None


def slug(text: str, otherwise: str) -> str:
    """An id made from a name; `otherwise` where no plain letter or digit is left of it."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain)[:40].strip("-") or otherwise


def people(taken: Collection[str]) -> Reader[tuple[tuple[str, str], ...]]:
    """Names with commas between them, or "none"; the value is (id, name) of each."""

    def read(text: str) -> tuple[str, tuple[tuple[str, str], ...]]:
        if tidy(text).lower() == NONE:
            return NONE, ()
        names = [name(one)[0] for one in text.split(",") if one.strip()]
        if not names:
            raise ValueError('give names with commas between them, or "none"')
        ids = [slug(one, f"person-{i}") for i, one in enumerate(names, 1)]
        for i, key in enumerate(ids):
            if key in ids[:i]:
                raise ValueError(f'"{names[i]}" is too much like another of these names')
            if key in taken:
                raise ValueError(f'"{key}" is the id of another thing here; say it otherwise')
        return ", ".join(names), tuple(zip(ids, names, strict=True))

    return read


_PIPE: TypeAdapter[Pipe] = TypeAdapter(PipeSize)


def pipe(text: str) -> tuple[str, Pipe]:
    """A pipe, by its size and schedule, its outside and wall, or its bore."""
    plain = tidy(text)
    return plain, _validated(_PIPE, plain)


_PIN: TypeAdapter[int] = TypeAdapter(Pin)


def pin(used: Mapping[int, str]) -> Reader[int | None]:
    """A GPIO number that nothing else uses, or "none"."""

    def read(text: str) -> tuple[str, int | None]:
        plain = tidy(text).lower()
        if plain == NONE:
            return NONE, None
        digits = plain.removeprefix("gpio").strip()
        try:
            if not re.fullmatch(r"[0-9]{1,2}", digits):
                raise ValueError
            found = _validated(_PIN, int(digits))
        except ValueError:
            raise ValueError(
                'give a GPIO number from 0 to 27 (not the place on the header), or "none"'
            ) from None
        if found in used:
            raise ValueError(f"GPIO {found} is taken by the {used[found]}; each needs its own")
        return str(found), found

    return read


def fittings(elbows: int) -> Reader[tuple[str, ...]]:
    """The fittings of a run, which must hold as many elbows as were counted."""
    known = get_args(Fitting)

    def read(text: str) -> tuple[str, tuple[str, ...]]:
        listed = tuple(tidy(one) for one in text.split(",") if one.strip())
        for one in listed:
            if one not in known:
                raise ValueError(f'"{one}" is no known fitting; known are {", ".join(known)}')
        if listed.count("elbow-90") != elbows:
            raise ValueError(f"it must list elbow-90 {elbows} times, as you counted")
        return ", ".join(listed), listed

    return read
