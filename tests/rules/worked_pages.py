"""A reader of derivations: it follows each step with plain arithmetic, as a person would."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

FUNCTIONS = {
    "sqrt": math.sqrt,
    "log10": math.log10,
    "min": min,
    "max": max,
    "pi": math.pi,
}
TOKEN = re.compile(r"(\d+\.?\d*(?:e[-+]?\d+)?)|([A-Za-z]\w*)", re.ASCII)
BEGINS = re.compile(r"^( {2}| {4})([A-Za-z]\w*) = (.*)$")
RESULT = re.compile(r"^  (\S+) = (.+)$")
NO_END = "without end"


@dataclass
class Step:
    """One value of a page: its formula and that with numbers, where it has them."""

    symbol: str
    rows: list[str]

    @property
    def printed(self) -> str:
        """The number it prints."""
        last = self.rows[-1]
        return NO_END if last.startswith(NO_END) else last.split(" ")[0].rstrip(",")

    @property
    def value(self) -> float:
        """That number."""
        return math.inf if self.printed == NO_END else float(self.printed)

    @property
    def unit(self) -> str:
        """Its SI unit."""
        rest = self.rows[-1].removeprefix(self.printed)
        return re.split(r" {2,}| \(|,", rest)[0].strip()


@dataclass
class Worked:
    """A page as read."""

    steps: list[Step]
    result: str

    def __getitem__(self, symbol: str) -> float:
        return next(step.value for step in self.steps if step.symbol == symbol)

    def __contains__(self, symbol: str) -> bool:
        return any(step.symbol == symbol for step in self.steps)


def read(lines: tuple[str, ...]) -> Worked:
    """All steps of a page, in order, long lines joined again."""
    steps: list[Step] = []
    margin = -1
    for line in lines:
        if found := BEGINS.match(line):
            steps.append(Step(found[2], [found[3]]))
            margin = len(found[2]) + 4 if len(found[1]) == 4 else -1
        elif margin > 0 and line.startswith(f"{' ' * margin} = "):
            steps[-1].rows.append(line[margin + 3 :])
        elif margin > 0 and line.startswith(" " * (margin + 3)) and line[margin + 3] != " ":
            steps[-1].rows[-1] += f" {line.strip()}"
        else:
            margin = -1
    found = RESULT.match(lines[-1])
    assert found, lines[-1]
    return Worked(steps, lines[-1].strip())


def rounding(printed: str) -> float:
    """How far a printed number may be from the one meant: half of its last digit."""
    value = abs(float(printed))
    if value == 0.0:
        return 0.0
    digits = 7 if value >= 1.0 else 6
    return 0.5 * 10.0 ** (math.floor(math.log10(value)) - digits + 1)


def calculate(formula: str, values: dict[str, float]) -> float:
    """A formula by plain arithmetic."""
    text = formula.replace("^", "**").replace(NO_END, "inf")
    return float(eval(text, {"__builtins__": {}, "inf": math.inf}, {**FUNCTIONS, **values}))


def follow(page: Worked) -> dict[str, float]:
    """Follow every step of a page; returns how much each result was given, by symbol.

    A step must put in the numbers printed before it, and print what they give within what the
    rounding of those numbers is worth; that, as a share of the result, is what is returned.
    AssertionError where a step does not follow.
    """
    known: dict[str, str] = {}
    given: dict[str, float] = {}
    for step in page.steps:
        assert step.symbol not in known, f"{step.symbol} has two values"
        if len(step.rows) > 1:
            given[step.symbol] = _follow(step, known)
        known[step.symbol] = step.printed
    return given


def _follow(step: Step, known: dict[str, str]) -> float:
    formula = step.rows[0]
    names = {name for _, name in TOKEN.findall(formula) if name and name not in FUNCTIONS}
    missing = names - known.keys()
    assert not missing, f"{step.symbol}: {missing} not printed before"

    def put_in(found: re.Match[str]) -> str:
        if found[2] not in names:
            return found[0]
        text = known[found[2]]
        return f"({text})" if text.startswith("-") else text

    numbers = TOKEN.sub(put_in, formula)
    assert len(step.rows) < 3 or step.rows[1] == numbers, f"{step.symbol}: other numbers"
    values = {name: float(known[name].replace(NO_END, "inf")) for name in names}
    result = calculate(formula, values)
    tolerance = rounding(step.printed) + 1e-12 * abs(result)
    for name in names:
        nearby = []
        for sign in (-1.0, 1.0):
            moved = {**values, name: values[name] + sign * rounding(known[name])}
            try:
                nearby.append(abs(calculate(formula, moved) - result))
            except (TypeError, ValueError, ZeroDivisionError):
                continue  # past the end of a root
        tolerance += max(nearby, default=0.0)
    miss = abs(step.value - result)
    assert miss <= tolerance, f"{step.symbol} = {step.printed}, {numbers} gives {result:.9g}"
    largest = max(map(abs, values.values()), default=0.0)
    return tolerance / max(abs(result), 1e-6 * largest, 1e-12)
