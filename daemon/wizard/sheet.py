"""The site file while it is being filled in, and its text."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum

from daemon.wizard.question import Place

GUESS = "a guess: measure it"
CURVE = f"{GUESS}; a usual shape, the maker's points are better"

HEADER = f"""\
# Written by weirkeeper new. Run it again on this file to change an answer.
#
# Heights inside a chamber are measured up from that chamber's own inside bottom, with a ruler.
# `bottom` is the height of that bottom above the floor.
#
# What is marked "{GUESS}" is a usual value, or one derived from others: measure it,
# write what you find in its place, and take the mark off.
"""

RULE = 95


class Section(Enum):
    """The sections of a site file in their order: a heading, and lines under it."""

    HEAD = ("", "")
    CHAMBERS = ("chambers", "")
    DOWN = ("ways down", "")
    UP = ("the way up", "")
    SENSORS = (
        "sensors",
        "# A contact that is closed on a good day lets a cut cable read as alarm.\n",
    )
    OUTPUTS = (
        "outputs",
        "# `safe` is the level of the pin at which the relay is released. GPIO 9 to 27 are pulled\n"
        "# low at power-on, GPIO 0 to 8 high.\n",
    )
    ALERTS = ("broker and people", "")

    @property
    def heading(self) -> str:
        """The comment lines that open it."""
        title, lines = self.value
        return f"# --- {title} ".ljust(RULE, "-") + f"\n{lines}\n" if title else ""


@dataclass(frozen=True, slots=True)
class Row:
    """One line: a key, its value in TOML, and a mark."""

    key: str
    literal: str
    mark: str = ""

    @property
    def text(self) -> str:
        """The line."""
        if not self.mark:
            return f"{self.key} = {self.literal}"
        first, newline, rest = self.literal.partition("\n")
        return f"{self.key} = {first}  # {self.mark}{newline}{rest}"


@dataclass(slots=True)
class Sheet:
    """The tables of a site file, each in its section, in the order in which they were opened."""

    tables: dict[str, list[Row]] = field(default_factory=dict)
    sections: dict[str, Section] = field(default_factory=dict)

    def open(self, section: Section, table: str, **texts: str) -> str:
        """Begin a table with keys whose text is fixed (`from_` stands for from); its name."""
        self.tables[table] = [
            Row(key.removesuffix("_"), quoted(text)) for key, text in texts.items()
        ]
        self.sections[table] = section
        return table

    def row(self, table: str, key: str, literal: str, mark: str = "") -> None:
        """Add a line to a table."""
        self.tables[table].append(Row(key, literal, mark))

    def ids(self) -> set[str]:
        """Every id in use."""
        return {table.split(".")[1] for table in self.tables if table.count(".") == 1}

    def guesses(self) -> int:
        """How many lines are marked as guesses."""
        return sum(row.mark.startswith(GUESS) for rows in self.tables.values() for row in rows)

    def text(self) -> str:
        """The whole file."""
        parts = [HEADER]
        for section in Section:
            tables = [table for table, where in self.sections.items() if where is section]
            if tables and section.heading:
                parts.append(section.heading.rstrip("\n") + "\n")
            for table in tables:
                lines = [f"[{table}]", *(row.text for row in self.tables[table])]
                parts.append("\n".join(lines) + "\n")
        return "\n".join(parts)


def quoted(text: str) -> str:
    """A TOML string; its escapes are those of JSON."""
    return json.dumps(text, ensure_ascii=False)


def listed(texts: Iterable[str]) -> str:
    """A TOML array of strings on one line."""
    return f"[{', '.join(map(quoted, texts))}]"


_TOKEN = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'|#(.*)')
_TABLE = re.compile(r"^\s*\[([^\[\]]+)\]")
_KEY = re.compile(r"^\s*([A-Za-z0-9_-]+)\s*=")


def _comment(line: str) -> str:
    """The comment that a line ends in, or nothing."""
    return next((m[1].strip() for m in _TOKEN.finditer(line) if m[1] is not None), "")


def comments(text: str) -> dict[str, int]:
    """Every comment of a TOML text, and the line on which it stands first."""
    found: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), 1):
        if comment := _comment(line):
            found.setdefault(comment, number)
    return found


def marked(text: str) -> set[Place]:
    """Where a TOML text marks a value as a guess: table and key."""
    found, table = set[Place](), ""
    for line in text.split("\n"):
        if heading := _TABLE.match(line):
            table = heading[1].strip()
        elif (key := _KEY.match(line)) and _comment(line).startswith(GUESS):
            found.add((table, key[1]))
    return found
