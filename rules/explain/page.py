"""A page of working: what is asked, what is given, each step with its numbers, and the result.

A step prints its formula in symbols, the same line with the numbers printed before put in, and
what comes of it, so that a pocket calculator can follow: `*` times, `^` to the power of, `sqrt`,
`log10`, `exp`, `min` and `max`. Figures are in SI, with the site's own units in brackets.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import isinf

from rules.site import show
from rules.site.show import Units

WIDTH = 100
SAID_AT = 40
"""Column at which the words about a given value begin."""
_TOKEN = re.compile(r"(\d+\.?\d*(?:e[-+]?\d+)?)|([A-Za-z]\w*)", re.ASCII)
_LEFT_ALONE = frozenset({"sqrt", "log10", "exp", "min", "max", "pi"})
NOUGHT = 1e-12
"""Less than this is what rounding left of nought."""
NO_END = "without end"
"""How a figure that is infinite is printed."""


Named = tuple[str, float]
"""A symbol that stands on the page, and its value with all digits."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: its SI sign, and how a figure in it is printed in the site's own units, if it is."""

    si: str
    shown: Callable[[float, Units], str] | None = None


PLAIN = Unit("")
METRE = Unit("m", show.length)
FINE_METRE = Unit("m")
"""For lengths too small for the site's own units."""
SQUARE_METRE = Unit("m2")
VOLUME = Unit("m3", show.volume)
FLOW = Unit("m3/s", show.flow)
SPEED = Unit("m/s")
SECOND = Unit("s", lambda value, _: show.duration(value))
SHARE = Unit("", lambda value, _: f"{value * 100:.1f} %")
RATIO = Unit("", lambda value, _: f"{value:.2f}")
VISCOSITY = Unit("m2/s")
SLOPE = Unit("m per m3/s")


def number(value: float) -> str:
    """A number with as many digits as a calculator needs: six that count, seven from 1 up."""
    if isinf(value):
        return NO_END
    if abs(value) < NOUGHT:
        return "0"
    return f"{value:.7g}" if abs(value) >= 1.0 else f"{value:.6g}"


def wrapped(text: str, indent: int, further: int | None = None) -> list[str]:
    """A text cut into lines of at most `WIDTH`, the first indented by `indent`."""
    lines, line = [], " " * indent
    start = line
    for word in text.split():
        if line != start and len(line) + 1 + len(word) > WIDTH:
            lines.append(line)
            line = start = " " * (indent if further is None else further)
        line += word if line == start else f" {word}"
    return [*lines, line]


class Page:
    """The lines of one derivation as they are written. A symbol has one value on a page."""

    def __init__(self, figure: str, title: str, units: Units) -> None:
        self._figure, self._units = figure, units
        self._lines = wrapped(f"{figure}: {title}", 0, 2)
        self._values: dict[str, str] = {}
        self._remarks: list[str] = []

    @property
    def lines(self) -> tuple[str, ...]:
        """All that was written."""
        return tuple(self._lines)

    def section(self, title: str) -> None:
        """Begin a part of the page."""
        self._lines += ["", title]

    def say(self, *sentences: str) -> None:
        """Sentences, one paragraph."""
        self._lines += wrapped(" ".join(sentences), 2)

    def remark(self, sentence: str) -> None:
        """A sentence on range or doubt, kept for later."""
        self._remarks.append(sentence)

    def range_and_doubt(self, *sentences: str) -> None:
        """Begin the part on range and doubt with what was kept for it."""
        self.section("Range and doubt")
        for sentence in (*self._remarks, *sentences):
            self.say(sentence)

    def knows(self, symbol: str) -> bool:
        """True once a symbol has its value on this page."""
        return symbol in self._values

    def said_length(self, metres: float) -> str:
        """A length in the site's own units."""
        return show.length(metres, self._units)

    def said_volume(self, m3: float) -> str:
        """A volume in the site's own units."""
        return show.volume(m3, self._units)

    def given(self, symbol: str, value: float, unit: Unit, what: str, source: str = "") -> None:
        """A value that is put in, and where it comes from."""
        self._take(symbol, value)
        said = f"{what} [{source}]" if source else what
        head = f"  {symbol} = {self.quantity(value, unit)}"
        lines = wrapped(said, max(SAID_AT, len(head) + 2), SAID_AT)
        lines[0] = head + lines[0][len(head) :]
        self._lines += lines

    def step(self, title: str, symbol: str, formula: str, value: float, unit: Unit = PLAIN) -> None:
        """A step: the formula, the formula with the numbers, and the value that comes of it."""
        put_in, worth = self._put_in(formula), self.quantity(value, unit)
        lines = [formula, put_in, worth]
        if put_in in (formula, number(value)):
            del lines[1]
        if formula == number(value):
            del lines[0]
        if title:
            self._lines += wrapped(title, 2)
        heads = [f"    {symbol} = ", *[f"{' ' * (len(symbol) + 4)} = "] * (len(lines) - 1)]
        for head, line in zip(heads, lines, strict=True):
            first, *more = wrapped(line, len(head))
            self._lines += [head + first.lstrip(), *more]
        self._take(symbol, value)

    def trial(self, symbol: str, value: float, unit: Unit, how: str) -> None:
        """A value that was found by trial; the steps after it must prove it."""
        self._take(symbol, value)
        self._lines += wrapped(how, 2)
        self._lines.append(f"    {symbol} = {self.quantity(value, unit)}, found by trial")

    def residual(self, of: str, value: float, unit: Unit) -> None:
        """What a trial leaves, computed with all digits."""
        self._lines.append(f"    residual, with all digits: {of} = {value:.2g} {unit.si}".rstrip())

    def result(
        self,
        value: float,
        unit: Unit,
        *,
        band: tuple[float, float] | None = None,
        more: str = "",
    ) -> None:
        """The last line: the figure as it is printed elsewhere, in SI, and with its band."""

        def own(one: float) -> str:
            return unit.shown(one, self._units) if unit.shown and not isinf(one) else number(one)

        self.section("Result")
        doubt = f"; {own(band[0])} to {own(band[1])} with its doubt" if band else ""
        exact = f"{number(value)} {unit.si}".rstrip()
        self._lines.append(f"  {self._figure} = {own(value)} ({exact}){doubt}{more}")

    def end(self, words: str) -> None:
        """The last line of a figure that is not one value."""
        self.section("Result")
        self._lines.append(f"  {self._figure} = {words}")

    def quantity(self, value: float, unit: Unit) -> str:
        """A value with its unit, and in the site's own units."""
        exact = f"{number(value)} {unit.si}".rstrip()
        if unit.shown is None or isinf(value):
            return exact
        return f"{exact} ({unit.shown(value, self._units)})"

    def _take(self, symbol: str, value: float) -> None:
        if symbol in self._values:
            raise ValueError(f"{self._figure}: {symbol} has a value on this page already")
        text = number(value)
        self._values[symbol] = f"({text})" if value < 0 else text

    def _put_in(self, formula: str) -> str:
        def value_of(found: re.Match[str]) -> str:
            name = found[2]
            if name is None or name in _LEFT_ALONE:
                return found[0]
            return self._values[name]

        return _TOKEN.sub(value_of, formula)
