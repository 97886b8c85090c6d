"""One place to ask from: makes questions, keeps their answers, writes them on the sheet."""

from __future__ import annotations

from typing import Any, TypeVar

from daemon.wizard.question import Answer, Ask, Found, Part, Place, Question, Reader, at
from daemon.wizard.reading import Span, name_or_nothing, pin, quantity
from daemon.wizard.sheet import GUESS, Sheet, listed, quoted
from rules.site.quantities import Length
from rules.site.show import GALLON_M3, INCH_M, Units

T = TypeVar("T")
Words = tuple[str, str]
"""What a question is called, and the sentence that explains it."""


class Desk:
    """What all parts share: who answers, the sheet, the units, the pins in use."""

    def __init__(self, ask: Ask) -> None:
        self.ask = ask
        self.sheet = Sheet()
        self.units = Units.METRIC
        self.pins: dict[int, str] = {}

    def pick(self, metric: str, us: str) -> str:
        """A usual value, by the units of the site."""
        return us if self.units is Units.US else metric

    def height(self, metres: float, span: Span | None = None) -> str:
        """A computed height or size as a keeper would write it, inside `span`."""
        if span is not None:
            metres = min(max(metres, span.least_m), span.most_m)
        for digits in (0, 1, 2):
            text = (
                f"{round(metres / INCH_M, digits + 1):g} in"
                if self.units is Units.US
                else f"{round(metres * 1000, digits):g} mm"
            )
            if span is None or _reads(quantity(Length, span.check(self.units)), text):
                return text
        return text

    def run(self, metres: float) -> str:
        """A computed length of pipe as a keeper would write it."""
        if self.units is Units.US:
            return f"{max(0.5, round(metres / INCH_M / 6) / 2):g} ft"
        return f"{max(0.1, round(metres, 1)):g} m"

    def flow(self, m3_s: float) -> str:
        """A computed flow as a keeper would write it."""
        if self.units is Units.US:
            return f"{round(m3_s * 3600 / GALLON_M3):g} gal/h"
        return f"{round(m3_s * 3.6e6):g} l/h"

    def free_pin(self, *pool: int) -> str:
        """The first pin of a pool that nothing uses yet, or "none"."""
        return next((str(number) for number in pool if number not in self.pins), "none")


def _reads(read: Reader[Any], text: str) -> bool:
    try:
        read(text)
    except ValueError:
        return False
    return True


def small(words: str) -> str:
    """Words as they stand inside a sentence."""
    return words[:1].lower() + words[1:]


class Form:
    """Questions under one prefix of their keys.

    `like` is a form already answered whose answers are the usual ones here (the first display for
    the others); a `quiet` form asks nothing. `about` names the thing among several.
    """

    def __init__(
        self, desk: Desk, prefix: str, part: Part, like: Form | None = None, quiet: bool = False
    ) -> None:
        self.desk, self.prefix, self.part = desk, prefix, part
        self.like, self.quiet, self.about = like, quiet, ""
        self.answers: dict[str, Answer[Any]] = {}
        self.subs: dict[str, Form] = {}

    def turned(self, part: Part) -> Form:
        """The same form, its further questions in another part."""
        self.part = part
        return self

    def sub(self, name: str, sibling: Form | None = None) -> Form:
        """A form for one thing among several; a later one is like its `sibling`, unasked."""
        like = self.like.subs.get(name) if self.like else None
        quiet = self.quiet or sibling is not None
        sub = Form(self.desk, f"{self.prefix}.{name}", self.part, like or sibling, quiet)
        sub.about = self.about
        self.subs[name] = sub
        return sub

    def ask(
        self, name: str, words: Words, usual: str, read: Reader[T], found: Found,
        *, quiet: bool = False, guess: bool = True, always: bool = False,
        place: Place | None = None,
    ) -> Answer[T]:  # fmt: skip
        """Ask one question; one that is `always` asked is asked in a quiet form too."""
        like = self.like.answers.get(name) if self.like else None
        if like is not None and _reads(read, like.text):
            usual, guess = like.text, like.guess
        key, quiet = f"{self.prefix}.{name}", (quiet or self.quiet) and not always
        answer = self.desk.ask(
            Question(key, self.part, *words, usual, read, found, quiet, guess, self.about, place)
        )
        self.answers[name] = answer
        return answer

    def measure(
        self, place: Place, name: str, words: Words, usual: str, read: Reader[T],
        *, quiet: bool = False, guess: bool = True, always: bool = False,
        absent: str | None = None,
    ) -> Answer[T]:  # fmt: skip
        """Ask for a quantity that stands in one place of the file, and write it there."""
        answer = self.ask(
            name, words, usual, read, at(*place, absent),
            quiet=quiet, guess=guess, always=always, place=place,
        )  # fmt: skip
        if answer.value is not None:
            self.desk.sheet.row(*place, quoted(answer.text), GUESS if answer.guess else "")
        return answer

    def height(
        self, place: Place, name: str, words: Words, usual_m: float, span: Span,
        *, quiet: bool = False,
    ) -> float:  # fmt: skip
        """Ask for a height inside `span`, and write it; the height [m]."""
        read = quantity(Length, span.check(self.desk.units))
        usual = self.desk.height(usual_m, span)
        return self.measure(place, name, words, usual, read, quiet=quiet).value

    def same(self, place: Place, name: str, like: Answer[T], read: Reader[T]) -> Answer[T]:
        """A quantity that is as it was said elsewhere, unless the file says otherwise."""
        label = name.replace(".", " ").replace("-", " ").capitalize()
        words = (label, f"It is {like.text} elsewhere, and what stood here no longer fits.")
        return self.measure(place, name, words, like.text, read, quiet=True, guess=like.guess)

    def plain(
        self, place: Place, name: str, words: Words, usual: str, read: Reader[T],
        *, quiet: bool = False, absent: str | None = None,
    ) -> Answer[T]:  # fmt: skip
        """Ask for a word or a number that nobody measures, and write it; none is not written."""
        answer = self.ask(name, words, usual, read, at(*place, absent), quiet=quiet)
        value: object = answer.value
        if isinstance(value, bool):
            self.desk.sheet.row(*place, "true" if value else "false")
        elif isinstance(value, int):
            self.desk.sheet.row(*place, answer.text)
        elif isinstance(value, tuple):
            self.desk.sheet.row(*place, listed(value))
        elif value is not None:
            self.desk.sheet.row(*place, quoted(answer.text))
        return answer

    def called(self, table: str, usual: str) -> None:
        """Write the name of a thing, as the file has it or as we call it; never asked."""
        key = f"{table.split('.')[1]}.name"
        answer = self.desk.ask(
            Question(
                key, self.part, "Name", "What people call it.", usual, name_or_nothing,
                at(table, "name", ""), quiet=True, guess=False,
            )
        )  # fmt: skip
        if answer.value is not None:
            self.desk.sheet.row(table, "name", quoted(answer.value))

    def pin(self, name: str, words: Words, usual: str, found: Found) -> int | None:
        """Ask on which pin the thing in `words` sits, and take it; None where it is not fitted."""
        thing, why = words
        asked = (f"{thing}, pin", why)
        answer = self.ask(name, asked, usual, pin(self.desk.pins), found, always=True)
        if answer.value is not None:
            self.desk.pins[answer.value] = small(thing)
        return answer.value
