"""Going through the questions: what is given, what a file says, and what a person answers."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from daemon.errors import InputError
from daemon.wizard.question import Answer, Ask, Given, Place, Question, Raw
from daemon.wizard.sheet import Sheet

T = TypeVar("T")

Describe = Callable[[Ask], Sheet]
"""A whole interview: asks through what it is given, and returns the file."""


class Back(Exception):  # noqa: N818 - a wish, not an error
    """The person wants the question before."""


class Prompt(Protocol):
    """Shows a question with the offered answer and, after a wrong one, the sentence about it."""

    def __call__(self, question: Question[Any], offered: str, trouble: str, /) -> str:
        """What was typed, empty for Enter; raises Back, EOFError or KeyboardInterrupt."""


@dataclass(slots=True)
class Known:
    """What an existing file answers, by the keys of the questions.

    `own` is what is asked; `pins` are quiet values that somebody changed from the usual, or
    measured.
    """

    own: dict[str, Given] = field(default_factory=dict)
    pins: dict[str, Given] = field(default_factory=dict)


def recall(raw: Raw, marks: set[Place], describe: Describe) -> tuple[Known, Sheet]:
    """Answer every question from a file; the answers, and the file that they alone would make.

    `marks` are the places where the file says that a value is a guess.
    """
    known = Known()

    def ask(question: Question[T], /) -> Answer[T]:
        found = question.found(raw)
        if found is None:
            return _usual(question)
        # a quantity that has a place is a guess where the file marks it, anything else as usual
        guess = question.place in marks if question.place else question.guess
        answer = _answer(question, Given(found, guess))
        if answer is None:
            return _usual(question)  # the file says what no answer says: a comparison will name it
        given = Given(answer.text, answer.guess)
        if not question.quiet:
            known.own[question.key] = given
        elif given != Given(question.usual, question.guess):
            known.pins[question.key] = given
        return answer

    sheet = describe(ask)
    return known, sheet


def _answer(question: Question[T], given: Given) -> Answer[T] | None:
    """A given text read as an answer, None where it is none."""
    try:
        text, value = question.read(given.text)
    except ValueError:
        return None
    return Answer(text, value, given.guess)


def _usual(question: Question[T]) -> Answer[T]:
    text, value = question.read(question.usual)
    return Answer(text, value, question.guess)


class Interview:
    """One run through the questions.

    `given` are answers that need no asking; it grows with what is answered, and `keep` is called
    with it each time. Without a `prompt` the offered answers stand.
    """

    def __init__(
        self,
        known: Known,
        given: dict[str, Given],
        source: str,
        prompt: Prompt | None = None,
        keep: Callable[[Mapping[str, Given]], None] = lambda _given: None,
    ) -> None:
        self.known, self.given, self.source = known, given, source
        self.prompt, self.keep = prompt, keep
        self.offers = dict(known.own)
        self.asked: list[str] = []
        self.seen: list[str] = []
        self.prompted = False

    def run(self, describe: Describe) -> Sheet:
        """Go through all questions; raises InputError for a given answer that cannot be used."""
        while True:
            self.asked, self.seen = [], []
            try:
                sheet = describe(self.ask)
            except Back:
                self.back()
                continue
            self._refuse_unknown()
            return sheet

    def ask(self, question: Question[T], /) -> Answer[T]:
        """Answer one question."""
        self.seen.append(question.key)
        if question.key in self.given:
            if not question.quiet:
                self.asked.append(question.key)
            return self._given(question)
        if question.quiet:
            pinned = self.known.pins.get(question.key)
            if pinned is None:
                return _usual(question)
            if (answer := _answer(question, pinned)) is not None:
                return answer
        return self._asked(question)

    def _given(self, question: Question[T]) -> Answer[T]:
        given = self.given[question.key]
        try:
            text, value = question.read(given.text)
        except ValueError as error:
            raise InputError(f"{self.source}: {question.key}: {error}") from None
        return Answer(text, value, given.guess)

    def _asked(self, question: Question[T]) -> Answer[T]:
        kept = self.offers.get(question.key)
        offered = (_answer(question, kept) if kept else None) or _usual(question)
        if self.prompt is None:
            return offered
        if not self.prompted:
            self._refuse_unknown()
            self.prompted = True
        answer = self._prompted(self.prompt, question, offered)
        self.given[question.key] = Given(answer.text, answer.guess and question.place is not None)
        self.asked.append(question.key)
        self.keep(self.given)
        return answer

    def _prompted(self, prompt: Prompt, question: Question[T], offered: Answer[T]) -> Answer[T]:
        """What the person answers, asked until it can be used."""
        trouble = ""
        while True:
            typed = prompt(question, offered.text, trouble)
            if not typed:
                return offered
            try:
                text, value = question.read(typed)
            except ValueError as error:
                trouble = str(error)
            else:
                return Answer(text, value, guess=False)

    def back(self) -> None:
        """Take the last answer back, and offer it again."""
        if self.asked:
            key = self.asked[-1]
            self.offers[key] = self.given.pop(key)
            self.keep(self.given)

    def _refuse_unknown(self) -> None:
        for key in self.given:
            if key not in self.seen:
                close = difflib.get_close_matches(key, self.seen, n=1, cutoff=0.6)
                hint = f"; did you mean {close[0]}?" if close else ""
                raise InputError(
                    f"{self.source}: {key}: no such question, or not with these answers{hint}"
                )
